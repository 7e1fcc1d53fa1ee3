from __future__ import annotations

import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pytest
import shapely

from gravegis import pipeline, registry
from gravegis.contract import Analysis, Job, Result
from gravegis.layers import schema
from gravegis.registry import Skipped
from gravegis.report import Gap, Report, ResultState, report_of
from gravegis.report.gaps import Ground, gaps_of
from gravegis.report.lines import AssumedLine, read
from gravegis.report.mend import measures
from gravegis.report.weigh import built_on, is_input
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from collections.abc import Sequence

CRS = "EPSG:7854"


def may_go(name: str, layer: str, column: str) -> bool:
    """Whether a site can be without it: not what the analysis needs, nor what the schema asks of each row."""
    if column == "*":
        return layer not in registry.load(name).needs
    return column != "geometry" and not schema.layer(layer).columns[column].required


USES = [
    (name, layer, column, words)
    for name in registry.names()
    for layer, columns in registry.load(name).uses.items()
    for column, words in columns.items()
    if schema.is_known(layer) and is_input(layer) and may_go(name, layer, column)
]
# Where the run itself knows more than the declaration: the figure used, or which of several rules applied.
SAID_WITH_FIGURES = {"stones.position_error_m", "heads.position_error_m", "stones.stability", "paths", "crews.carries"}


def poor(stones_n: int = 6, heads_n: int = 2) -> Site:
    """Return the two poor lists: stones as points, heads with one radius."""
    stones = gpd.GeoDataFrame(
        {"stone_id": [f"s{k}" for k in range(stones_n)]},
        geometry=[shapely.Point(372000 + 2 * k, 6250000) for k in range(stones_n)], crs=CRS,
    )  # fmt: skip
    heads = gpd.GeoDataFrame(
        {"head_id": [f"h{k}" for k in range(heads_n)], "throw_m": 3.0},
        geometry=[shapely.Point(372000 + 10 * k, 6250001) for k in range(heads_n)], crs=CRS,
    )  # fmt: skip
    return Site(SiteInfo("Poor lists", CRS, "typed")).with_layers({"stones": stones, "heads": heads})


def without(site: Site, layer: str, column: str) -> Site:
    """Return a site without a layer, or a column of it where the layer is there."""
    if column == "*" or layer not in site:
        return site.without((layer,))
    return site.with_layers({layer: site[layer].drop(columns=column, errors="ignore")})


def gaps(site: Site, **more: Any) -> dict[str, Gap]:
    pool = registry.analyses()[0]
    ground = Ground(site, pool, registry.plan((), site, pool).order)
    return {one.what: one for one in gaps_of(ground, more.get("results", ()), "SITE")}


def state(report: Report, name: str) -> str:
    return next(one.state for one in report.analyses if one.name == name)


@pytest.mark.parametrize(("name", "layer", "column", "words"), USES)
def test_what_is_taken_away_is_named_with_what_is_taken_instead(
    name: str, layer: str, column: str, words: str, sample_site: Site
) -> None:
    bare = without(sample_site, layer, column)
    # without its layer a column is told as the layer
    what = layer if column == "*" or layer not in bare else f"{layer}.{column}"
    found = gaps(bare)[what]
    told = {one.analysis: one.words for one in found.instead}
    if layer in bare or column == "*":
        assert told[name] == words
    assert found.measure
    assert layer in found.command


@pytest.mark.parametrize(("name", "layer", "column", "words"), [one for one in USES if one[3]])
def test_the_run_says_the_same_as_the_report_and_the_report_then_says_it_in_its_words(
    name: str, layer: str, column: str, words: str, sample_run: Site
) -> None:
    bare = without(sample_run, layer, column)
    analysis = registry.load(name)
    done = pipeline.run_one(bare, analysis, analysis.settings())
    what = layer if column == "*" else f"{layer}.{column}"
    lines = [one for one in map(read, done.log[-1].assumed) if one.what == what]
    assert lines, f"the run says nothing of {what}"
    if what not in SAID_WITH_FIGURES:
        assert words in {one.words for one in lines}
    gap = gaps(done, results=[ResultState(name, True, "holds", done.log[-1].assumed)])[what]
    own = " ".join(one.words for one in gap.instead if one.analysis == name and one.from_result)
    assert all(one.words in own for one in lines)


def test_every_analysis_appears_on_every_kind_of_site(sample_site: Site) -> None:
    plots = Site(SiteInfo("Plots", CRS)).with_layers(
        {"plots": gpd.GeoDataFrame({"plot_id": ["p"]}, geometry=[shapely.box(0, 0, 2, 1)], crs=CRS)}
    )
    for site in (Site(SiteInfo("Nothing yet", "")), plots, poor(), sample_site):
        report = report_of(site)
        assert [one.name for one in report.analyses] == list(registry.names())
        order = registry.plan((), site).order
        assert [one.name for one in report.analyses if one.can_run] == [
            name for name in registry.names() if name in order
        ]
        for one in report.analyses:
            assert one.can_run == (not one.lacks)
            assert one.state.startswith("can" if one.can_run else "cannot run: it needs ")
            assert all(one.name in report.gaps[number - 1].analyses for number in one.gaps)


def test_an_empty_site_asks_for_stones_heads_and_crews_and_for_nothing_that_others_work_out() -> None:
    report = report_of(Site(SiteInfo("Nothing yet", "")), folder="my ground")
    stopping = {one.what: one for one in report.gaps if one.blocks}
    assert set(stopping) == {"stones", "heads", "crews"}
    assert stopping["heads"].blocks == ("throw",)
    assert set(stopping["stones"].blocks) == {
        "wetting",
        "condition",
        "hotspots",
        "clusters",
        "heatmap",
        "evidence",
        "change",
        "worklist",
        "routes",
        "zone_requests",
        "season_plan",
    }
    assert stopping["stones"].command == "gravegis add 'my ground' stones FILE"
    assert report.gaps[0].what == "stones"
    assert "from analysis condition, which cannot run either" in state(report, "worklist")
    assert report.measurements == ()


def test_two_poor_lists_are_told_what_stands_on_guesses_most_answers_first() -> None:
    report = report_of(poor())
    assert state(report, "routes") == "cannot run: it needs crews"
    told = [one for one in report.gaps if not one.is_silent]
    assert [one.answers_n for one in told] == sorted((one.answers_n for one in told), reverse=True)
    by_what = {one.what: one for one in report.gaps}
    turn = by_what["heads.arc_sweep_deg"]
    assert (turn.rows_n, turn.of_n) == (2, 2)
    # by hand: h0 at 0 reaches s0, s1 (3 m, one metre off the row), h1 at 10 m s4, s5
    assert turn.stones_n == 4
    assert set(turn.results) == {"throw", "wetting", "coverage", "clusters", "evidence", "worklist", "season_plan"}
    assert turn.answers_n == 4 * 7
    assert turn.instead[0].words == "arc unknown: a full circle"
    assert turn.command.endswith('heads FILE --column arc_sweep_deg="THEIRS deg"')
    assert by_what["crews"].blocks == ("routes", "zone_requests")
    assert by_what["schedules"].rows_n is None


def test_a_layer_without_rows_is_not_taken_for_an_answer() -> None:
    site = poor()
    empty = site.with_layers({"stones": site["stones"].iloc[:0]})
    report = report_of(empty)
    assert state(report, "wetting") == "can run, but gives nothing: no rows in stones"
    assert "stones" in {one.what for one in report.gaps}


def test_rows_that_hold_something_are_no_gap(sample_site: Site) -> None:
    full = sample_site["heads"].assign(arc_sweep_deg=360.0)
    assert "heads.arc_sweep_deg" not in gaps(sample_site.with_layers({"heads": full}))
    some = full.assign(arc_sweep_deg=[np.nan, *[360.0] * (len(full) - 1)])
    assert gaps(sample_site.with_layers({"heads": some}))["heads.arc_sweep_deg"].rows_n == 1


def test_results_that_hold_are_taken_at_their_word_and_others_are_not(sample_run: Site) -> None:
    report = report_of(sample_run)
    assert {one.analysis: one.holds for one in report.results} == dict.fromkeys(registry.names(), True)
    throw = next(one for one in report.results if one.analysis == "throw")
    assert any("arc unknown" in line for line in throw.assumed)
    changed = sample_run.with_layers({"heads": sample_run["heads"].iloc[1:]})
    late = {one.analysis: one for one in report_of(changed).results}
    assert not late["throw"].holds
    assert late["throw"].state.startswith("out of date: ")
    assert not any(one.from_result for gap in report_of(changed).gaps for one in gap.instead if one.analysis == "throw")


@dataclass(frozen=True)
class Nothing:
    pass


def nothing(site: Site, settings: Nothing, job: Job) -> Result:
    """Do nothing."""
    del site, settings, job
    return Result()


PLUGIN = Analysis(
    name="shadows", title="Shadows", question="Where is shade?", needs={"shade": ("shade_id",)},
    uses={"stones": {"facing_deg": "looks east"}}, gives={}, settings=Nothing, run=nothing, version=1,
    sources=("test",),
)  # fmt: skip


def test_a_plugin_appears_by_itself_and_a_broken_one_with_its_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    good, _ = registry.analyses()
    monkeypatch.setattr(registry, "analyses", lambda: ({**good, "shadows": PLUGIN}, (Skipped("lost", "no module"),)))
    report = report_of(poor())
    assert state(report, "shadows") == "cannot run: it needs shade"
    assert state(report, "lost") == "left out: no module"
    facing = next(one for one in report.gaps if one.what == "stones.facing_deg")
    assert ("shadows", "looks east") in [(one.analysis, one.words) for one in facing.instead]
    assert "shadows" not in facing.results  # it cannot run


def test_what_builds_on_what_is_followed_to_its_end() -> None:
    pool = registry.analyses()[0]
    assert set(built_on(pool)["throw"]) == {
        "wetting", "coverage", "clusters", "evidence", "worklist", "routes", "zone_requests", "season_plan"
    }  # fmt: skip
    assert built_on(pool, by_needs=True)["throw"] == ()
    assert set(built_on(pool, by_needs=True)["condition"]) == {
        "clusters",
        "heatmap",
        "worklist",
        "routes",
        "zone_requests",
        "season_plan",
    }


def test_every_measure_names_a_column_of_the_schema_and_what_analyses_read_has_one() -> None:
    known = measures()
    for layer, column in known:
        assert not column or column == "geometry" or column in schema.layer(layer).columns
    worded = {(layer, column.strip("*")) for _, layer, column, words in USES if words}
    assert worded - set(known) == set()


@pytest.mark.parametrize(
    ("line", "parts"),
    [
        ("heads.throw_m (3 rows): x: y", ("heads", "throw_m", 3, "x: y")),
        ("heads.throw_m (1 row): x", ("heads", "throw_m", 1, "x")),
        ("paths: straight", ("paths", "", None, "straight")),
        ("Anything else (really): x", ("", "", None, "Anything else (really): x")),
    ],
)
def test_an_assumed_line_is_taken_apart(line: str, parts: Sequence[Any]) -> None:
    assert read(line) == AssumedLine(*parts)


def test_the_report_changes_nothing_and_is_the_same_twice(sample_site: Site) -> None:
    assert report_of(sample_site) == report_of(replace(sample_site))


@pytest.mark.full
def test_a_hundred_thousand_stones_take_seconds() -> None:
    rng = np.random.default_rng(3)
    xy = np.array([372000, 6250000]) + rng.uniform(0, 1_000, (100_000, 2))
    stones = gpd.GeoDataFrame({"stone_id": [f"s{k}" for k in range(len(xy))]}, geometry=shapely.points(xy), crs=CRS)
    at = np.array([372000, 6250000]) + rng.uniform(0, 1_000, (3_000, 2))
    heads = gpd.GeoDataFrame(
        {"head_id": [f"h{k}" for k in range(len(at))], "throw_m": 11.0}, geometry=shapely.points(at), crs=CRS
    )
    site = Site(SiteInfo("big", CRS)).with_layers({"stones": stones, "heads": heads})
    begun = time.perf_counter()
    assert report_of(site).gaps
    assert time.perf_counter() - begun < 10.0
