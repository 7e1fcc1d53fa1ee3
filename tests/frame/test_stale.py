"""Stale is exactly what no longer follows: checked over random edits against a plain record of what was read.

The truth is kept apart from the code under test: plain Python values of what each analysis declares to read, noted
when its result was made and compared one by one, without a hash; and, for what counts as current, the same analysis
worked out anew on the present site.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gravegis import pipeline, registry, staleness, store
from gravegis.contract import Analysis, Job, Result, number
from gravegis.errors import PlanError
from gravegis.layers import canonical
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from pathlib import Path

CRS = "EPSG:7854"
WEST_M, SOUTH_M = 372000.0, 6250000.0


# ---- toy analyses: what they give shows everything they read -----------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class ToySettings:
    """One setting."""

    far_m: float = number(2.0, "Distance.", unit="m", low=0, high=100, source="made for the test")


def _summed(site: Site, reads: Mapping[str, tuple[str, ...]], extra: object) -> str:
    """All that was read, as text."""
    said = [str(extra)]
    for layer, columns in reads.items():
        if layer in site:
            frame = site[layer]
            said.append(f"{layer} {len(frame)}")
            said += [f"{one} {plain(frame, one)}" for one in columns if one in frame and frame[one].notna().any()]
    return "; ".join(said)


def _toy(name: str, gives: str, needs: Any, uses: Any = None, *, facts: tuple[str, ...] = ()) -> Analysis[Any]:
    def run(site: Site, values: ToySettings, job: Job) -> Result:
        del job
        stones = site["stones"]["stone_id"]
        extra = (values.far_m, *(getattr(site.info, one) for one in facts))
        said = _summed(site, one.reads(), extra)
        column = {"stone_wetting": "basis", "stone_condition": "main_harm", "stone_clusters": "cluster_id",
                  "unplanned": "detail"}[gives]  # fmt: skip
        return Result(layers={gives: pd.DataFrame({"stone_id": stones, column: [said] * len(stones)})})

    one = Analysis(
        name=name, title=f"Toy {name}", question="?", needs=needs, uses=uses or {},
        gives={gives: {"stone_id": "stone"}},
        settings=ToySettings, run=run, version=1, sources=("made for the test",), tables=(), facts=facts,
    )  # fmt: skip
    return one


TOYS = (
    _toy("spray", "stone_wetting", {"stones": ("stone_id", "geometry")}, {"heads": {"throw_m": "", "geometry": ""}},
         facts=("time_zone",)),
    _toy("harm", "stone_condition", {"stones": ("stone_id",)},
         {"stones": {"height_m": ""}, "findings": {"pattern": ""}}),
    _toy("group", "stone_clusters", {"stones": ("stone_id",), "stone_condition": ("main_harm",)}),
    _toy("leave", "unplanned", {"stones": ("stone_id",)},
         {"stone_wetting": {"*": "", "basis": ""}, "stone_clusters": {"cluster_id": ""}, "paths": {"*": ""}},
         facts=("seed",)),
)  # fmt: skip


class _Point:
    """An entry point that gives a toy."""

    def __init__(self, one: Analysis[Any]) -> None:
        self.name, self._one = one.name, one

    def load(self) -> Analysis[Any]:
        return self._one


@pytest.fixture
def only_toys(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(registry, "BUILT_IN", ())
    monkeypatch.setattr(registry, "entry_points", lambda group: [_Point(one) for one in TOYS])


# ---- the truth ----------------------------------------------------------------------------------------------------


def plain(frame: pd.DataFrame, column: str) -> list[Any]:
    """Return the values of a column as plain Python, geometry as text."""
    values = frame[column]
    if column == "geometry":
        return [None if one is None else one.wkt for one in values]
    return [None if gone else value for value, gone in zip(values.tolist(), values.isna(), strict=True)]


def read_of(site: Site, one: Analysis[Any]) -> dict[str, Any]:
    """Return all an analysis declares to read, from needs and uses themselves."""
    read: dict[str, Any] = {f"fact {name}": getattr(site.info, name) for name in one.facts}
    for layer in {*one.needs, *one.uses}:
        if layer not in site:
            continue
        frame = site[layer]
        read[layer] = len(frame)
        for column in {*one.needs.get(layer, ()), *one.uses.get(layer, {})} - {"*"}:
            values = plain(frame, column) if column in frame else []
            if any(value is not None for value in values):
                read[f"{layer}.{column}"] = values
    return read


@dataclass
class Truth:
    """What each result was made from, noted when it was made."""

    known: dict[str, Analysis[Any]]
    read: dict[str, dict[str, Any]] = field(default_factory=dict)
    used: dict[str, dict[str, Any]] = field(default_factory=dict)
    typed: dict[str, set[str]] = field(default_factory=dict)

    def ran(self, site: Site, order: tuple[str, ...], typed: Mapping[str, Mapping[str, str]]) -> None:
        """Note what the analyses of a run read; no run changes an input, and results come in the order of the run."""
        for name in order:
            one = self.known[name]
            values = one.read(typed.get(name, {}), site.settings.get(name))
            usual = one.read({}, site.settings.get(name))
            self.read[name] = read_of(site, one)
            self.used[name] = {each: getattr(values, each) for each in one.kinds()}
            self.typed[name] = {each for each in one.kinds() if getattr(values, each) != getattr(usual, each)}

    def changed(self, site: Site) -> set[str]:
        """Return the results that were made from something else than what the site holds now."""
        there = {record.analysis for record in site.log}
        return {name for name in there if read_of(site, self.known[name]) != self.read[name] or self._set(site, name)}

    def stale(self, site: Site) -> set[str]:
        """Return the results that do not hold: made from something else, or from the result of one that does not."""
        makers = {layer: record.analysis for record in site.log for layer in self.known[record.analysis].gives}
        late = self.changed(site)
        for _ in site.log:
            for record in site.log:
                made_from = {makers[layer] for layer in self.read[record.analysis] if layer in makers}
                if made_from & late:
                    late.add(record.analysis)
        return late

    def settings_now(self, site: Site, name: str) -> Any:
        """Return the settings a result would be made with now: typed ones stay where nothing is saved."""
        now = self.known[name].read({}, site.settings.get(name))
        saved = site.settings.get(name, {})
        return replace(now, **{one: self.used[name][one] for one in self.typed[name] if one not in saved})

    def _set(self, site: Site, name: str) -> bool:
        now = self.settings_now(site, name)
        return any(getattr(now, each) != value for each, value in self.used[name].items())


# ---- a small ground and edits on it -------------------------------------------------------------------------------


def ground() -> Site:
    """Return six stones, two heads, findings, a path, a crew."""
    places = [shapely.Point(WEST_M + 2 * n, SOUTH_M + n % 2) for n in range(6)]
    ids = [f"s{n}" for n in range(6)]
    layers: dict[str, Any] = {
        "stones": gpd.GeoDataFrame(
            {"stone_id": ids, "height_m": [1.0] * 6, "material": ["marble"] * 6, "tag": ["a"] * 6,
             "surveyed_on": ["2026-09-01"] * 6},
            geometry=places, crs=CRS,
        ),
        "heads": gpd.GeoDataFrame(
            {"head_id": ["h0", "h1"], "throw_m": [4.0, 5.0], "zone_id": ["z", "z"], "nozzle_mark": ["1", "2"]},
            geometry=[shapely.Point(WEST_M, SOUTH_M + 3), shapely.Point(WEST_M + 8, SOUTH_M + 3)], crs=CRS,
        ),
        "findings": pd.DataFrame(
            {"finding_id": ["f0", "f1", "f2"], "stone_id": ["s0", "s1", "s1"], "pattern": ["lichen", "moss", "lichen"],
             "severity": [1, 2, 3], "note": ["x", "y", "z"]}
        ),
        "paths": gpd.GeoDataFrame(
            {"path_id": ["p0", "p1"]},
            geometry=[shapely.LineString([(WEST_M, SOUTH_M + y), (WEST_M + 12, SOUTH_M + y)]) for y in (-1, 5)],
            crs=CRS,
        ),
        "crews": pd.DataFrame({"crew_id": ["c0"], "people_n": [2], "shift_from": ["08:00"], "shift_to": ["12:00"]}),
        "photos": pd.DataFrame({"photo_id": ["i0"], "stone_id": ["s0"]}),
    }  # fmt: skip
    return Site(SiteInfo("Small ground", CRS, time_zone="Australia/Adelaide", seed=7)).with_layers(layers)


VALUES: dict[tuple[str, str], tuple[Any, ...]] = {
    ("stones", "height_m"): (1.0, 1.5, None),
    ("stones", "material"): ("marble", "granite"),
    ("stones", "tag"): ("a", "b"),
    ("stones", "geometry"): (0.0, 0.25),
    ("heads", "throw_m"): (4.0, 6.0),
    ("heads", "nozzle_mark"): ("1", "9"),
    ("heads", "geometry"): (0.0, 0.25),
    ("findings", "pattern"): ("lichen", "moss"),
    ("findings", "severity"): (1, 3),
    ("findings", "note"): ("x", "q"),
    ("paths", "geometry"): (0.0, 0.25),
    ("crews", "shift_to"): ("12:00", "13:00"),
    ("crews", "people_n"): (2, 3),
    ("photos", "stone_id"): ("s0", "s1"),
}
CELLS = st.sampled_from(sorted(VALUES)).flatmap(
    lambda at: st.tuples(st.just("cell"), st.just(at), st.integers(0, 5), st.sampled_from(VALUES[at]))
)
LAYERS = st.tuples(
    st.sampled_from(["gone", "back", "row gone", "turned", "blank"]), st.sampled_from(sorted({a for a, _ in VALUES}))
)
FACTS = st.sampled_from(
    [("fact", "seed", 7), ("fact", "seed", 8), ("fact", "time_zone", "Australia/Adelaide"), ("fact", "time_zone", ""),
     ("fact", "title", "Other")]
)  # fmt: skip
RELOAD = st.just(("reload",))


def _cell(site: Site, at: tuple[str, str], row: int, value: Any) -> Site:
    layer, column = at
    if layer not in site or row >= len(site[layer]):
        return site
    frame: Any = site[layer]
    if column == "geometry":
        shapes = list(frame.geometry)
        shapes[row] = shapely.transform(shapes[row], lambda xy: np.add(np.floor(xy), (value, 0.0)))
        return site.with_layers({layer: frame.set_geometry(shapes, crs=CRS)})
    values = frame[column].astype(object).where(frame[column].notna(), None).tolist()
    values[row] = value
    return site.with_layers({layer: frame.assign(**{column: pd.Series(values, dtype=object)})})


# columns that analyses read, with nothing in them
BLANK = {"stones": "lean_deg", "heads": "fault", "findings": "extent_frac"}
LAYER_EDITS: dict[str, Callable[[pd.DataFrame, str], pd.DataFrame]] = {
    "row gone": lambda frame, layer: frame.iloc[:-1] if len(frame) > 1 else frame,
    "turned": lambda frame, layer: frame.iloc[::-1],
    "blank": lambda frame, layer: frame.assign(**{BLANK.get(layer, "note"): None}),
    "back": lambda frame, layer: ground()[layer],
}


def reloaded(site: Site, folder: Path) -> Site:
    """Return the site as a save and a load give it."""
    store.save(site, folder)
    return store.load(folder)


def edited(site: Site, edit: tuple[Any, ...], folder: Path) -> Site:
    """Return the site after one edit; an edit that has nothing to work on leaves it."""
    kind, *more = edit
    if kind == "cell":
        return _cell(site, *more)
    if kind == "fact":
        return replace(site, info=replace(site.info, **{more[0]: more[1]}))
    if kind == "saved":
        return site.with_settings(*more)
    if kind == "reload":
        return reloaded(site, folder)
    layer = more[0]
    if kind == "gone":
        return site if layer == "stones" else site.without((layer,))
    there = layer in site or kind == "back"
    return site.with_layers({layer: LAYER_EDITS[kind](site.get(layer, pd.DataFrame()), layer)}) if there else site


def walk(
    edits: list[tuple[Any, ...]], known: dict[str, Analysis[Any]], folder: Path, site: Site
) -> Iterator[tuple[Site, Truth]]:
    """Give the site and the truth after each edit, beginning with a run of everything."""
    truth = Truth(known)
    for edit in (("run", (), {}), *edits):
        if edit[0] == "run":
            _, wanted, typed = edit
            before = site
            try:
                outcome = pipeline.run(site, wanted, typed=typed)
            except PlanError:
                assert wanted, "a run of everything never fails for want of a layer"
                continue
            site = outcome.site
            truth.ran(site, outcome.ran, typed)
            assert {one.analysis for one in outcome.stale} == truth.stale(site)
            if not wanted:
                assert not outcome.stale or typed, "a run of everything makes everything hold"
            kept = {record.analysis for record in before.log} - {one.name for one in outcome.dropped}
            assert kept <= {record.analysis for record in site.log}, "a result went that need not"
        else:
            site = edited(site, edit, folder)
        yield site, truth


def same(site: Site, made: Result) -> bool:
    """Return whether the site holds this result, value by value."""
    for layer, frame in made.layers.items():
        other = canonical.conform(frame, layer)
        columns = [str(one) for one in other if one in site[layer] or other[one].notna().any()]
        if any(one not in site[layer] or plain(other, one) != plain(site[layer], one) for one in columns):
            return False
    return all(
        np.array_equal(grid.values, site.grids[name].values, equal_nan=True) for name, grid in made.grids.items()
    )


def anew(site: Site, truth: Truth, name: str) -> Result | None:
    """Return an analysis worked out now; None where it lacks what it needs."""
    one = truth.known[name]
    return None if one.lacks(site) else one.work(site, truth.settings_now(site, name))


SINGLE = [
    *(("cell", at, row, VALUES[at][1]) for at in sorted(VALUES) for row in (0, 1)),
    *((kind, layer) for kind in ("gone", "row gone", "turned", "blank") for layer in ground()),
    ("fact", "seed", 8), ("fact", "time_zone", ""), ("fact", "title", "Other"), ("reload",),
]  # fmt: skip
"""Every kind of edit, each alone."""


@pytest.mark.usefixtures("only_toys")
@pytest.mark.parametrize("edit", SINGLE, ids=str)
def test_each_edit_alone_puts_out_of_date_exactly_what_reads_it(edit: tuple[Any, ...], tmp_path: Path) -> None:
    check_toys([edit], tmp_path)


TOY_EDITS = st.lists(
    st.one_of(
        CELLS, LAYERS, FACTS, RELOAD,
        st.tuples(st.just("saved"), st.sampled_from([one.name for one in TOYS]),
                  st.sampled_from([{}, {"far_m": "2"}, {"far_m": "300 cm"}])),
        st.tuples(st.just("run"), st.sampled_from([(), ("spray",), ("harm",), ("group",), ("leave",)]),
                  st.sampled_from([{}, {"spray": {"far_m": "3"}}, {"harm": {"far_m": "3 m"}}])),
    ),
    max_size=10,
)  # fmt: skip


def check_toys(edits: list[tuple[Any, ...]], folder: Path) -> None:
    """Compare what is marked with the truth after every edit."""
    for site, truth in walk(edits, {one.name: one for one in TOYS}, folder, ground()):
        found = staleness.stale(site)
        assert {one.analysis for one in found} == truth.stale(site)
        assert {one.analysis for one in found if one.changed} == truth.changed(site)
        assert all(one.reasons for one in found)
        for record in site.log:
            made = anew(site, truth, record.analysis)
            holds = made is not None and same(site, made)
            # a toy tells all it reads, so what it would say now tells whether its result follows
            assert holds == (record.analysis not in truth.changed(site)), record.analysis


LET = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow]


@pytest.mark.usefixtures("only_toys")
@given(edits=TOY_EDITS)
@settings(max_examples=25, suppress_health_check=LET)
def test_stale_is_exactly_what_does_not_follow(edits: list[tuple[Any, ...]], tmp_path_factory: Any) -> None:
    check_toys(edits, tmp_path_factory.mktemp("site"))


@pytest.mark.full
@pytest.mark.usefixtures("only_toys")
@given(edits=TOY_EDITS)
@settings(max_examples=200, suppress_health_check=LET)
def test_stale_is_exactly_what_does_not_follow_over_many_edits(
    edits: list[tuple[Any, ...]], tmp_path_factory: Any
) -> None:
    check_toys(edits, tmp_path_factory.mktemp("site"))


BUILT_IN_EDITS = st.lists(
    st.one_of(
        CELLS, CELLS, LAYERS, FACTS, RELOAD,
        st.tuples(st.just("saved"), st.just("wetting"), st.sampled_from([{}, {"near_m": "2"}, {"near_m": "3"}])),
        st.tuples(st.just("run"), st.sampled_from([(), *((name,) for name in registry.BUILT_IN)]),
                  st.sampled_from([{}, {"wetting": {"near_m": "3"}}])),
    ),
    max_size=5,
)  # fmt: skip


def test_each_edit_alone_puts_out_of_date_exactly_what_built_in_analyses_declare_to_read(tmp_path: Path) -> None:
    known = {name: registry.load(name) for name in registry.BUILT_IN}
    first = ground().with_settings("routes", {"iterations_n": 20})
    [(site, truth)] = walk([], known, tmp_path, first)
    for edit in SINGLE:
        after = edited(site, edit, tmp_path)
        assert {one.analysis for one in staleness.stale(after)} == truth.stale(after), edit
    moved = edited(site, ("cell", ("stones", "geometry"), 0, 0.25), tmp_path)
    placed = {"wetting", "coverage", "condition", "hotspots", "clusters", "heatmap", "evidence", "change", "worklist",
              "routes", "zone_requests", "season_plan"}  # fmt: skip
    assert truth.stale(moved) == placed


@given(edits=BUILT_IN_EDITS)
@settings(max_examples=4)
def test_results_of_the_built_in_analyses_that_hold_are_what_they_would_give_now(
    edits: list[tuple[Any, ...]], tmp_path_factory: Any
) -> None:
    check_built_in(edits, tmp_path_factory.mktemp("site"))


@pytest.mark.full
@given(edits=BUILT_IN_EDITS)
@settings(max_examples=40)
def test_results_of_the_built_in_analyses_hold_over_many_edits(
    edits: list[tuple[Any, ...]], tmp_path_factory: Any
) -> None:
    check_built_in(edits, tmp_path_factory.mktemp("site"))


def check_built_in(edits: list[tuple[Any, ...]], folder: Path) -> None:
    """Compare what is marked with the truth, and what is not with the analysis worked out anew."""
    known = {name: registry.load(name) for name in registry.BUILT_IN}
    first = ground().with_settings("routes", {"iterations_n": 20})
    for site, truth in walk(edits, known, folder, first):
        late = {one.analysis for one in staleness.stale(site)}
        assert late == truth.stale(site)
        for record in site.log:
            if record.analysis not in late:
                made = anew(site, truth, record.analysis)
                assert made is not None
                assert same(site, made), f"{record.analysis} is not marked and would be another now"
