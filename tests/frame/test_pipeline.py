from __future__ import annotations

from typing import TYPE_CHECKING

from gravegis import pipeline
from gravegis.layers import canonical

if TYPE_CHECKING:
    import pandas as pd
    import pytest

    from gravegis.site import Site


def dropped(site: Site) -> dict[str, str]:
    return {one.name: one.reason for one in pipeline.fresh(site)[1]}


def test_results_stand_as_long_as_nothing_they_read_changes(sample_run: Site) -> None:
    site, gone = pipeline.fresh(sample_run)
    assert gone == ()
    assert list(site) == list(sample_run)


def test_a_column_nobody_reads_drops_nothing(sample_run: Site) -> None:
    heads = sample_run["heads"].assign(nozzle_mark="12")
    assert dropped(sample_run.with_layers({"heads": heads})) == {}


def test_what_reads_a_changed_column_goes_and_what_was_worked_out_from_it(sample_run: Site) -> None:
    heads = sample_run["heads"]
    heads["throw_m"] = heads["throw_m"] + 1.0
    gone = dropped(sample_run.with_layers({"heads": heads}))
    assert gone["throw"] == "heads changed since"
    assert {"throw", "wetting", "worklist", "routes"} <= set(gone)
    assert not {"condition", "hotspots", "heatmap"} & set(gone)


def test_a_layer_taken_out_drops_what_read_it(sample_run: Site) -> None:
    site, gone = pipeline.fresh(sample_run.without(("findings",)))
    assert {one.name for one in gone} >= {"condition", "clusters", "heatmap", "worklist", "routes"}
    assert site.grids == {}
    assert "stone_condition" not in site
    assert "stone_wetting" in site


def test_a_result_of_an_analysis_that_is_not_installed_is_dropped(
    sample_run: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    from gravegis import registry

    monkeypatch.setattr(registry, "BUILT_IN", tuple(name for name in registry.BUILT_IN if name != "routes"))
    assert dropped(sample_run) == {"routes": "its analysis is not installed here"}


def test_running_one_analysis_drops_older_results_that_no_longer_follow(sample_run: Site) -> None:
    outcome = pipeline.run(sample_run, ["wetting"], typed={"wetting": {"near_m": "1"}})
    assert outcome.dropped == ()
    heads = sample_run["heads"].iloc[:5]
    outcome = pipeline.run(sample_run.with_layers({"heads": heads}), ["wetting"])
    assert outcome.ran == ("throw", "wetting")
    # blocks of work count the minutes of the worklist
    assert {one.name for one in outcome.dropped} == {"worklist", "routes", "clusters", "evidence"}
    assert "stops" not in outcome.site


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

    def renamed(frame: pd.DataFrame) -> pd.DataFrame:
        named = {column: frame[column].map(ids[column]) for column in ids if column in frame}
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
