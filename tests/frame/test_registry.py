from __future__ import annotations

from dataclasses import dataclass, replace
from importlib.metadata import EntryPoint, EntryPoints
from typing import Any

import geopandas as gpd
import pytest
import shapely

from gravegis import registry
from gravegis.contract import Analysis, Job, Result
from gravegis.errors import PlanError, PluginError
from gravegis.site import Site, SiteInfo


@dataclass(frozen=True)
class Nothing:
    pass


def run(site: Site, settings: Nothing, job: Job) -> Result:
    """Do nothing."""
    del site, settings, job
    return Result()


def made(name: str, needs: dict[str, tuple[str, ...]], gives: dict[str, dict[str, str]], **more: Any) -> Analysis[Any]:
    return Analysis(
        name=name, title=name, question="?", needs=needs, uses=more.get("uses", {}), gives=gives, settings=Nothing,
        run=run, version=1, sources=("test",),
    )  # fmt: skip


STONES = gpd.GeoDataFrame({"stone_id": ["1"]}, geometry=[shapely.Point(0, 0)], crs="EPSG:7854")
SITE = Site(SiteInfo("t", "EPSG:7854")).with_layers({"stones": STONES})
FIRST = made("first", {"stones": ("stone_id",)}, {"stone_wetting": {"stone_id": "s"}})
SECOND = made("second", {"stone_wetting": ("stone_id",)}, {"worklist": {"stone_id": "s"}})
THIRD = made("third", {"heads": ("head_id",)}, {"head_stones": {"head_id": "h"}})
KNOWN = {one.name: one for one in (THIRD, SECOND, FIRST)}


def test_what_an_analysis_builds_on_runs_before_it() -> None:
    assert registry.plan(["second"], SITE, KNOWN).order == ("first", "second")


def test_all_that_can_run_runs_and_the_rest_is_left_out_with_the_reason() -> None:
    plan = registry.plan([], SITE, KNOWN)
    assert plan.order == ("first", "second")
    assert [(skip.name, skip.reason) for skip in plan.skipped] == [("third", "it needs heads")]


def test_used_results_come_first_but_are_not_needed() -> None:
    user = replace(SECOND, needs={"stones": ("stone_id",)}, uses={"head_stones": {"rank": ""}})
    assert registry.plan(["second"], SITE, {**KNOWN, "second": user}).order == ("second",)


def test_asking_for_what_cannot_run_is_an_error_with_the_layer() -> None:
    with pytest.raises(PlanError, match="third cannot run: it needs heads"):
        registry.plan(["third"], SITE, KNOWN)


def test_a_circle_is_an_error_that_names_it() -> None:
    loop = replace(FIRST, needs={"worklist": ("stone_id",)})
    with pytest.raises(PlanError, match="circle"):
        registry.plan(["second"], SITE, {**KNOWN, "first": loop})


def test_unknown_names_are_refused_with_those_there_are() -> None:
    with pytest.raises(PluginError, match=r"no analysis called 'wettting'(.|\n)*throw"):
        registry.load("wettting")


def test_a_broken_plugin_is_left_out_with_the_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    points = EntryPoints([EntryPoint("shade", "no_such_module_xyz:ANALYSIS", registry.GROUP)])
    monkeypatch.setattr(registry, "entry_points", lambda group: points)
    good, bad = registry.analyses()
    assert "throw" in good
    assert [skip.name for skip in bad] == ["shade"]
    assert "no_such_module_xyz" in bad[0].reason
    with pytest.raises(PluginError, match="shade"):
        registry.load("shade")
