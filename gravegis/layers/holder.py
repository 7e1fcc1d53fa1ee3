"""The shape of a site, for what stands below it and takes one: layers by name, on one metric grid."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar, Protocol, Self

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from dataclasses import Field

    from gravegis.layers.canonical import Frame

__all__ = ["Holder", "Info", "bounds_m", "holds"]


class Info(Protocol):
    """What is true of the whole site."""

    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]

    @property
    def crs(self) -> str:
        """Code of the metric grid, empty before the first layer."""

    @property
    def time_zone(self) -> str:
        """IANA name, empty when nobody said."""

    @property
    def sources(self) -> tuple[str, ...]:
        """Where the layers come from."""

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was assumed when they were brought in, each beginning with its layer."""


class Holder(Protocol):
    """A site, seen from below: it is never changed, `with_layers` gives another one."""

    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]

    @property
    def info(self) -> Info:
        """What is true of the whole site."""

    def __getitem__(self, name: str, /) -> Frame: ...
    def __iter__(self) -> Iterator[str]: ...
    def __contains__(self, name: object, /) -> bool: ...
    def with_layers(self, layers: Mapping[str, Frame]) -> Self:
        """Return a site with these layers added or replaced."""


def bounds_m(site: Holder, *, without: str = "") -> tuple[float, float, float, float] | None:
    """Return west, south, east and north of all layers but one; None where nothing has a place."""
    boxes = [
        shapely.total_bounds(np.asarray(site[name]["geometry"].array, dtype=object))
        for name in site
        if name != without
        and "geometry" in site[name].columns
        and shapely.is_geometry(site[name]["geometry"].to_numpy()).any()
    ]
    if not boxes:
        return None
    every = np.array(boxes, dtype=np.float64)
    west, south = every[:, :2].min(axis=0)
    east, north = every[:, 2:].max(axis=0)
    return float(west), float(south), float(east), float(north)


def holds(site: Holder, name: str, column: str | None = None) -> bool:
    """Whether a layer is there with rows and, where a column is named, with at least one value in it."""
    if name not in site or site[name].empty:
        return False
    frame = site[name]
    return column is None or (column in frame.columns and bool(frame[column].notna().any()))
