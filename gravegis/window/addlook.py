"""What a file would become if it were brought in: its columns, and where its numbers lie. Knows no Qt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gravegis.errors import CrsError
from gravegis.layers import schema
from gravegis.layers.naming import column_in_words

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    import numpy.typing as npt

    from gravegis.layers.propose import Candidate, Near
    from gravegis.layers.read import Raw
    from gravegis.layers.suggest import Suggestion
    from gravegis.site import Site
    from gravegis.window.job import Work

__all__ = ["PLACES", "Questions", "becomes_in_words", "look_task", "mapped", "questions"]

PLACES = {"x": "east or longitude", "y": "north or latitude", "wkt": "place as text"}
"""What a column of coordinates may be."""


@dataclass(frozen=True, slots=True)
class Questions:
    """What to ask about a file.

    `rows` are its columns; `stated` says in what the numbers are taken to lie, empty where nobody knows; `candidates`
    are the reference systems that fit them; `said` is what was found out on the way.
    """

    layer: str
    rows: tuple[Suggestion, ...]
    stated: str
    candidates: tuple[Candidate, ...]
    said: tuple[str, ...]


def becomes_in_words(layer: str, target: str) -> str:
    """Return what a column of a file becomes, in words; empty for one that is carried as it is."""
    if not target:
        return ""
    return PLACES.get(target) or column_in_words(layer, target)


def targets(layer: str) -> tuple[str, ...]:
    """Return everything a column of a file may become in a layer."""
    known = schema.layer(layer)
    places = tuple(PLACES) if known.has_geometry else ()
    return (*(name for name in known.columns if name != "geometry"), *places)


def mapped(rows: Sequence[tuple[str, str, str]]) -> list[str]:
    """Return column, what it becomes and its unit as the command `add` takes them; those carried as they are: none."""
    return [f"{target}={name}{f' {unit}' if unit else ''}" for name, target, unit in rows if target]


def questions(site: Site, layer: str, file: Path, **how: Any) -> Questions:  # noqa: ANN401 - options of `bring_in`
    """Look at a file without bringing it in; raises LayerError where it cannot be read."""
    from gravegis.layers import suggest

    found = suggest.look(layer, file, **how)
    has_places = schema.layer(layer).has_geometry
    stated, candidates = _where(site, layer, found.raw, found.rows) if has_places else ("", ())
    return Questions(layer, tuple(found.rows), stated, candidates, (*found.raw.notes, *found.raw.warnings))


def look_task(site: Site, layer: str, file: Path, encoding: str | None) -> Callable[[Work], Questions]:
    """Return the task that looks at a file."""

    def task(work: Work) -> Questions:
        work.tell(0.1, file.name)
        return questions(site, layer, file, encoding=encoding)

    return task


def _where(site: Site, layer: str, raw: Raw, rows: Sequence[Suggestion]) -> tuple[str, tuple[Candidate, ...]]:
    from gravegis.layers import crs as systems
    from gravegis.layers import propose

    near, xy = _near(site, layer), _numbers(raw, rows)
    if not len(xy):
        return "", ()
    try:
        source = propose.source_crs(raw, xy, typed=None, near=near)
    except CrsError:
        return "", tuple(propose.propose_crs(xy, near))
    return f"{systems.label(source.crs)} {source.crs.name} ({source.basis})", ()


def _near(site: Site, layer: str) -> Near | None:
    from pyproj import CRS

    from gravegis.layers import propose
    from gravegis.layers.holder import bounds_m

    return propose.Near(CRS.from_user_input(site.info.crs), bounds_m(site, without=layer)) if site.info.crs else None


def _numbers(raw: Raw, rows: Sequence[Suggestion]) -> npt.NDArray[np.float64]:
    """Return the coordinates of a file as they stand in it; none where they are not plain numbers."""
    import pandas as pd
    import shapely

    if "geometry" in raw.frame.columns:
        return np.asarray(shapely.get_coordinates(np.asarray(raw.frame["geometry"], dtype=object)))
    names = {row.becomes: row.in_file for row in rows}
    if not {"x", "y"} <= set(names):
        return np.empty((0, 2))
    columns = [pd.to_numeric(raw.frame[names[one]], errors="coerce") for one in ("x", "y")]
    both = np.asarray(np.column_stack(columns), dtype=np.float64)
    return np.asarray(both[np.isfinite(both).all(axis=1)])
