"""What was seen while a zone ran: it outranks the model for that stone and zone until the head changes."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any

import numpy as np

from gravegis.contract import listed

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from gravegis.analyses.wetting.heads import Heads
    from gravegis.layers.canonical import Frame
    from gravegis.site import Site

    Ints = npt.NDArray[np.int64]

__all__ = ["SEEN", "after_sights", "read_sights", "without_pair"]

SEEN = ["stone_id", "zone_id", "head_id", "seen", "seen_on"]
_WET = ("struck", "wetted")
_RANK = {"dry": 0, "mist": 1, "wetted": 2, "struck": 3}


def read_sights(site: Site, stones: Frame, heads: Heads) -> tuple[Frame, list[str]]:
    """Return what was last seen of each stone, zone and head, of one day dry before wet; and what was left out."""
    import pandas as pd
    import shapely

    from gravegis.layers import canonical

    read = site.get("observations", canonical.empty("observations"))
    frame = pd.DataFrame({name: canonical.column(read, "observations", name).fillna("") for name in SEEN})
    frame["row"] = pd.Index(stones["stone_id"]).get_indexer(frame["stone_id"])
    if "geometry" in read.columns and len(stones):
        on, stone = shapely.STRtree(np.asarray(stones["geometry"])).query(np.asarray(read["geometry"]), "intersects")
        found = pd.Series(stone, on).groupby(level=0).min()
        frame["row"] = frame["row"].where(frame["stone_id"] != "", found)
    known = (frame["row"].fillna(-1) >= 0) & frame["seen"].isin([*_RANK])
    left_out = f"{int((~known).sum())} observations lie on no stone known here, or do not say what was seen: not used."
    frame, gone = _before_changes(frame[known].astype({"row": "int64"}), stones, heads)
    frame["is_wet"], frame["rank"] = frame["seen"].isin(_WET), frame["seen"].map(_RANK)
    frame["width"] = np.select([frame["head_id"] != "", frame["zone_id"] != ""], [2, 1], 0)
    frame["said"] = frame["head_id"].where(frame["width"] == 2, frame["zone_id"])
    frame = frame.sort_values(["seen_on", "rank"], kind="stable")
    frame = frame.drop_duplicates(["row", "width", "said"], keep="last")
    # the narrower sight is applied later, wet after dry
    return frame.sort_values(["width", "rank"], kind="stable"), [*([] if known.all() else [left_out]), *gone]


def _before_changes(frame: Frame, stones: Frame, heads: Heads) -> tuple[Frame, list[str]]:
    """Leave out what was seen before a head, any head of its zone, or, without either, any head near was changed."""
    changed = heads.frame[["head_id", "zone_id", "changed_on"]].dropna(subset="changed_on")
    if changed.empty or frame.empty:
        return frame.copy(), []
    by_head = changed.set_index("head_id")["changed_on"]
    by_zone = changed.dropna(subset="zone_id").groupby("zone_id")["changed_on"].max()
    since = frame["zone_id"].map(by_zone).where(frame["zone_id"] != "", _changed_near(frame, stones, heads))
    since = frame["head_id"].map(by_head).where(frame["head_id"] != "", since).fillna("")
    old = (frame["seen_on"] < since).to_numpy(dtype=bool)
    words = (frame.loc[old, "stone_id"] + " (" + frame.loc[old, "seen_on"] + ")").tolist()
    gone = [f"Seen before a head was changed, so the model stands again: {listed(words)}."] if old.any() else []
    return frame[~old].copy(), gone


def _changed_near(frame: Frame, stones: Frame, heads: Heads) -> pd.Series[Any]:
    """Return the last day on which a head was changed that throws as far as the stone of each sight, wherever it turns.

    A head of unknown throw counts as the longest known one.
    """
    import pandas as pd
    import shapely

    from gravegis.science.irrigation.certainty import FRINGE_M

    changed, known = heads.frame["changed_on"], heads.frame[["throw_m", "strip_length_m"]].astype("float64")
    throw_m = known["throw_m"].fillna(known["strip_length_m"])
    throw_m = throw_m.fillna(throw_m.max()).fillna(0.0)
    some = np.flatnonzero(changed.notna())
    rows = frame["row"].unique()
    tree = shapely.STRtree(np.asarray(stones["geometry"], dtype=object)[rows])
    far_m = throw_m.to_numpy()[some] + FRINGE_M
    head, stone = tree.query(heads.point[some], predicate="dwithin", distance=far_m)
    last = pd.Series(changed.to_numpy(dtype=object)[some[head]], rows[stone], dtype=object)
    return frame["row"].map(last.groupby(level=0).max())


def after_sights(
    sights: Frame, stones: Frame, table: Frame, wide: Frame, heads: Heads
) -> tuple[Frame, list[str], Frame]:
    """Return the pairs that stand after what was seen, with those it adds, words about it, and the sights that hold.

    ``seen`` of a pair is what was seen of it, empty where nobody looked: the model stands there. A sight all of whose
    pairs were looked at more narrowly does not hold.
    """
    import pandas as pd

    from gravegis.analyses.wetting.overlay import WET_M

    ids = heads.frame[["zone_id", "head_id"]].fillna("")
    inside = (wide["margin_m"] >= WET_M).to_numpy()
    spots, widest = _spots(sights, wide, ids)
    holds = [not (len(at) and (widest[at] > width).all()) for at, width in zip(spots, sights["width"], strict=True)]
    sights, spots = sights[np.array(holds, dtype=bool)], [at for at, one in zip(spots, holds, strict=True) if one]
    seen = _marks(sights, spots, widest, wide, inside)
    told = _differences(sights, spots, stones, table.assign(model=len(heads.rows) > 0), wide)
    extra = sights[sights["is_wet"] & sights["head_id"].isin(ids["head_id"])]
    more = _added(extra, stones, heads)
    both = pd.concat([wide.assign(seen=seen, kept=inside & ~np.isin(seen, ["dry", "mist"])), more])
    # of a pair that was seen wet and that the model has, the figures of the model stay
    both = both.sort_values(["stone", "head", "kept", "margin_m"], ascending=[True, True, False, False])
    both = both.drop_duplicates(["stone", "head"]).reset_index(drop=True)
    both["stone_id"] = stones["stone_id"].to_numpy()[both["stone"]]
    both[["head_id", "zone_id"]] = heads.frame[["head_id", "zone_id"]].iloc[both["head"]].reset_index(drop=True)
    return both, [f"{what}: {listed(words)}." for what, words in told.items()], sights


def _spots(sights: Frame, wide: Frame, ids: Frame) -> tuple[list[Ints], Ints]:
    """Return the pairs that each sight is about, and the narrowest look at each pair: 2 its head, 1 its zone, 0 all."""
    of_pair, of_stone = ids.iloc[wide["head"]].to_numpy(dtype=object), wide.groupby("stone").indices
    spots, widest = [], np.full(len(wide), -1)
    for row, width, said in zip(*(sights[name] for name in ("row", "width", "said")), strict=True):
        mine = of_stone.get(row, np.zeros(0, dtype=np.int64))
        mine = mine[(of_pair[mine, max(0, width - 1)] == said) | (width == 0)]
        widest[mine] = np.maximum(widest[mine], width)
        spots.append(mine)
    return spots, widest


def _marks(
    sights: Frame, spots: list[Ints], widest: Ints, wide: Frame, inside: npt.NDArray[np.bool_]
) -> npt.NDArray[np.object_]:
    """Return what was seen of each pair, empty where nobody looked."""
    seen, strikes = np.full(len(wide), "", dtype=object), np.asarray(wide["struck"] | wide["maybe"], dtype=np.bool_)
    near_m, away_m = (wide[name].to_numpy(dtype=np.float64) for name in ("near_m", "distance_m"))
    far_m = np.where(np.isfinite(near_m), near_m, 1e6 + away_m)
    for width, what, mine in zip(sights["width"], sights["seen"], spots, strict=True):
        mine = mine[widest[mine] == width]  # the narrower sight wins
        if what in ("dry", "mist") or width == 2:
            seen[mine] = what
            continue
        mine = mine[inside[mine]]
        seen[mine] = "wetted"
        if what == "struck" and len(mine):  # by which head was not noted: by those that can, else by the nearest
            by = mine[strikes[mine]]
            seen[by if len(by) else mine[np.argmin(far_m[mine])]] = "struck"
    return seen


def _differences(sights: Frame, spots: list[Ints], stones: Frame, table: Frame, wide: Frame) -> dict[str, list[str]]:
    """Return where sight and model differ: the words, and the stones; ``model`` of the table says if there is one."""
    from gravegis.analyses.wetting.overlay import WET_M

    told, model = defaultdict[str, list[str]](list), bool(table["model"].any())
    inside = (wide["margin_m"] >= WET_M).to_numpy()
    strikes = wide["struck"].to_numpy(dtype=bool)
    columns = (sights[name] for name in ("row", "width", "said", "seen"))
    for row, width, said, what, mine in zip(*columns, spots, strict=True):
        words = str(stones["stone_id"].iloc[row]) + f" ({said})" * (width > 0)
        reached, drawn = bool(inside[mine].any()), bool(width == 0 and table["drawn"].iloc[row])
        if what in ("dry", "mist") and (reached or drawn):
            told[f"Observed {what}, {'model reached' if reached else 'drawn as wet'}"].append(words)
        elif what in _WET and model and not reached:
            told["Observed wet, model did not reach"].append(words)
        elif what == "struck" and not strikes[mine].any() and model:
            told["Observed struck, model only rained on it"].append(words)
    return told


def without_pair(sights: Frame, kept: Frame) -> npt.NDArray[np.bool_]:
    """Whether what was seen to wet a stone is not among the pairs that stand: not the head, the zone, or any."""
    pairs = [kept["stone"].astype("str"), kept["zone_id"].fillna(""), kept["head_id"].fillna("")]
    found = np.zeros(len(sights), dtype=np.bool_)
    row = sights["row"].astype("str")
    for width, more in ((0, ""), (1, pairs[1]), (2, pairs[2])):
        mine = row + "\n" + sights["said"] if width else row
        had = set(pairs[0] + "\n" + more) if width else set(pairs[0])
        found |= (sights["width"] == width).to_numpy() & ~mine.isin(had).to_numpy()
    return np.asarray(found & sights["is_wet"].to_numpy(dtype=bool), dtype=np.bool_)


def _added(extra: Frame, stones: Frame, heads: Heads) -> Frame:
    """Return a pair for each stone seen wet from a head, whatever the model says of it."""
    import pandas as pd
    import shapely

    head, stone = pd.Index(heads.frame["head_id"]).get_indexer(extra["head_id"]), extra["row"].to_numpy()
    gap_m = shapely.distance(np.asarray(stones["geometry"], dtype=object)[stone], heads.point[head])
    throw = pd.Series(np.arange(len(heads.rows)), heads.rows).reindex(head).fillna(-1).to_numpy(dtype=np.int64)
    columns = {"stone": stone, "throw": throw, "head": head, "distance_m": gap_m, "margin_m": np.nan, "near_m": gap_m}
    flags: dict[str, object] = {"can_name": True, "struck": False, "maybe": False, "kept": True}
    flags["seen"] = extra["seen"].to_numpy(dtype=object)
    blank = dict.fromkeys(["error_m", "place_error_m", "strike_m", "chance"], np.nan)
    return pd.DataFrame({**columns, **blank, **flags})
