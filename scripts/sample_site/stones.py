"""Plots and stones: rows of rectangles, and what stands on them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely

from .ground import GAP_M, PLOT_LENGTH_M, PLOT_WIDTH_M, ROWS, SEED, Row

# Shares are invented to look like a country ground of this age; no count of real stones is behind them.
MATERIALS: tuple[tuple[int, dict[str, float]], ...] = (
    (1920, {"marble": 0.38, "sandstone": 0.20, "limestone": 0.20, "slate": 0.12, "granite": 0.10}),
    (1960, {"marble": 0.34, "granite": 0.34, "concrete": 0.15, "sandstone": 0.10, "dark granite": 0.07}),
    (2100, {"granite": 0.36, "dark granite": 0.38, "concrete": 0.13, "marble": 0.13}),
)
FINISHES: dict[str, tuple[str, ...]] = {
    "marble": ("polished", "honed", "honed"),
    "granite": ("polished", "honed", "rough"),
    "dark granite": ("polished",),
    "limestone": ("honed", "rough"),
    "sandstone": ("honed", "rough"),
    "slate": ("honed",),
    "concrete": ("rough",),
}
FORMS: tuple[tuple[int, dict[str, float]], ...] = (
    (1950, {"headstone": 0.52, "tablet": 0.26, "obelisk": 0.07, "ledger": 0.11, "desk": 0.04}),
    (2100, {"headstone": 0.38, "tablet": 0.12, "desk": 0.24, "ledger": 0.10, "flush marker": 0.16}),
)
# width along the front, thickness front to back, height: lowest and highest, in metres
SIZES_M: dict[str, tuple[tuple[float, float], tuple[float, float], tuple[float, float]]] = {
    "headstone": ((0.55, 0.80), (0.10, 0.20), (0.80, 1.40)),
    "tablet": ((0.45, 0.65), (0.08, 0.12), (0.60, 1.00)),
    "desk": ((0.50, 0.70), (0.28, 0.42), (0.35, 0.55)),
    "flush marker": ((0.48, 0.60), (0.28, 0.36), (0.02, 0.05)),
    "ledger": ((0.75, 0.85), (1.80, 1.95), (0.15, 0.30)),
    "obelisk": ((0.50, 0.70), (0.50, 0.70), (1.80, 2.40)),
}
# share of the stones, first and last year: each section holds old stones and young ones, so that age, material and
# water can be told apart
YEARS: dict[str, tuple[tuple[float, int, int], ...]] = {
    "A": ((0.70, 1930, 1992), (0.30, 1884, 1929)),
    "B": ((0.80, 1951, 2016), (0.20, 1888, 1945)),
    "C": ((0.78, 1878, 1946), (0.22, 1956, 2019)),
    "D": ((1.00, 1968, 2023),),
    "E": ((0.85, 1936, 2008), (0.15, 1890, 1935)),
}
FLUSH_SECTION = "D"
PHONE_SECTION = "E"
PHONE_ERROR_M = 3.0
EMPTY_PLOTS: dict[str, int] = {"A": 15, "B": 25, "C": 28, "D": 20, "E": 12}
SURVEY_DAYS: dict[str, str] = {
    "A": "2026-09-14", "B": "2026-09-15", "C": "2026-09-17", "D": "2026-09-18", "E": "2026-09-21",
}  # fmt: skip
UNCHECKED_SHARE = 0.15
MOVES_N = 36
BARRED_N = 3
MILITARY_ROW = "A5"
MILITARY_N = 6
MILITARY = "official military marker"
INITIALS = "ABCDEFGHJKLMNPRSTW"


@dataclass(frozen=True, slots=True)
class Plot:
    """One plot: its rectangle in plan metres, and the end where a stone stands."""

    plot_id: str
    row: Row
    lot: int
    ground: shapely.Polygon
    head_end: tuple[float, float]


@dataclass(slots=True)
class Stone:
    """One stone: its footprint in plan metres, what is true of it, and the columns a survey filled in."""

    ground: shapely.Polygon  # where it truly stands
    true_year: int  # known here even where the survey could not read it
    columns: dict[str, Any] = field(default_factory=dict)
    surveyed: shapely.Geometry | None = None  # what the survey drew; None where it drew the truth
    other_cause: str = ""  # railing or washed: what set the score besides the causes all stones share


def _starts(rng: np.random.Generator, block: tuple[float, float, int]) -> list[float]:
    """Return where each plot of a block begins: uneven gaps, never past the block's end."""
    begin, end, plots = block
    gaps = GAP_M[0] + (GAP_M[1] - GAP_M[0]) * rng.random(plots - 1)
    room = end - begin - plots * PLOT_WIDTH_M
    gaps *= min(1.0, room / gaps.sum())
    return [begin + PLOT_WIDTH_M * place + float(gaps[:place].sum()) for place in range(plots)]


def _plot(row: Row, lot: int, start: float) -> Plot:
    if row.east_west:
        box = shapely.box(start, row.edge_m, start + PLOT_WIDTH_M, row.edge_m + PLOT_LENGTH_M)
        middle = start + PLOT_WIDTH_M / 2
        # the stone stands at the end its inscription looks away from
        ends = {0.0: (middle, row.edge_m), 180.0: (middle, row.edge_m + PLOT_LENGTH_M)}
    else:
        box = shapely.box(row.edge_m, start, row.edge_m + PLOT_LENGTH_M, start + PLOT_WIDTH_M)
        middle = start + PLOT_WIDTH_M / 2
        ends = {90.0: (row.edge_m, middle), 270.0: (row.edge_m + PLOT_LENGTH_M, middle)}
    return Plot(f"{row.name}-{lot:02d}", row, lot, box, ends[row.facing_deg])


def make_plots() -> list[Plot]:
    """Return all plots, row by row, counted from the path."""
    rng = np.random.default_rng([SEED, 1])
    plots: list[Plot] = []
    for row in ROWS:
        starts = [start for block in row.blocks for start in _starts(rng, block)]
        if row.counted_back:
            starts.reverse()
        plots.extend(_plot(row, lot, start) for lot, start in enumerate(starts, start=1))
    return plots


def pick(rng: np.random.Generator, shares: dict[str, float]) -> str:
    """Draw one key, by its share."""
    cut = rng.random() * sum(shares.values())
    for name, share in shares.items():
        cut -= share
        if cut < 0:
            return name
    return name


def _of_year(table: tuple[tuple[int, dict[str, float]], ...], year: int) -> dict[str, float]:
    return next(shares for before, shares in table if year < before)


def _between(rng: np.random.Generator, bounds: tuple[float, float]) -> float:
    return round(bounds[0] + (bounds[1] - bounds[0]) * float(rng.random()), 2)


def footprint(centre: tuple[float, float], width_m: float, thickness_m: float, facing_deg: float) -> shapely.Polygon:
    """Return a rectangle whose front looks to a true bearing, in plan metres."""
    out = np.array([np.sin(np.radians(facing_deg)), np.cos(np.radians(facing_deg))])
    along = np.array([out[1], -out[0]])
    signs = ((1, 1), (1, -1), (-1, -1), (-1, 1))
    corners = [np.array(centre) + a * along * width_m / 2 + o * out * thickness_m / 2 for a, o in signs]
    return shapely.Polygon(corners)


def _centre(rng: np.random.Generator, plot: Plot, thickness_m: float) -> tuple[float, float]:
    """Return where a stone stands: a little in from the head end of its plot, not quite in the middle."""
    inset_m = 0.10 + 0.12 * float(rng.random()) + thickness_m / 2
    sideways_m = float(np.clip(rng.standard_normal() * 0.03, -0.08, 0.08))
    out = np.radians(plot.row.facing_deg)
    east_m = plot.head_end[0] + inset_m * np.sin(out) + sideways_m * np.cos(out)
    north_m = plot.head_end[1] + inset_m * np.cos(out) - sideways_m * np.sin(out)
    return float(east_m), float(north_m)


def _year(rng: np.random.Generator, section: str) -> int:
    spans = YEARS[section]
    chosen = pick(rng, {str(place): share for place, (share, *_) in enumerate(spans)})
    _, first, last = spans[int(chosen)]
    return first + int(rng.integers(0, last - first + 1))


def _stand(rng: np.random.Generator, plot: Plot) -> Stone:
    """Put one stone on a plot."""
    year = _year(rng, plot.row.section)
    form = "flush marker" if plot.row.section == FLUSH_SECTION else pick(rng, _of_year(FORMS, year))
    material = pick(rng, _of_year(MATERIALS, year))
    width_m, thickness_m, height_m = (_between(rng, bounds) for bounds in SIZES_M[form])
    if form == "obelisk":
        thickness_m = width_m
    askew_deg = float(np.clip(rng.standard_normal() * 1.3, -3.0, 3.0))
    facing_deg = round(plot.row.facing_deg + askew_deg) % 360
    centre = _centre(rng, plot, thickness_m)
    finishes = FINISHES[material]
    columns: dict[str, Any] = {
        "plot_id": plot.plot_id,
        "section": plot.row.section,
        "row": plot.row.name,
        "material": material,
        "finish": finishes[int(rng.integers(0, len(finishes)))],
        "form": form,
        "height_m": height_m,
        "width_m": width_m,
        "thickness_m": thickness_m,
        "facing_deg": facing_deg,
    }
    return Stone(footprint(centre, width_m, thickness_m, facing_deg), year, columns)


def _name(rng: np.random.Generator, stones: list[Stone]) -> None:
    """Give ids, places, tags, inscription keys, and take away what a real survey would lack."""
    places: dict[str, int] = {}
    for number, stone in enumerate(stones, start=1):
        row = stone.columns["row"]
        places[row] = places.get(row, 0) + 1
        letters = [INITIALS[int(rng.integers(0, len(INITIALS)))] for _ in range(2)]
        unread, untagged, undated, unmeasured, upright, lean = rng.random(6)
        year = None if undated < 0.06 else stone.true_year
        key = f"{letters[0]}.{letters[1]}." + (f" {year}" if year else "")
        more = {
            "stone_id": f"S{number:04d}",
            "place_in_row": places[row],
            "tag": f"{number:05d}" if untagged < 0.4 else None,
            "find_me": None if unread < 0.07 else key,
            "year": year,
            "lean_deg": round(1 + 7 * float(lean) ** 3) if upright < 0.2 else None,
            "quick_score": None,
            "position_error_m": 0.05,
            "position_basis": "survey receiver",
            "surveyed_on": SURVEY_DAYS[stone.columns["section"]],
        }
        if stone.columns["form"] in ("ledger", "flush marker"):
            more["lean_deg"] = None
        if stone.columns["section"] == PHONE_SECTION:
            more.update(position_error_m=PHONE_ERROR_M, position_basis="phone")
        if unmeasured < 0.05:
            stone.columns["height_m"] = None
        stone.columns.update(more)


def _check_stability(rng: np.random.Generator, stones: list[Stone]) -> None:
    """Record the stability checks: three in twenty unchecked, some that move, a few nobody should go near."""
    order = [int(place) for place in rng.permutation(len(stones))]
    upright = [place for place in order if stones[place].columns["form"] in ("headstone", "tablet", "obelisk")]
    state = dict.fromkeys(order, "firm")
    state.update(dict.fromkeys(upright[:MOVES_N], "moves"))
    old = [place for place in upright[MOVES_N:] if stones[place].columns["section"] == "C"]
    state.update(dict.fromkeys(old[:BARRED_N], "do not approach"))
    firm = [place for place in order if state[place] == "firm"]
    state.update(dict.fromkeys(firm[: round(UNCHECKED_SHARE * len(stones))], "unchecked"))
    people = ("conservator", "trained tester")
    for place, stone in enumerate(stones):
        checked = state[place] != "unchecked"
        firm_there = state[place] == "firm"
        stone.columns["stability"] = state[place]
        stone.columns["stability_on"] = f"2026-10-{5 + int(rng.integers(0, 4)):02d}" if checked else None
        stone.columns["stability_by"] = people[int(rng.integers(0, 2)) if firm_there else 0] if checked else None


def _mark_military(stones: list[Stone]) -> None:
    """Mark six neighbours as official markers of the military: nobody has asked their authority yet."""
    row = [stone for stone in stones if stone.columns["row"] == MILITARY_ROW]
    for stone in [one for one in row if one.columns["form"] in ("headstone", "tablet")][10 : 10 + MILITARY_N]:
        stone.columns["significance"] = MILITARY


def _by_phone(rng: np.random.Generator, stones: list[Stone]) -> None:
    """Put the stones of one section where a phone said they stand: a point, off by 3 m on each axis."""
    for stone in stones:
        if stone.columns["section"] == PHONE_SECTION:
            off = PHONE_ERROR_M * rng.standard_normal(2)
            middle = stone.ground.centroid
            stone.surveyed = shapely.Point(middle.x + off[0], middle.y + off[1])


def make_stones(plots: list[Plot]) -> list[Stone]:
    """Return the stones: one on every plot but the empty ones, without scores yet."""
    rng = np.random.default_rng([SEED, 2])
    empty: set[str] = set()
    for section, count in EMPTY_PLOTS.items():
        names = [plot.plot_id for plot in plots if plot.row.section == section]
        empty.update(names[int(place)] for place in rng.permutation(len(names))[:count])
    stones = [_stand(rng, plot) for plot in plots if plot.plot_id not in empty]
    _name(np.random.default_rng([SEED, 3]), stones)
    _check_stability(np.random.default_rng([SEED, 4]), stones)
    _mark_military(stones)
    _by_phone(np.random.default_rng([SEED, 8]), stones)
    return stones
