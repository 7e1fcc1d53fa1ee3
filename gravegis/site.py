"""A site in memory: layers in one metric coordinate reference system, frozen."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from gravegis.errors import CrsError, LayerError, Problem
from gravegis.layers import schema

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy as np

    from gravegis.layers.canonical import Frame

__all__ = ["Raster", "ResultRecord", "Site", "SiteInfo"]


@dataclass(frozen=True, slots=True)
class SiteInfo:
    """What is true of the whole site.

    `crs` is an authority code such as ``EPSG:7854``; `time_zone` an IANA name, asked and never guessed, empty
    when nobody said; `crs_basis` tells how the reference system was come by, `assumed` what was assumed when
    layers were brought in, both for the Assumed box.
    """

    title: str
    crs: str
    crs_basis: str = ""
    time_zone: str = ""
    elevation_m: float | None = None
    seed: int = 1
    units: str = "metric"
    sources: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Raster:
    """A grid in the CRS of the site: row 0 is the north edge; NaN where nothing is said.

    `values` has shape (rows, columns); `left_m`, `top_m` are the outer corner; `unit` and `meaning` say what
    a cell holds.
    """

    values: np.ndarray[Any, np.dtype[np.float64]]
    left_m: float
    top_m: float
    cell_m: float
    meaning: str
    unit: str

    @property
    def bounds_m(self) -> tuple[float, float, float, float]:
        """West, south, east and north edge."""
        rows, columns = self.values.shape
        return self.left_m, self.top_m - rows * self.cell_m, self.left_m + columns * self.cell_m, self.top_m


@dataclass(frozen=True, slots=True)
class ResultRecord:
    """One line of the results log: which analysis gave what from what.

    `inputs` holds a hash per column and geometry read (``stones.height_m``) and the number of rows per layer
    (``stones``); `tables` a hash per table of coefficients; `facts` what was read of the site as a whole; `typed` the
    settings that were typed for this run only.
    """

    analysis: str
    version: int
    settings: Mapping[str, object]
    seed: int
    inputs: Mapping[str, str]
    gives: Mapping[str, str]
    grids: tuple[str, ...]
    notes: tuple[str, ...]
    assumed: tuple[str, ...]
    made_at: str = ""
    tables: Mapping[str, str] = field(default_factory=dict)
    facts: Mapping[str, object] = field(default_factory=dict)
    typed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Site(Mapping[str, "Frame"]):
    """Layers by name, each in canonical form, all in one projected metric CRS; never changed in place.

    ``site["stones"]`` hands out a shallow copy (pandas copies on write); geometry arrays are read-only.
    """

    info: SiteInfo
    _layers: Mapping[str, Frame] = field(default_factory=dict)
    grids: Mapping[str, Raster] = field(default_factory=dict)
    settings: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    log: tuple[ResultRecord, ...] = ()
    # Hashes of columns by layer, with the very frame they are of: a layer of a site never changes.
    _hashed: dict[str, tuple[Frame, dict[str, str]]] = field(default_factory=dict, repr=False)
    # Saves on disk that this site, or what it was made from, was read from or written as; shared by all made of it.
    saves: set[str] = field(default_factory=set, repr=False)

    def __getitem__(self, name: str) -> Frame:
        try:
            return self._layers[name].copy(deep=False)
        except KeyError:
            raise KeyError(name) from None

    def __iter__(self) -> Iterator[str]:
        return iter(self._layers)

    def __len__(self) -> int:
        return len(self._layers)

    def has(self, name: str, column: str | None = None) -> bool:
        """Whether a layer is there with rows and, where a column is named, with at least one value in it."""
        if name not in self._layers or self._layers[name].empty:
            return False
        frame = self._layers[name]
        return column is None or (column in frame.columns and bool(frame[column].notna().any()))

    def rows_n(self, name: str) -> int:
        """Return how many rows a layer has."""
        return len(self._layers[name])

    def column_hash(self, name: str, column: str) -> str:
        """Return a hash of what a column of a layer holds; empty where nothing stands in it, or it is not there.

        Worked out once for each frame, however often it is asked for.
        """
        from gravegis.layers import canonical

        frame = self._layers[name]
        held = self._hashed.get(name)
        if held is None or held[0] is not frame:
            held = self._hashed[name] = (frame, {})
        if column not in held[1]:
            there = column in frame.columns and bool(frame[column].notna().any())
            held[1][column] = canonical.column_hash(frame[column]) if there else ""
        return held[1][column]

    def with_layers(self, layers: Mapping[str, Frame]) -> Site:
        """Return a site with these layers added or replaced; each is brought into canonical form first.

        Raises LayerError with the problems of all layers, or CrsError where one lies in another CRS.
        """
        from gravegis.layers import canonical

        made, problems = dict(self._layers), list[Problem]()
        for name, frame in layers.items():
            try:
                made[name] = _frozen(self._placed(canonical.conform(frame, name), name))
            except LayerError as error:
                problems.extend(error.problems)
        if problems:
            raise LayerError.of(problems)
        return replace(self, _layers=_in_order(made))

    def with_canonical(self, name: str, frame: Frame) -> Site:
        """Return a site with a layer that is in canonical form and in the CRS of the site already.

        Only for what keeps that form itself (`layers.cells`): nothing is looked at. All others use `with_layers`.
        """
        return replace(self, _layers=_in_order({**self._layers, name: _frozen(frame)}))

    def without(self, names: tuple[str, ...]) -> Site:
        """Return a site without these layers."""
        return replace(self, _layers={name: frame for name, frame in self._layers.items() if name not in names})

    def without_result(self, analysis: str) -> Site:
        """Return a site without what one analysis gave."""
        gone = [record for record in self.log if record.analysis == analysis]
        layers = tuple(layer for record in gone for layer in record.gives)
        kept = {name: grid for name, grid in self.grids.items() if name not in _grids_of(self.log, analysis)}
        return replace(self.without(layers), grids=kept, log=tuple(one for one in self.log if one not in gone))

    def without_results(self) -> Site:
        """Return a site with its inputs only."""
        results = tuple(name for name in self._layers if schema.layer(name).role == "result")
        return replace(self.without(results), grids={}, log=())

    def with_result(self, layers: Mapping[str, Frame], grids: Mapping[str, Raster], record: ResultRecord) -> Site:
        """Return a site that holds what an analysis gave, and the line of the log about it."""
        before = [old for old in self.log if old.analysis == record.analysis]
        orphans = tuple(layer for old in before for layer in old.gives if layer not in layers)
        site = self.without(orphans).with_layers(layers)
        log = (*(old for old in self.log if old.analysis != record.analysis), record)
        kept = {name: grid for name, grid in self.grids.items() if name not in _grids_of(self.log, record.analysis)}
        return replace(site, grids={**kept, **grids}, log=log)

    def with_settings(self, analysis: str, values: Mapping[str, object]) -> Site:
        """Return a site that remembers these settings of one analysis."""
        return replace(self, settings={**self.settings, analysis: dict(values)})

    def _placed(self, frame: Frame, name: str) -> Frame:
        wanted = schema.layer(name)
        if not wanted.has_geometry:
            return frame
        crs = getattr(frame, "crs", None)
        if "geometry" not in frame.columns:
            if wanted.geometry[0] == "none":
                return frame
            raise LayerError(f"layer {name} has no geometry", where=name, remedy="Give it a position or an outline.")
        if crs is None or crs != self.info.crs:
            raise CrsError(
                f"the layer lies in {'no known CRS' if crs is None else crs.to_string()}, the site in {self.info.crs}",
                where=name,
                remedy="Add it with `gravegis add`, which transforms it.",
            )
        return frame


def _in_order(layers: Mapping[str, Frame]) -> dict[str, Frame]:
    order = {name: place for place, name in enumerate(schema.layers())}
    return dict(sorted(layers.items(), key=lambda item: order[item[0]]))


def _frozen(frame: Frame) -> Frame:
    """Make the geometry array read-only: it is the one way around pandas' copy-on-write."""
    if "geometry" in frame.columns:
        array = frame["geometry"].array
        array._data.flags.writeable = False
    return frame


def _grids_of(log: tuple[ResultRecord, ...], analysis: str) -> set[str]:
    return {grid for record in log if record.analysis == analysis for grid in record.grids}


def settings_text(values: Mapping[str, object]) -> str:
    """Return settings as one canonical line of JSON."""
    return json.dumps(dict(values), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
