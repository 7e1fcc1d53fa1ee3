"""What to measure or ask next: the few cheap things that would change the answer for most stones.

The order is our own rule: by how many stones hang on each, counted on plain distances as if every head turned full
circle, and at most three of one kind, so that one long list of heads does not hide the rest. It weighs neither the
way to walk nor how much an answer would move.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely

from gravegis.layers.canonical import column, empty
from gravegis.layers.heads import turn_unknown
from gravegis.layers.position_error import UNKNOWN_M, known_errors_m
from gravegis.layers.read.raw import many, shown
from gravegis.science.irrigation.kinds import head_kinds

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import numpy.typing as npt
    import pandas as pd

    from gravegis.layers.canonical import Frame
    from gravegis.layers.holder import Holder
    from gravegis.science.irrigation.kinds import HeadKind

    Flags = npt.NDArray[np.bool_]
    Floats = npt.NDArray[np.float64]

__all__ = ["Measurement", "next_measurements", "stones_by_head"]

MOST_N, MOST_OF_A_KIND_N = 10, 3  # own rule
_NEAR_M = 2.0  # how near a head counts as near: the default of analysis `wetting`, common practice, no source
_STATED_DOUBT_FRAC = 0.1  # a throw that nobody measured may be off by this share: own rule, no source
_NOBODY_KNOWS_M = (0.1, 18.0)  # a throw without a kind: the ends of head_kinds.csv
_TAPED_N, _SURVEYED_N = 3, 10  # stones named in one measurement: own rule


@dataclass(frozen=True, slots=True)
class Measurement:
    """One thing to measure or ask, on how many stones it bears, and what reads it where nothing does yet."""

    words: str
    changes_n: int
    waits_for: str = ""


def next_measurements(site: Holder) -> list[Measurement]:
    """Return at most ten measurements or questions, the one that bears on most stones first.

    Those that no analysis reads yet come last and say what they wait for. An empty list says that none of the
    things looked at is missing, not that nothing is.
    """
    ground = _ground(site)
    if not len(ground.stones):
        return []
    asked = [sorted(one(ground), key=_order)[:MOST_OF_A_KIND_N] for one in ASKS]
    every = [one for some in asked for one in some if one.changes_n]
    return sorted(every, key=_order)[:MOST_N]


def stones_by_head(site: Holder) -> dict[str, npt.NDArray[np.int64]]:
    """Return for each head the numbers of the stones within its longest throw, those with a place counted from 0."""
    ground = _ground(site)
    return {str(head): ground.around(row, ground.high_m[row]) for row, head in enumerate(ground.heads["head_id"])}


def _order(one: Measurement) -> tuple[bool, int]:
    return bool(one.waits_for), -one.changes_n


@dataclass(frozen=True, slots=True, eq=False)
class _Ground:
    """Stones and heads with a place, the throw of each head as a range, and stones about each head."""

    site: Holder
    stones: Frame
    ids: npt.NDArray[np.object_]  # of the stones; an array, for heads in thousands ask for a few of them each
    heads: Frame
    low_m: Floats
    high_m: Floats
    is_round: Flags  # neither a strip nor surveyed: throw and turn are worth asking for
    near: list[tuple[npt.NDArray[np.int64], Floats]]  # rows of stones within the longest throw, nearest first

    def around(self, head: int, most_m: float, least_m: float = 0.0) -> npt.NDArray[np.int64]:
        """Return the stones between two distances of a head."""
        rows, away_m = self.near[head]
        return rows[(away_m >= least_m) & (away_m <= most_m)]


def _ground(site: Holder) -> _Ground:
    stones, heads = _placed(site, "stones"), _placed(site, "heads")
    kinds = head_kinds()
    kind = column(heads, "heads", "kind")
    usual = [kinds.get(str(one)) for one in kind]
    ends = [_NOBODY_KNOWS_M if one is None else _ends_m(one) for one in usual]
    throw_m = column(heads, "heads", "throw_m").to_numpy("float64", na_value=np.nan)
    low_m, high_m = (np.where(np.isnan(throw_m), [one[end] for one in ends], throw_m) for end in (0, 1))
    outlines = _rows(site, "throws")
    surveyed = heads["head_id"].isin(column(outlines, "throws", "head_id").dropna()).to_numpy()
    strip = np.array([one is not None and bool(one.strip_side) for one in usual], dtype=np.bool_)
    ids = stones["stone_id"].to_numpy(dtype=object)
    return _Ground(site, stones, ids, heads, low_m, high_m, ~surveyed & ~strip, _near(stones, heads, high_m))


def _ends_m(kind: HeadKind) -> tuple[float, float]:
    return (kind.strip_length_m, kind.strip_length_m) if kind.strip_side else (kind.throw_low_m, kind.throw_high_m)


def _near(stones: Frame, heads: Frame, high_m: Floats) -> list[tuple[npt.NDArray[np.int64], Floats]]:
    shapes, points = (np.asarray(one["geometry"].array, dtype=object) for one in (stones, heads))
    # wide enough for the throw and for stones whose nearness is in doubt
    within_m = np.fmax(high_m * (1 + _STATED_DOUBT_FRAC), 4 * UNKNOWN_M)
    head, stone = shapely.STRtree(shapes).query(points, predicate="dwithin", distance=within_m)
    away_m = shapely.distance(points[head], shapes[stone])
    order = np.lexsort((stone, away_m, head))
    head, stone, away_m = head[order], stone[order], away_m[order]
    cuts = np.searchsorted(head, np.arange(len(points) + 1))
    return [(stone[first:last], away_m[first:last]) for first, last in pairwise(cuts)]


def _rows(site: Holder, name: str) -> Frame:
    return site[name] if name in site else empty(name, site.info.crs or None)


def _placed(site: Holder, name: str) -> Frame:
    frame = _rows(site, name)
    shapes = np.asarray(frame["geometry"].array, dtype=object)
    placed: Frame = frame[~(shapely.is_missing(shapes) | shapely.is_empty(shapes))].reset_index(drop=True)
    return placed


def _ids(ground: _Ground, rows: npt.NDArray[np.int64]) -> list[str]:
    return [str(one) for one in ground.ids[rows]]


def _water(ground: _Ground) -> Iterator[Measurement]:
    if not any(len(_rows(ground.site, name)) for name in ("heads", "wet_areas", "throws", "observations")):
        words = "Walk the ground while each zone runs, and write down which stones get wet"
        yield Measurement(words, len(ground.stones))


def _throws(ground: _Ground) -> Iterator[Measurement]:
    basis, kind = (column(ground.heads, "heads", name) for name in ("throw_basis", "kind"))
    for row, head in enumerate(ground.heads["head_id"]):
        if not ground.is_round[row]:
            continue
        low_m, high_m = ground.low_m[row], ground.high_m[row]
        if low_m == high_m and basis.iloc[row] != "measured":
            low_m, high_m = low_m * (1 - _STATED_DOUBT_FRAC), high_m * (1 + _STATED_DOUBT_FRAC)
        by_kind = ground.low_m[row] < ground.high_m[row]
        or_kind = ", or note what kind of head it is" * bool(by_kind and kind.iloc[row] not in head_kinds())
        rows = ground.around(row, high_m, low_m) if low_m < high_m else np.zeros(0, dtype=np.int64)
        yield Measurement(f"Pace the throw of {head} at three bearings{or_kind}", len(rows))


def _turns(ground: _Ground) -> Iterator[Measurement]:
    unknown = turn_unknown(ground.heads).to_numpy(dtype=bool) & ground.is_round
    for row in np.flatnonzero(unknown):
        words = f"Note where {ground.heads['head_id'].iloc[row]} turns: two landmarks, or that it goes full circle"
        yield Measurement(words, len(ground.around(int(row), ground.high_m[row])))


def _places(ground: _Ground) -> Iterator[Measurement]:
    """Tape where positions cannot tell which stones are near a head; well-placed stones place the head as well."""
    stone_m, head_m = (
        known_errors_m(frame, name, UNKNOWN_M) for frame, name in ((ground.stones, "stones"), (ground.heads, "heads"))
    )
    for row, head in enumerate(ground.heads["head_id"]):
        rows, away_m = ground.near[row]
        error_m = np.hypot(stone_m[rows], head_m[row])
        doubt = rows[(np.abs(away_m - _NEAR_M) <= error_m) & (error_m > _NEAR_M / 2)]
        good = rows[stone_m[rows] <= _NEAR_M / 2][:2]
        if head_m[row] > _NEAR_M / 2 and len(good) == 2:
            one, other = _ids(ground, good)
            words = f"Tape the distances from head {head} to stones {one} and {other}: they place the head"
            yield Measurement(words, len(doubt))
        elif len(doubt):
            named = _ids(ground, doubt[:_TAPED_N])
            words = f"Tape the distance from head {head} to stone{'s' * (len(named) > 1)} {shown(named)}"
            yield Measurement(words, len(named))


def _programmes(ground: _Ground) -> Iterator[Measurement]:
    heads, lines = ground.heads, _rows(ground.site, "schedules")
    told = [column(lines, "schedules", name).notna() for name in ("start_at", "run_min", "every")]
    known = set(lines.loc[told[0] & told[1] & told[2], "zone_id"].dropna()) if len(lines) else set()
    zone = column(heads, "heads", "zone_id")
    for name in sorted(set(zone.dropna()) - known):
        yield _hangs_on(ground, zone == name, f"Ask the superintendent for the programme of zone {name}")
    if zone.isna().any():
        names = shown(heads["head_id"][zone.isna()])
        yield _hangs_on(ground, zone.isna(), f"Ask the superintendent which zone waters {names}, and when it runs")


def _hangs_on(ground: _Ground, heads: pd.Series[bool], words: str) -> Measurement:
    rows = [ground.around(int(row), ground.high_m[row]) for row in np.flatnonzero(heads.to_numpy(dtype=bool))]
    return Measurement(words, len(np.unique(np.concatenate([np.zeros(0, dtype=np.int64), *rows]))))


def _surveys(ground: _Ground) -> Iterator[Measurement]:
    seen = column(ground.stones, "stones", "quick_score").notna()
    seen |= ground.stones["stone_id"].isin(column(_rows(ground.site, "findings"), "findings", "stone_id").dropna())
    unseen = ~seen.to_numpy(dtype=bool)
    in_rows = column(ground.stones, "stones", "row").notna().to_numpy(dtype=bool)
    for name, count in _blocks(ground.stones, unseen & in_rows):
        yield Measurement(f"Quick survey of {name}", count)
    rest = unseen & ~in_rows
    for row, head in enumerate(ground.heads["head_id"]):
        rows = ground.near[row][0]
        rows = rows[rest[rows]][:_SURVEYED_N]
        if len(rows):
            words = (
                f"Quick survey of the {many(len(rows), 'stone')} nearest to head {head}: {shown(_ids(ground, rows))}"
            )
            yield Measurement(words, len(rows))
    if rest.any() and not len(ground.heads):
        rows = np.flatnonzero(rest)[:_SURVEYED_N]
        yield Measurement(f"Quick survey of stones {shown(_ids(ground, rows))}", len(rows))


def _stability(ground: _Ground) -> Iterator[Measurement]:
    said, on = (column(ground.stones, "stones", name) for name in ("stability", "stability_on"))
    unsaid = said.isna() | ((said == "firm") & on.isna())
    for name, count in _blocks(ground.stones, unsaid.to_numpy(dtype=bool)):
        yield Measurement(f"Who checked the stability of stones in {name}, when, and what was found?", count)
    for name, count in _blocks(ground.stones, (said == "unchecked").to_numpy(dtype=bool)):
        words = f"Have somebody trained check the stability of stones in {name}, by eye first; local rules come first"
        yield Measurement(words, count)


def _materials(ground: _Ground) -> Iterator[Measurement]:
    missing = column(ground.stones, "stones", "material").isna().to_numpy(dtype=bool)
    for name, count in _blocks(ground.stones, missing, by_row=False):
        yield Measurement(f"What stone stands in {name}: white, grey, dark or sandy?", count)


def _facings(ground: _Ground) -> Iterator[Measurement]:
    missing = column(ground.stones, "stones", "facing_deg").isna().to_numpy(dtype=bool)
    for name, count in _blocks(ground.stones, missing, by_row=False):
        words = f"Which way do inscriptions look in {name}? Row by row where rows stand back to back"
        yield Measurement(words, count, "faces, which are not worked out yet")


def _blocks(stones: Frame, wanted: Flags, *, by_row: bool = True) -> Iterator[tuple[str, int]]:
    """Give rows (or sections) of the ground by name, with how many of the wanted stones stand there."""
    section, row = (column(stones, "stones", name) for name in ("section", "row"))
    block = "section " + section
    if by_row:
        # a row label that stands in several sections is told with its section
        shared = section.groupby(row).transform("nunique") > 1
        block = ("row " + row).where(~shared, "row " + row + " of section " + section).fillna(block)
    nameless = "the whole site" if block.isna().all() else "the part without section or row"
    counts = block.fillna(nameless)[wanted].value_counts(sort=False).sort_index()
    yield from ((str(name), int(count)) for name, count in counts.items())


ASKS: tuple[Callable[[_Ground], Iterator[Measurement]], ...] = (
    _water, _turns, _throws, _programmes, _places, _stability, _surveys, _materials, _facings,
)  # fmt: skip
"""Each looks for one kind of gap, the cheapest to fill first; of equal counts the earlier stands first."""
