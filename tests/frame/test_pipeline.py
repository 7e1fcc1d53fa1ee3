from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

import pandas as pd
import pytest

from gravegis import pipeline, registry, staleness
from gravegis.contract import Job
from gravegis.layers import canonical

if TYPE_CHECKING:
    import numpy as np

    from gravegis.site import Site, SiteInfo


def late(site: Site) -> dict[str, tuple[str, ...]]:
    return {one.analysis: one.reasons for one in staleness.stale(site)}


def farther(site: Site) -> Site:
    """The site with throws a metre longer."""
    heads = site["heads"]
    return site.with_layers({"heads": heads.assign(throw_m=heads["throw_m"] + 1.0)})


def test_results_hold_as_long_as_nothing_they_read_changes(sample_run: Site) -> None:
    assert late(sample_run) == {}


def test_a_column_nobody_reads_a_photo_or_other_order_of_rows_puts_nothing_out_of_date(sample_run: Site) -> None:
    heads = sample_run["heads"].assign(nozzle_mark="12").iloc[::-1]
    photos = pd.DataFrame({"photo_id": ["p1"], "stone_id": [sample_run["stones"]["stone_id"].iloc[0]]})
    assert late(sample_run.with_layers({"heads": heads, "photos": photos})) == {}


def test_what_reads_a_changed_column_is_out_of_date_and_so_is_what_was_built_on_it(sample_run: Site) -> None:
    found = late(farther(sample_run))
    assert found["throw"] == ("heads: throw changed since",)
    assert found["wetting"] == ("built on Ground each head wets, which is out of date",)
    assert {"throw", "wetting", "coverage", "worklist", "routes", "clusters", "evidence", "zone_requests",
            "season_plan"} == set(found)  # fmt: skip


def test_a_stale_result_is_kept_with_its_layers_and_grids(sample_run: Site) -> None:
    site = sample_run.without(("findings",))
    found = late(site)
    assert found["condition"] == ("findings: gone since",)
    assert set(found) == {"condition", "hotspots", "clusters", "heatmap", "evidence", "change", "worklist", "routes",
                          "zone_requests", "season_plan"}  # fmt: skip
    assert "share_damaged" in site.grids
    assert "stone_condition" in site


def test_a_result_of_an_analysis_that_is_not_installed_is_kept_and_marked(
    sample_run: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(registry, "BUILT_IN", tuple(name for name in registry.BUILT_IN if name != "worklist"))
    found = late(sample_run)
    assert found["worklist"] == (staleness.NOT_INSTALLED,)
    assert found["routes"] == ("built on worklist, which is out of date",)
    done = pipeline.run(sample_run).site
    assert done["worklist"].equals(sample_run["worklist"])
    assert late(done) == found


def test_running_one_analysis_keeps_and_names_the_others_that_no_longer_hold(sample_run: Site) -> None:
    outcome = pipeline.run(farther(sample_run), ["wetting"])
    assert outcome.ran == ("throw", "wetting")
    again = "worked out again since, with another result"
    assert {one.analysis: one.reasons for one in outcome.stale} == {
        "coverage": (f"Ground each head wets: {again}",),
        "worklist": (f"Water on stones and their faces: {again}",),
        "evidence": (f"Water on stones and their faces: {again}", f"Ground each head wets: {again}"),
        # blocks of work count the minutes of the worklist
        "clusters": ("built on Worklist, which is out of date",),
        "routes": (f"Water on stones and their faces: {again}", "built on Worklist, which is out of date"),
        "zone_requests": (f"Water on stones and their faces: {again}", "built on Worklist, which is out of date",
                          "built on Day plan of the crews, which is out of date"),
        "season_plan": (f"Water on stones and their faces: {again}", "built on Worklist, which is out of date",
                        "built on Groups of stones with like harm, which is out of date"),
    }  # fmt: skip
    assert outcome.site["stops"].equals(sample_run["stops"])
    assert outcome.dropped == ()


def test_an_input_result_that_was_out_of_date_runs_again_and_that_is_told(sample_run: Site) -> None:
    outcome = pipeline.run(farther(sample_run), ["wetting"])
    assert [(one.analysis, one.reasons) for one in outcome.renewed] == [("throw", ("heads: throw changed since",))]


def test_a_run_of_all_makes_everything_hold_again(sample_run: Site) -> None:
    outcome = pipeline.run(farther(sample_run))
    assert (outcome.stale, outcome.renewed) == ((), ())


def test_a_result_that_can_no_longer_be_worked_out_goes_with_the_next_run_and_nothing_is_built_on_it(
    sample_run: Site,
) -> None:
    bare = sample_run.without(("heads",))
    assert set(late(bare)) == {"throw", "wetting", "coverage", "worklist", "routes", "clusters", "evidence",
                          "zone_requests", "season_plan"}  # fmt: skip
    outcome = pipeline.run(bare)
    assert [(one.name, one.reason) for one in outcome.dropped] == [("throw", "it needs heads")]
    assert "throws_computed" not in outcome.site
    assert outcome.stale == ()


def test_a_setting_for_one_run_holds_until_the_site_has_another_saved(sample_run: Site) -> None:
    once = pipeline.run(sample_run, ["wetting"], typed={"wetting": {"near_m": "1"}}).site
    assert "wetting" not in late(once)
    saved = once.with_settings("wetting", {"near_m": "3 m"})
    assert late(saved)["wetting"] == ("setting near_m: made with 1, saved is 3",)
    assert "wetting" not in late(once.with_settings("wetting", {"near_m": "1 m"}))


def test_a_saved_setting_that_is_forgotten_puts_its_result_out_of_date(sample_run: Site) -> None:
    made = pipeline.run(sample_run.with_settings("wetting", {"near_m": "3"}), ["wetting"]).site
    assert "wetting" not in late(made)
    assert late(made.with_settings("wetting", {}))["wetting"] == ("setting near_m: made with 3, usual is 2",)


def test_a_fact_of_the_site_counts_where_it_is_read(sample_run: Site) -> None:
    seeded = replace(sample_run, info=replace(sample_run.info, seed=0))
    reason = ("seed of everything random: 20261125 then, 0 now",)
    assert late(seeded) == {
        "routes": reason, "evidence": reason,
        "zone_requests": ("built on Day plan of the crews, which is out of date",),
    }  # fmt: skip
    moved = late(replace(sample_run, info=replace(sample_run.info, time_zone="Australia/Sydney")))
    assert moved["wetting"] == ("time zone of the site: Australia/Adelaide then, Australia/Sydney now",)
    assert set(moved) == {"wetting", "coverage", "worklist", "routes", "clusters", "evidence",
                          "zone_requests", "season_plan"}  # fmt: skip


def test_a_table_of_coefficients_counts_where_it_is_looked_up(
    sample_run: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = {**staleness.table_hashes(), "head_kinds": "other"}
    monkeypatch.setattr(staleness, "table_hashes", lambda: other)
    found = late(sample_run)
    assert found["throw"] == ("table of head kinds (head_kinds.csv): changed since",)
    assert set(found) == {"throw", "wetting", "coverage", "worklist", "routes", "clusters", "evidence",
                          "zone_requests", "season_plan"}  # fmt: skip


class _Draws(Job):
    """A job that notes whether chance was asked for: that is reading the seed."""

    asked: ClassVar[set[str]] = set()

    def rng(self, name: str) -> np.random.Generator:
        _Draws.asked.add("seed")
        return super().rng(name)


class _Asked:
    """The facts of a site, with a note of which were asked for."""

    def __init__(self, info: SiteInfo) -> None:
        self.asked: set[str] = set()
        self._info = info

    def __getattr__(self, name: str) -> Any:
        self.asked.add(name)
        return getattr(self._info, name)


TABLES_ABOUT = {"part_rules": "parts", "done_kinds": "treatments"}


def _forget_tables() -> None:
    for name, module in list(sys.modules.items()):
        if name.startswith("gravegis.science"):
            for one in list(vars(module).values()):
                if hasattr(one, "cache_clear"):
                    one.cache_clear()


@pytest.mark.parametrize("name", registry.BUILT_IN)
def test_an_analysis_looks_into_no_table_and_no_fact_it_does_not_declare(
    name: str, sample_run: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened = set[str]()

    def spy(read: Any) -> Any:
        def reading(self: Path, *args: Any, **more: Any) -> Any:
            if self.suffix == ".csv" and self.parent.parent.name == "science":
                opened.add(self.stem)
            return read(self, *args, **more)

        return reading

    analysis = registry.load(name)
    site, facts = replace(sample_run), _Asked(sample_run.info)
    object.__setattr__(site, "info", facts)
    for way in ("read_text", "read_bytes"):
        monkeypatch.setattr(Path, way, spy(getattr(Path, way)))
    _forget_tables()
    _Draws.asked.clear()
    analysis.run(site, analysis.read({}, site.settings.get(name)), _Draws(seed=1))
    if name == "change":
        opened |= set(analysis.tables or ())  # the sample ground was surveyed once: there is nothing to look up
    # a table about a layer the sample ground does not have is declared and not opened there
    about_absent = {table for table, layer in TABLES_ABOUT.items() if layer not in site}
    assert opened == set(analysis.tables or ()) - about_absent
    assert facts.asked | _Draws.asked == set(analysis.facts)


def test_shuffled_rows_change_no_result(sample_site: Site, sample_run: Site) -> None:
    mixed = {name: sample_site[name].sample(frac=1, random_state=3) for name in sample_site}
    again = pipeline.run(sample_site.with_layers(mixed)).site
    assert [record.gives for record in again.log] == [record.gives for record in sample_run.log]


def test_other_names_of_stones_and_heads_change_nothing_but_the_names(sample_site: Site, sample_run: Site) -> None:
    """Names turned round, so that their order is the opposite."""
    other = {
        f"{one}_id": dict(zip(names, reversed(names), strict=True))
        for one, names in (
            ("stone", list(sample_site["stones"]["stone_id"])),
            ("head", list(sample_site["heads"]["head_id"])),
        )
    }
    ids = {**other, "nearest_head_id": other["head_id"], "nearest_stone_id": other["stone_id"]}
    ids["post_by"] = other["stone_id"]

    def renamed(frame: pd.DataFrame) -> pd.DataFrame:
        named = {column: frame[column].map(ids[column]) for column in ids if column in frame}
        if "place_id" in frame:  # a stone, or a tap or base, which keep their names
            named["place_id"] = frame["place_id"].replace(other["stone_id"])
        return frame.assign(**named)

    turned = sample_site.with_layers({name: renamed(sample_site[name]) for name in sample_site})
    done = pipeline.run(turned).site
    results = [name for record in sample_run.log for name in record.gives]
    differ = [
        name
        for name in results
        if name not in ("legs", "unplanned")  # their words and ends hold names
        and not canonical.equal(canonical.conform(renamed(done[name]), name), sample_run[name])
    ]
    assert differ == []
    assert done["legs"]["length_m"].tolist() == sample_run["legs"]["length_m"].tolist()
    back = renamed(done["unplanned"]).sort_values("stone_id")["reason"].tolist()
    assert back == sample_run["unplanned"]["reason"].tolist()
