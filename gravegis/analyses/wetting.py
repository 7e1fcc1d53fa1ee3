"""Which stones the spray reaches, from which heads, for how long, and at which heads to look first."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gravegis.contract import Analysis, Assumption, Job, Result, listed, number, whole
from gravegis.errors import SettingError
from gravegis.layers import schema
from gravegis.layers.position_error import ERROR_OF_BASIS_M, UNKNOWN_M, known_errors_m, unknown_rows

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.science.irrigation.schedule import Season
    from gravegis.science.irrigation.throw import Throws
    from gravegis.site import Site

    Floats = npt.NDArray[np.float64]
    Shapes = npt.NDArray[np.object_]

SAYS_LITTLE_FRAC = 0.6  # more stones reached than this: the plain flag says little. Common practice, no source.
_STEPS_M = (0.1, 0.5, 1.0, 2.0, 5.0, 10.0)  # distances are told in the finest of these that the error carries
_LOOK_STONES_N = 5
_PORTION = 2048  # stones worked on between two looks at whether the job was cancelled
_SIZE = ["strip_length_m", "strip_width_m"]
_FIGURES = ["pattern", "throw_m", "arc_from_deg", "arc_sweep_deg", *_SIZE, "mend_first"]
_WET = ("struck", "wetted")
_SEEN = ["stone_id", "zone_id", "head_id", "seen", "seen_on"]
_LIMITS = (
    "Not looked at: wind, pressure, slope, height of the stream, stones in front of others. Reached means that water "
    "may fall there, not that a face is struck; not reached is no proof that a stone stays dry."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class WettingSettings:
    """What counts as near, and how good a position is of which nothing is known."""

    near_m: float = number(
        2.0, "A stone up to this far from a head that reaches it counts as near.",
        unit="m", low=0.1, high=20.0, source="common practice, no source",
    )  # fmt: skip
    look_heads_n: int = whole(
        5, "Heads named in the answer.", low=1, high=50, source="own choice: a short walk, no source"
    )  # fmt: skip
    position_error_m: float = number(
        UNKNOWN_M, "Standard error, each axis, of a position when neither it nor the way it was got is known.",
        unit="m", low=0.0, high=100.0, source="unsourced default: phone 4 m when the position basis is unknown",
    )  # fmt: skip


def run(site: Site, settings: WettingSettings, job: Job) -> Result:
    """Lay the throws over the footprints, let what was seen or drawn win, add the hours, rank the heads.

    A stone is reached where any part of its footprint lies in a throw, on exact arcs, or within 0.0000001 m of
    it; where drawn wet ground touches it; where somebody saw it wetted. What was seen outranks the model for that
    stone: for the head noted, else the zone, else for all; the narrower sight wins, of the same the later. A stone
    that a head of unknown throw might reach, as far as the longest throw known here, is not called dry. Hours a
    season are those in which at least one zone that reaches the stone runs, over one year from its first day.
    """
    stones = site["stones"]
    job.progress(0.05, "reading heads")
    heads = _heads(site, settings)
    links, table = _overlay(stones, heads, job)
    table["error_m"] = known_errors_m(stones, "stones", settings.position_error_m)
    sights, left_out = _sights(site, stones)
    links, told = _after_sights(sights, stones, table, links, heads)
    _settle(table, links, sights, heads)
    job.progress(0.8, "hours of the season")
    season = _season(site)
    table["season_h"] = _hours(table, links, sights, season)
    job.progress(0.9, "ranking heads")
    ranked = _ranked(stones, links, heads, settings)
    layers = {"stone_wetting": table, "wetting_links": links, "head_stones": ranked}
    no_clock = Assumption("site.time_zone", "not said: hours are summed in civil time, without clock changes")
    notes = [*_lead(table, links, ranked, heads, settings), *told, *left_out, *_rest(table, links, heads, season)]
    return Result(
        layers={name: layers[name][list(columns)] for name, columns in ANALYSIS.gives.items()},
        notes=(*notes, _LIMITS),
        assumed=(*_errors_assumed(site, settings), *[no_clock] * (season is not None and not site.info.time_zone)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Heads:
    """Heads with a place, throws of those whose ground is known, and drawn ground that belongs to none of them."""

    frame: Frame  # head_id, zone_id, mend_first, error_m
    point: Shapes
    throws: Throws
    rows: npt.NDArray[np.int64]  # of the throws
    outlines: dict[int, Any]  # by row of the throw
    loose: Shapes


def _heads(site: Site, settings: WettingSettings) -> _Heads:
    """Return the heads; surveyed ground wins over figures, its farthest point is the throw."""
    import pandas as pd
    import shapely

    from gravegis.layers import canonical
    from gravegis.layers.heads import surveyed_outlines, throws_of

    heads = site.get("heads", canonical.empty("heads", site.info.crs))
    heads = heads[heads.geometry.notna() & ~heads.geometry.is_empty].reset_index(drop=True)
    computed = site.get("throws_computed", canonical.empty("throws_computed"))
    known = {name: canonical.column(computed, "throws_computed", name) for name in _FIGURES}
    frame = pd.DataFrame({"head_id": computed["head_id"], **known}).set_index("head_id")
    frame = frame.reindex(heads["head_id"]).reset_index().fillna({"arc_from_deg": 0.0, "arc_sweep_deg": 360.0})
    areas, drawn = (site.get(name, canonical.empty(name, site.info.crs)) for name in ("wet_areas", "throws"))
    drawn = drawn[drawn.geometry.notna()].assign(head_id=canonical.column(drawn, "throws", "head_id"))
    loose = [*areas.geometry.dropna(), *drawn.geometry[~drawn["head_id"].isin(heads["head_id"])], None]
    outline, point = surveyed_outlines(drawn), np.asarray(heads.geometry, dtype=object)
    own = np.array([*(outline.get(head) for head in frame["head_id"]), None], dtype=object)[:-1]
    is_own = ~shapely.is_missing(own)
    frame["pattern"] = frame["pattern"].where(~is_own, "surveyed outline")
    frame["throw_m"] = frame["throw_m"].where(~is_own, shapely.hausdorff_distance(point, own))
    frame["arc_sweep_deg"] = frame["arc_sweep_deg"].where(~is_own, 360.0)
    strip = frame["pattern"].fillna("").str.startswith("strip ")
    frame[_SIZE] = frame[_SIZE].where(strip, np.nan)
    complete = frame["throw_m"].notna().where(~strip, frame[_SIZE].notna().all(axis=1))
    frame["pattern"] = frame["pattern"].where(complete)
    throws, rows = throws_of(frame, heads, site.info.crs)
    outlines = {i: own[row] for i, row in enumerate(rows) if is_own[row]}
    frame["zone_id"] = canonical.column(heads, "heads", "zone_id")
    frame["error_m"] = known_errors_m(heads, "heads", settings.position_error_m)
    return _Heads(frame, point, throws, rows, outlines, np.array(loose, dtype=object)[:-1])


def _errors_assumed(site: Site, settings: WettingSettings) -> list[Assumption]:
    """Return which error was taken for positions without one, and for how many rows; none where no head is known."""
    usual = "as by phone: unsourced default" if settings.position_error_m == UNKNOWN_M else "as set"
    taken = f"not known, nor how it was got: {settings.position_error_m:g} m, {usual}"
    by_basis = ", ".join(f"{basis} {error_m:g} m" for basis, error_m in ERROR_OF_BASIS_M.items())
    made = []
    for layer in ("stones", "heads"):
        told_n, unknown_n = unknown_rows(site[layer], layer) if site.has("heads") and layer in site else (0, 0)
        for words, rows_n in ((f"by how it was got ({by_basis}): unsourced defaults", told_n), (taken, unknown_n)):
            made.append(Assumption(f"{layer}.position_error_m", words, rows_n))
    return made


def _overlay(stones: Frame, heads: _Heads, job: Job) -> tuple[Frame, Frame]:
    """Return links (rows of stone and head) and a table of stones; in doubt: nothing is known that makes it dry."""
    import pandas as pd
    import shapely

    from gravegis.science.irrigation import reach
    from gravegis.science.irrigation.throw import make_throws

    shapes = np.asarray(stones["geometry"], dtype=object)
    placed = np.flatnonzero(~(shapely.is_missing(shapes) | shapely.is_empty(shapes)))
    anywhere = make_throws(shapely.get_x(heads.point), shapely.get_y(heads.point), 1.0)  # only the places count
    unknown, longest_m = np.delete(heads.point, heads.rows), heads.throws.throw_m.max(initial=0.0)
    margin_m, near_m = np.full((2, len(stones)), np.nan)
    near, drawn = np.full(len(stones), -1), np.zeros(len(stones), dtype=np.bool_)
    doubt = ~np.isin(np.arange(len(stones)), placed)
    doubt |= not len(heads.rows) and (len(heads.point) > 0 or not len(heads.loose))
    found = [np.zeros((4, 0))]
    for first in range(0, len(placed), _PORTION):
        job.progress(0.1 + 0.6 * first / len(placed), "laying throws over stones")
        rows = placed[first : first + _PORTION]
        pairs = reach.reach(shapes[rows], heads.throws, outlines=heads.outlines)
        margin_m[rows], _ = reach.nearest_margin(shapes[rows], heads.throws, pairs, outlines=heads.outlines)
        near_m[rows], near[rows] = reach.near_heads(shapes[rows], anywhere)
        found.append(np.stack([rows[pairs.stone_i], heads.rows[pairs.head_i], pairs.distance_m, pairs.margin_m]))
        tree = shapely.STRtree(shapes[rows])
        drawn[rows[tree.query(heads.loose, predicate="dwithin", distance=reach.TOUCH_M)[1]]] = True
        doubt[rows[tree.query(unknown, predicate="dwithin", distance=longest_m)[1]]] = True
    links = pd.DataFrame(np.concatenate(found, axis=1).T, columns=["stone", "head", "distance_m", "margin_m"])
    near_id = pd.Series([*heads.frame["head_id"], None], dtype="str").iloc[near].reset_index(drop=True)
    table = {"stone_id": stones["stone_id"], "margin_m": margin_m, "nearest_head_id": near_id, "nearest_head_m": near_m}
    return links.astype({"stone": "int64", "head": "int64"}), pd.DataFrame({**table, "doubt": doubt, "drawn": drawn})


def _sights(site: Site, stones: Frame) -> tuple[Frame, list[str]]:
    """Return what was last seen of each stone, zone and head, of one day dry before wet; and what was left out."""
    import pandas as pd
    import shapely

    from gravegis.layers import canonical

    read = site.get("observations", canonical.empty("observations"))
    frame = pd.DataFrame({name: canonical.column(read, "observations", name).fillna("") for name in _SEEN})
    frame["row"] = pd.Index(stones["stone_id"]).get_indexer(frame["stone_id"])
    if "geometry" in read.columns and len(stones):
        on, stone = shapely.STRtree(np.asarray(stones["geometry"])).query(np.asarray(read["geometry"]), "intersects")
        found = pd.Series(stone, on).groupby(level=0).min()
        frame["row"] = frame["row"].where(frame["stone_id"] != "", found)
    known = (frame["row"].fillna(-1) >= 0) & frame["seen"].isin([*_WET, "dry", "mist"])
    left_out = f"{int((~known).sum())} observations lie on no stone known here, or do not say what was seen: not used."
    frame = frame[known].astype({"row": "int64"})
    frame["is_wet"], frame["is_mist"] = frame["seen"].isin(_WET), frame["seen"] == "mist"
    frame["width"] = np.select([frame["head_id"] != "", frame["zone_id"] != ""], [2, 1], 0)
    frame["said"] = frame["head_id"].where(frame["width"] == 2, frame["zone_id"])
    frame = frame.sort_values(["seen_on", "is_wet"], kind="stable")
    frame = frame.drop_duplicates(["row", "width", "said", "is_mist"], keep="last")
    # the narrower sight is applied later, wet after dry
    return frame.sort_values(["width", "is_wet"], kind="stable"), [] if known.all() else [left_out]


def _after_sights(sights: Frame, stones: Frame, table: Frame, links: Frame, heads: _Heads) -> tuple[Frame, list[str]]:
    """Return the links that stand after what was seen, with those it adds, and the words about it."""
    import pandas as pd
    import shapely

    ids = heads.frame[["zone_id", "head_id"]].fillna("")
    of_link, of_stone = ids.iloc[links["head"]].to_numpy(dtype=object), links.groupby("stone").indices
    kept, told = np.ones(len(links), dtype=np.bool_), defaultdict[str, list[str]](list)
    for row, width, said, seen in zip(*(sights[name] for name in ("row", "width", "said", "seen")), strict=True):
        mine = of_stone.get(row, np.zeros(0, dtype=np.int64))
        mine = mine[(of_link[mine, max(0, width - 1)] == said) | (width == 0)]
        words = str(stones["stone_id"].iloc[row]) + f" ({said})" * (width > 0)
        if seen == "mist":
            told["Seen in mist only, the model stands"].append(words)
            continue
        kept[mine] = seen != "dry"
        if seen == "dry" and (len(mine) or (width == 0 and table["drawn"].iloc[row])):
            told["Observed dry, model reached" if len(mine) else "Observed dry, drawn as wet"].append(words)
        elif seen != "dry" and len(heads.rows) and not len(mine):
            told["Observed wet, model did not reach"].append(words)
    extra = sights[sights["is_wet"] & sights["head_id"].isin(ids["head_id"])]
    head, stone = pd.Index(ids["head_id"]).get_indexer(extra["head_id"]), extra["row"].to_numpy()
    gap_m = shapely.distance(np.asarray(stones["geometry"], dtype=object)[stone], heads.point[head])
    more = pd.DataFrame({"stone": stone, "head": head, "distance_m": gap_m, "margin_m": np.nan})
    both = pd.concat([links[kept], more]).drop_duplicates(["stone", "head"]).sort_values(["stone", "head"])
    both = both.assign(stone_id=stones["stone_id"].to_numpy()[both["stone"]]).reset_index(drop=True)
    both[["head_id", "zone_id"]] = heads.frame[["head_id", "zone_id"]].iloc[both["head"]].reset_index(drop=True)
    return both, [f"{what}: {listed(words)}." for what, words in told.items()]


def _settle(table: Frame, links: Frame, sights: Frame, heads: _Heads) -> None:
    """Say of each stone: reached, not reached, or neither can be said; and where the answer comes from."""
    rows, drawn = np.arange(len(table)), table["drawn"].to_numpy()
    links_n, wet = np.bincount(links["stone"], minlength=len(rows)), np.isin(rows, sights.loc[sights["is_wet"], "row"])
    dry = sights[sights["seen"] == "dry"]
    # where heads are known a sight of one zone says nothing of the others
    for_all = dry[(dry["width"] == 0) | (len(heads.frame) == 0)]
    yes = (links_n > 0) | drawn | wet
    no = ~yes & (~table["doubt"].to_numpy() | np.isin(rows, for_all["row"]))
    by_sight, by_drawing = wet | (no & np.isin(rows, dry["row"])), drawn | (no & (len(heads.frame) == 0))
    table["basis"] = np.select([by_sight, by_drawing, yes | no], ["observed", "wet area", "model"], "not known")
    table["reached"], table["heads_n"] = yes, links_n
    table["reached"] = table["reached"].astype("boolean").where(yes | no)
    table["heads_n"] = table["heads_n"].astype("Int64").where(no | (links_n > 0))


def _season(site: Site) -> Season | None:
    from gravegis.science.irrigation.schedule import program_lines, season

    if not site.has("schedules"):
        return None
    rows: Any = site["schedules"].astype(object)
    lines, unread = program_lines(rows.where(rows.notna(), None).to_dict("records"))
    try:
        return season(lines, site.info.time_zone, unread)
    except ValueError as error:
        raise SettingError(str(error), where="site.time_zone") from None


def _hours(table: Frame, links: Frame, sights: Frame, season: Season | None) -> Floats:
    """Return the hours a season, NaN where the schedule of one zone that reaches the stone is not known."""
    from gravegis.science.irrigation.schedule import hours_of_any

    if season is None:
        return np.full(len(table), np.nan)
    seen = sights[sights["is_wet"] & ~sights["head_id"].isin(links["head_id"]) & (sights["zone_id"] != "")]
    zones = defaultdict[int, set[str]](set)
    for frame, key in ((links, "stone"), (seen, "row")):
        for row, zone in zip(frame[key], frame["zone_id"].fillna(""), strict=True):
            zones[row].add(zone)
    sets = {row: frozenset(some) for row, some in zones.items()}
    known_h = {some: hours_of_any(season.intervals, some) for some in set(sets.values()) if some <= season.zones}
    hours_h = np.where(table["reached"].fillna(value=True), np.nan, 0.0)
    hours_h[list(sets)] = [known_h.get(some, np.nan) for some in sets.values()]
    return hours_h


def _ranked(stones: Frame, links: Frame, heads: _Heads, settings: WettingSettings) -> Frame:
    """Return one row per head of known ground: stones by distance band, nearest stone, rank."""
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
    order = np.lexsort((frame["nearest_stone_m"], -frame["edge_n"], -frame["half_n"], -frame["near_n"]))
    frame["rank"] = np.argsort(order) + 1
    return frame


def _lead(table: Frame, links: Frame, ranked: Frame, heads: _Heads, settings: WettingSettings) -> list[str]:
    """Return the answer in words: the heads to look at, and at each the stones to look at."""
    top = ranked[ranked["head_id"].isin(links["head_id"])].sort_values("rank").head(settings.look_heads_n)
    if top.empty:
        yes = table.loc[table["reached"].fillna(value=False), "stone_id"].tolist()
        nothing = "No known throw reaches a stone." if len(heads.rows) else "Nothing is known that waters a stone."
        return [f"Wetted as seen or drawn: {listed(yes)}." if yes else nothing]
    error_m = np.hypot(table["error_m"].to_numpy()[links["stone"]], heads.frame["error_m"].to_numpy()[links["head"]])
    links = links.assign(told=[_metres(*pair) for pair in zip(links["distance_m"], error_m, strict=True)])
    links = links.sort_values(["distance_m", "stone", "head"])
    blurred_m, near_m = float(np.median(error_m)), f"{settings.near_m:g} m"
    many = [f"{head} ({n})" for head, n in zip(top["head_id"], top["near_n"], strict=True) if n]
    near = links.drop_duplicates("stone").head(_LOOK_STONES_N)
    first = (near["stone_id"] + " " + near["told"] + " from " + near["head_id"]).tolist()
    notes = [
        f"Look first at the heads with most stones within {near_m} that they reach: {', '.join(many)}."
        if many else f"No stone stands within {near_m} of a head that reaches it.",
        f"Stones nearest to a head that reaches them: {', '.join(first)}.",
    ]  # fmt: skip
    if blurred_m > settings.near_m / 2:
        notes = [f"Positions are good to about {blurred_m:.1g} m only, so the map cannot tell which stones stand "
                 f"within {near_m} of a head: stand at these heads while they run, and look."]  # fmt: skip
    return notes + [f"Stand at {name}, look at {_looked_at(links, name)}." for name in top["head_id"]]


def _looked_at(links: Frame, head: str) -> str:
    """Return the nearest stones of a head; a distance is said once where the positions tell no more."""
    at = links[links["head_id"] == head].head(_LOOK_STONES_N)
    told = at["told"].unique()
    if len(told) == 1:
        return f"{', '.join(at['stone_id'])} ({told[0]})"
    return ", ".join(at["stone_id"] + " (" + at["told"] + ")")


def _rest(table: Frame, links: Frame, heads: _Heads, season: Season | None) -> list[str]:
    """Return what else must be said: the plain flag, faults, heads of unknown throw, hours."""
    yes, unknown_n = table["reached"].fillna(value=False).to_numpy(dtype=bool), int(table["reached"].isna().sum())
    flag = f"{yes.sum()} of {len(table)} stones are reached" + f", of {unknown_n} nothing can be said" * (unknown_n > 0)
    little = ": on a well laid-out lawn that says little, nearness to a head says more"
    notes = [flag + little * bool(yes.sum() > SAYS_LITTLE_FRAC * len(table)) + "."] if unknown_n < len(table) else []
    faulty = (heads.frame["head_id"] + " (" + heads.frame["mend_first"] + ")").dropna().tolist()
    notes += [f"Mend first, then look again: {listed(faulty)}. They count here as if they were sound."] * bool(faulty)
    silent = heads.frame["head_id"].drop(heads.rows).tolist()
    notes += [f"The throw of {listed(silent)} is not known: stones they might reach are not called dry."] * bool(silent)
    if season is None:
        return notes
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


_SILENT = "not known: no hours for that zone"
ANALYSIS = Analysis(
    name="wetting", title="Stones the spray reaches", version=1, tables=(), facts=("crs", "time_zone"),
    question="Which stones does the spray reach, from which heads, and where should one look first?",
    needs={"stones": ("stone_id", "geometry")},
    uses={
        "stones": {
            "position_error_m": "by how it was got (tape 0.1 m, survey receiver 0.05 m, image 0.5 m, phone 4 m), phone "
            "4 m when the position basis is unknown: unsourced defaults", "position_basis": "",
        },
        "heads": {
            "*": "no head is known: wetting only where it was drawn or seen", "geometry": "", "zone_id": "",
            "position_error_m": "as by phone, 4 m: unsourced default",
        },
        "throws_computed": {"*": "no throw is worked out: no head reaches a stone"} | dict.fromkeys(_FIGURES, ""),
        "throws": {"head_id": "", "geometry": ""}, "wet_areas": {"geometry": ""},
        "observations": dict.fromkeys([*_SEEN, "geometry"], ""),
        "schedules": {
            "*": "no schedule: no hours a season", "zone_id": "", "start_at": _SILENT, "run_min": _SILENT,
            "every": _SILENT, "cycles_n": "one cycle a start", "soak_min": "", "from_on": _SILENT, "to_on": _SILENT,
            "adjust_pct": "100 percent all year",
        },
    },
    gives={name: {column.name: column.meaning for column in schema.layer(name).columns.values()}
           for name in ("stone_wetting", "wetting_links", "head_stones")},
    settings=WettingSettings, run=run, may_be_missing=frozenset({"stone_wetting.basis"}),
    sources=("plane geometry on exact arcs", "order of heads and near distance: common practice, no source"),
)  # fmt: skip
