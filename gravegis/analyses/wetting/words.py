"""The answer in words: what is struck, where to stand and look, and what must be said besides."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.contract import listed

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.analyses.wetting.heads import Heads, Water
    from gravegis.analyses.wetting.settings import WettingSettings
    from gravegis.layers.canonical import Frame
    from gravegis.layers.clock import Clock

__all__ = ["SAYS_LITTLE_FRAC", "lead", "likely", "ranked", "rest"]

SAYS_LITTLE_FRAC = 0.6  # more stones reached than this: the plain flag says little. Common practice, no source.
_STEPS_M = (0.1, 0.5, 1.0, 2.0, 5.0, 10.0)  # distances are told in the finest of these that the error carries
_LOOK_STONES_N = 5
LIKELY = 0.5
LIKELINESS = (
    (0.95, "struck"),
    (0.66, "likely struck"),
    (0.33, "as likely as not"),
    (0.1, "less likely"),
    (0.0, "hardly"),
)
"""Words for a probability from this on. Own choice."""


def ranked(stones: Frame, links: Frame, looks: Frame, heads: Heads, settings: WettingSettings) -> Frame:
    """Return one row per head of known ground: stones struck, stones by distance band, nearest stone, rank.

    Heads whose stream strikes most stones come first, then those whose stream may, then those with most stones near.
    """
    import shapely

    from gravegis.science.irrigation.reach import Pairs, stones_by_band

    used = links[np.isin(links["head"], heads.rows)]
    stone, head, gap_m, margin_m = (used[name].to_numpy() for name in ("stone", "head", "distance_m", "margin_m"))
    pairs = Pairs(stone, np.searchsorted(heads.rows, head), gap_m, margin_m, gap_m)
    frame = heads.frame.iloc[heads.rows][["head_id", "zone_id"]].reset_index(drop=True)
    frame[["near_n", "half_n", "edge_n"]] = stones_by_band(pairs, heads.throws, near_m=settings.near_m)
    tree = shapely.STRtree(np.asarray(stones["geometry"], dtype=object))
    (head, stone), found_m = tree.query_nearest(heads.point[heads.rows], return_distance=True)
    order = np.lexsort((-stone, head))  # of equal stones the first is written last
    frame[["nearest_stone_id", "nearest_stone_m"]] = None, np.nan
    frame.loc[head[order], "nearest_stone_id"] = stones["stone_id"].to_numpy()[stone[order]]
    frame.loc[head[order], "nearest_stone_m"] = found_m[order]
    sized = bool(stones["known_height_m"].notna().any())
    struck = used[used["struck"].astype(bool)].groupby("head_id").size()
    chance = looks.groupby("head_id")["struck_prob"].sum()
    frame["struck_n"] = frame["head_id"].map(struck).fillna(0).astype("Int64")
    frame["struck_expected_n"] = frame["head_id"].map(chance).fillna(0.0).astype("float64")
    if not sized:
        frame[["struck_n", "struck_expected_n"]] = None
    worse = (
        -frame["head_id"].map(struck).fillna(0).astype(float),
        -frame["head_id"].map(chance).fillna(0.0).astype(float).round(1),
    )
    order = np.lexsort((frame["nearest_stone_m"], -frame["edge_n"], -frame["half_n"], -frame["near_n"], *worse[::-1]))
    frame["rank"] = np.argsort(order) + 1
    return frame


def lead(
    table: Frame, links: Frame, looks: Frame, ranked: Frame, heads: Heads, settings: WettingSettings
) -> list[str]:  # fmt: skip
    """Return the answer in words: what is struck, the heads to look at, and at each the stones to look at."""
    top = ranked[ranked["head_id"].isin(links["head_id"].unique())].sort_values("rank").head(settings.look_heads_n)
    if top.empty:
        yes = table.loc[table["reached"].fillna(value=False), "stone_id"].tolist()
        nothing = "No known throw reaches a stone." if len(heads.rows) else "Nothing is known that waters a stone."
        return [f"Wetted as seen or drawn: {listed(yes)}." if yes else nothing]
    error_m = np.hypot(table["error_m"].to_numpy()[links["stone"]], heads.frame["error_m"].to_numpy()[links["head"]])
    links = links.assign(told_to_m=error_m).sort_values(["distance_m", "stone", "head"])
    blurred_m = float(np.median(error_m))
    strikes = len(looks) > 0 or bool(links["struck"].astype(bool).any())
    notes = _struck(table, links, top, blurred_m) if strikes else _near(links, top, blurred_m, settings.near_m)
    by_chance = {
        head: _by_chance(some) for head, some in looks[looks["head_id"].isin(top["head_id"])].groupby("head_id")
    }
    return notes + [
        f"Stand at {name}, look at {by_chance.get(name) or _looked_at(links, name)}." for name in top["head_id"]
    ]


def _near(links: Frame, top: Frame, blurred_m: float, near: float) -> list[str]:
    """Return the heads with most stones near, for where no height of a stone is known."""
    near_m = f"{near:g} m"
    if blurred_m > near / 2:
        return [f"Positions are good to about {blurred_m:.1g} m only, so the map cannot tell which stones stand "
                f"within {near_m} of a head: stand at these heads while they run, and look."]  # fmt: skip
    many = [f"{head} ({n})" for head, n in zip(top["head_id"], top["near_n"], strict=True) if n]
    nearest = links.drop_duplicates("stone").head(_LOOK_STONES_N)
    first = (nearest["stone_id"] + " " + _told(nearest) + " from " + nearest["head_id"]).tolist()
    return [
        f"Look first at the heads with most stones within {near_m} that they reach: {', '.join(many)}."
        if many else f"No stone stands within {near_m} of a head that reaches it.",
        f"Stones nearest to a head that reaches them: {', '.join(first)}.",
    ]  # fmt: skip


def _struck(table: Frame, links: Frame, top: Frame, blurred_m: float) -> list[str]:
    """Return how many stones the stream strikes, from which heads, and the worst of them."""
    hit = links[links["struck"].astype(bool)]
    if hit.empty:
        some = int((table["struck_prob"].fillna(0.0) >= LIKELY).sum())
        what = f"Positions are good to about {blurred_m:.1g} m only, so no single stone is called struck by a stream"
        if links["can_name"].any():
            what = "No stone is found to be struck by a stream"
        return [f"{what}; {some} are likely to be: stand at these heads while they run, and look."]
    many = [f"{head} ({n})" for head, n in zip(top["head_id"], top["struck_n"], strict=True) if n]
    faces = table["worst_face"].to_numpy(dtype=object)[hit["stone"]]
    hit = hit.assign(face=[f", {face}" if isinstance(face, str) else "" for face in faces])
    first = hit.drop_duplicates("stone").head(_LOOK_STONES_N)
    named = (first["stone_id"] + " (" + _told(first) + " from " + first["head_id"] + first["face"] + ")").tolist()
    return [
        f"The stream itself strikes {hit['stone'].nunique()} of {len(table)} stones, at tens of times the rate of the "
        f"rain around them. Look first at the heads that strike most: {', '.join(many)}.",
        f"Struck from nearest by: {', '.join(named)}.",
    ]  # fmt: skip


def _by_chance(looks: Frame) -> str:
    """Return the stones that one head may strike, likeliest first, how likely in words."""
    first = looks.sort_values("seq").head(_LOOK_STONES_N)
    return ", ".join(
        f"{stone} ({likely(chance)})" for stone, chance in zip(first["stone_id"], first["struck_prob"], strict=True)
    )


def likely(chance: float) -> str:
    """Return a probability in words, as finely as such figures bear."""
    return next(words for least, words in LIKELINESS if chance >= least)


def _looked_at(links: Frame, head: str) -> str:
    """Return the nearest stones of a head; a distance is said once where the positions tell no more."""
    at = links[links["head_id"] == head].head(_LOOK_STONES_N)
    told = _told(at)
    if len(set(told)) == 1:
        return f"{', '.join(at['stone_id'])} ({told[0]})"
    return ", ".join(at["stone_id"] + " (" + told + ")")


def _told(links: Frame) -> npt.NDArray[np.object_]:
    """Return the distance of each link in words, as finely as its positions carry it."""
    pairs = zip(links["distance_m"], links["told_to_m"], strict=True)
    return np.array([_metres(*pair) for pair in pairs], dtype=object)


def rest(table: Frame, links: Frame, heads: Heads, clock: Clock | None) -> list[str]:
    """Return what else must be said: the plain flag, faults, heads of unknown throw, hours."""
    yes, unknown_n = table["reached"].fillna(value=False).to_numpy(dtype=bool), int(table["reached"].isna().sum())
    flag = f"{yes.sum()} of {len(table)} stones are reached" + f", of {unknown_n} nothing can be said" * (unknown_n > 0)
    little = ": on a well laid-out lawn that says little, nearness to a head says more"
    notes = [flag + little * bool(yes.sum() > SAYS_LITTLE_FRAC * len(table)) + "."] if unknown_n < len(table) else []
    faulty = (heads.frame["head_id"] + " (" + heads.frame["mend_first"] + ")").dropna().tolist()
    notes += [f"Mend first, then look again: {listed(faulty)}. They count here as if they were sound."] * bool(faulty)
    silent = heads.frame["head_id"].drop(heads.rows).tolist()
    notes += [f"The throw of {listed(silent)} is not known: stones they might reach are not called dry."] * bool(silent)
    if clock is None:
        return notes
    season = clock.season
    hours_h, lacking = table.loc[yes, "season_h"].dropna(), int(table.loc[yes, "season_h"].isna().sum())
    if len(hours_h):
        span = " to ".join(dict.fromkeys(f"{one:.0f}" for one in (hours_h.min(), hours_h.max()))) + " h"
        notes.append(f"Hours a season at stones reached ({season.first_day} to {season.last_day}): {span}.")
    if lacking:
        bare = set(links["zone_id"].fillna("heads without a zone")) - season.zones
        bare -= {one.zone_id for one in season.unknown}
        why = [one.words for one in season.unknown] + [f"no schedule for {zone}" for zone in sorted(bare)]
        notes.append(f"No hours for {lacking} stones reached: {listed(why or ['nobody knows from which zone'])}.")
    return notes


def _metres(distance_m: float, error_m: float) -> str:
    """Return a distance as finely as the positions carry it."""
    step_m = next((step for step in _STEPS_M if step >= error_m), _STEPS_M[-1])
    steps = round(distance_m / step_m)
    return f"{'about ' * (step_m >= 1)}{steps * step_m:g} m" if steps else f"less than {step_m:g} m"


def wind(water: Water) -> list[str]:
    """Return how far the mean wind of the run hours carries the patterns."""
    drift = water.turns.drift_m
    if not (drift > 0).any():
        return []
    span = " to ".join(dict.fromkeys(f"{one:.1f}" for one in (drift[drift > 0].min(), drift.max())))
    return [f"The mean wind of the hours in which zones run carries the far edge of patterns by {span} m; gusts more. "
            "Its speed is taken as read: nobody asked at what height."]  # fmt: skip
