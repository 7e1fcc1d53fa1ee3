"""A map per harm: how bad it is on each stone, where it gathers more or less than by chance, and how many were seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from gravegis.layers.canonical import column
from gravegis.outputs import figure, pages, symbols
from gravegis.outputs.pages import About
from gravegis.outputs.things import bounds_m, ground, outlines, shapes_of, stones_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt
    from matplotlib.figure import Figure

    from gravegis.outputs.things import Shapes, Thing
    from gravegis.site import Site

    Floats = npt.NDArray[np.float64]

__all__ = ["by_section", "harm_map", "harms_mapped"]

_ORDER = ("condition_3", "condition_2", "condition_1", "condition_0", "condition_none")
_WORDS = {
    "condition_3": "3 major", "condition_2": "2 moderate", "condition_1": "1 minor", "condition_0": "0 not found",
    "condition_none": "not known: nobody looked for it",
}  # fmt: skip
_AROUND_M = 1.2
_JOIN_M = 2.0
"""How far an outline keeps off its stones, and how near two of them run into one: own choice. [m]"""
_LEAST_IN_SECTION = 5


def harms_mapped(site: Site) -> tuple[str, ...]:
    """Return the harms that have hot spots worked out, the condition class left out: it has a map of its own."""
    if not site.has("stone_hotspots"):
        return ()
    harms = site["stone_hotspots"]["harm"].unique().tolist()
    return tuple(str(one) for one in harms if one != "overall")


def harm_map(
    site: Site, harm: str, *, made_on: str = "", paper: str = "A4", plan_hash: str = "", page: tuple[int, int] = (1, 1)
) -> Figure:
    """Return the page of one harm: severity on each stone, outlines of hot and cold spots, shares by section."""
    from gravegis.layers.harms import grades_of

    about = About(made_on, paper, plan_hash, page)
    stones = site["stones"]
    shapes = shapes_of(stones)
    grades = grades_of(stones, site.get("findings"), site.get("stone_condition"))
    grade = grades.grade_of(harm)
    kinds = [symbols.condition_kind(None if np.isnan(one) else int(one)) for one in grade]
    drawn = [*stones_of(shapes, kinds, _WORDS, _ORDER), *_spots(site, harm, shapes), *ground(site)]
    first = [_measured(harm, grade), *_notes(site, harm), *by_section(site, grade)]
    words = pages.page_of(
        site, f"{harm.capitalize()} on the stones", (), about, first=first, rests_on=("hotspots", "condition")
    )
    sheet = pages.start(site, words, drawn, bounds_m(shapes, around=drawn), about)
    pages.rows_and_sections(site, sheet, pages.board_of(sheet, drawn))
    figure.remark(sheet, pages.covered(sheet, shapes))
    return sheet.figure


def _measured(harm: str, grade: Floats) -> str:
    known = ~np.isnan(grade)
    return (
        f"Shown is the worst severity of {harm} found on a stone, 0 to 3; {int(known.sum())} of {len(grade)} stones "
        "were looked at for it."
    )


def _notes(site: Site, harm: str) -> list[str]:
    record = pages.record_of(site, "hotspots")
    return [] if record is None else [note for note in record.notes if note.startswith(f"{harm.capitalize()}:")]


def by_section(site: Site, grade: Floats) -> list[str]:
    """Return the share of stones with the harm in each section, in one line; nothing where no section is known."""
    section = column(site["stones"], "stones", "section").fillna("").to_numpy(dtype=np.str_)
    known = ~np.isnan(grade)
    said = []
    for name in np.unique(section[known & (section != "")]).tolist():
        at = known & (section == name)
        found, n = int((grade[at] > 0).sum()), int(at.sum())
        share = f" ({found / n:.0%})" if n >= _LEAST_IN_SECTION else ""
        said.append(f"{name} {found} of {n}{share}")
    return [f"By section: {', '.join(said)}."] if said else []


def _spots(site: Site, harm: str, shapes: Shapes) -> list[Thing]:
    table = site["stone_hotspots"]
    states = table[table["harm"] == harm].set_index("stone_id")["state"].reindex(site["stones"]["stone_id"])
    made: list[Thing] = []
    for state in ("hot", "cold"):
        at = (states == state).fillna(value=False).to_numpy(dtype=bool) & ~shapely.is_missing(shapes)
        if at.any():
            words = f"{symbols.symbol(f'{state}_spot').words} ({int(at.sum())} stones)"
            made += outlines(f"{state}_spot", _around(shapes[at]), words)
    return made


def _around(shapes: Shapes) -> Shapes:
    """Return outlines around stones; those near each other share one."""
    wide = shapely.union_all(shapely.buffer(shapes, _AROUND_M + _JOIN_M))
    parts: Sequence[shapely.Geometry] = getattr(shapely.buffer(wide, -_JOIN_M), "geoms", None) or [
        shapely.buffer(wide, -_JOIN_M)
    ]
    return np.array(list(parts), dtype=object)
