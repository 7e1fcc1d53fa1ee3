from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from gravegis.layers import canonical, schema
from gravegis.layers.check import SEVERITIES, check_site
from gravegis.layers.links import LINKS
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from collections.abc import Sequence

CRS = "EPSG:7854"


def placed(shapes: Sequence[Any], **columns: Any) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(pd.DataFrame(columns), geometry=list(shapes), crs=CRS)


def table(**columns: Any) -> pd.DataFrame:
    return pd.DataFrame(columns)


def site(**layers: pd.DataFrame) -> Site:
    return Site(SiteInfo("Test ground", CRS, time_zone="Australia/Adelaide")).with_layers(layers)


def row_of(n: int, step_m: float = 10.0, x_m: float = 372000.0) -> list[shapely.Point]:
    return [shapely.Point(x_m + step_m * i, 6250000) for i in range(n)]


def good(**more: pd.DataFrame) -> Site:
    stones = placed(row_of(4), stone_id=list("abcd"), stability="firm")
    heads = placed(row_of(5, 10), head_id=list("12345"), throw_m=10.0, kind="rotor", zone_id="Z")
    layers = {
        "stones": stones,
        "heads": heads,
        "zones": table(zone_id=["Z"]),
        "schedules": table(schedule_id=["R"], zone_id=["Z"], start_at=["03:00"], run_min=[10], every=["daily"]),
    }
    return site(**{**layers, **more})


def found(one: Site, severity: str | None = None) -> str:
    return "\n".join(f"{f.severity}: {f.problem}" for f in check_site(one) if severity in (None, f.severity))


def test_a_good_site_raises_nothing() -> None:
    assert check_site(good()) == []


def test_the_sample_site_has_no_error_and_no_warning(sample_site: Site) -> None:
    assert found(sample_site, "error") == ""
    assert found(sample_site, "warning") == ""


def test_errors_come_first() -> None:
    one = good(heads=placed(row_of(5, 10, 400000.0), head_id=list("12345"), throw_m=10.0), crews=table(crew_id=["C"]))
    order = [SEVERITIES.index(f.severity) for f in check_site(one)]
    assert order == sorted(order)
    assert order[0] == 0


def test_stones_and_heads_far_apart_are_an_error_not_a_dry_site() -> None:
    one = good(heads=placed(row_of(5, 10, 372500.0), head_id=list("12345"), throw_m=10.0, kind="rotor", zone_id="Z"))
    assert "error: heads: stones and heads lie 470 m apart: an overlay would be empty, not dry" in found(one)


def test_another_layer_far_away_is_a_warning() -> None:
    one = good(taps=placed([shapely.Point(375000, 6250000)], tap_id=["t"]))
    assert "warning: taps: taps and stones lie 2,970 m apart" in found(one)


def test_findings_of_stones_that_do_not_exist_are_named() -> None:
    some = table(finding_id=["1", "2"], stone_id=["a", "A"], pattern="lichen")
    assert "warning: findings.stone_id: 1 of 2 rows of findings name a stone_id that is not in stones: A" in found(
        good(findings=some)
    )
    none = table(finding_id=["1"], stone_id=["A"], pattern="lichen")
    assert "error: findings.stone_id" in found(good(findings=none))


@pytest.mark.parametrize(("layer", "column", "target"), LINKS)
def test_every_link_names_columns_of_the_schema(layer: str, column: str, target: str) -> None:
    assert column in schema.layer(layer).columns
    assert schema.layer(target).key == (f"{target.removesuffix('s')}_id",)


def test_hours_zones_crews_and_throws_that_lack_something_are_named() -> None:
    heads = placed(
        row_of(5),
        head_id=list("12345"),
        throw_m=[10.0, None, 10, 10, 10],
        kind=["rotor", None, *["rotor"] * 3],
        zone_id=["Z", None, "Z", "Z", "Z"],
    )
    one = good(heads=heads, zones=table(zone_id=["Y", "Z"]), crews=table(crew_id=["C1"]))
    words = found(one)
    assert "warning: schedules: 1 zone without hours: Y" in words
    assert "warning: heads.zone_id: 1 head without a zone: 2" in words
    assert "warning: crews.base_id: 1 crew without a base: C1" in words
    assert "warning: heads.throw_m: 1 head with neither throw nor kind: 2" in words
    assert "hint: zones: 1 zone without heads: Y" in words


def test_stones_at_one_place_and_overlapping_stones_are_named() -> None:
    same = placed([*row_of(2), shapely.Point(372000.001, 6250000)], stone_id=list("abc"), stability="firm")
    assert "1 pair of stones at the same place: a and c" in found(good(stones=same))
    boxes = [shapely.box(0, 0, 1, 1), shapely.box(0.5, 0, 1.5, 1), shapely.box(1.5, 0, 2, 1)]
    over = placed(
        [shapely.transform(b, lambda xy: np.add(xy, [372000, 6250000])) for b in boxes],
        stone_id=list("abc"),
        stability="firm",
    )
    words = found(good(stones=over))
    assert "1 pair of stones overlap: a and b (0.50 m2)" in words
    assert "b and c" not in words


def test_throws_typed_in_feet_are_suspected() -> None:
    heads = placed(row_of(5), head_id=list("12345"), throw_m=33.0, kind="rotor", zone_id="Z")
    words = found(good(heads=heads))
    assert "throws are 3.3 times the distance to the next head: typed in feet?" in words
    assert "5 throws unusual for the kind of head: 1 (rotor, 33 m; usual 4.6 to 18 m)" in words


def test_unchecked_stability_and_unknown_words_are_hints() -> None:
    stones = placed(
        row_of(3), stone_id=list("abc"), stability=["firm", None, "moves"], finish=["polished", "shiny", None]
    )
    words = found(good(stones=stones))
    assert "hint: stones.stability: stability of 1 of 3 stones" in words
    assert "1 stone noted as moving" in words
    assert "hint: stones.finish: 1 value not in the vocabulary: 'shiny' (1)" in words


def test_an_outline_that_crosses_itself_is_named() -> None:
    bow = shapely.transform(
        shapely.from_wkt("POLYGON ((0 0, 2 2, 2 0, 0 2, 0 0))"), lambda xy: np.add(xy, [372000, 6250000])
    )
    words = found(good(stones=placed([bow, shapely.box(372000, 6250000, 372001, 6250001)], stone_id=["a", "b"])))
    assert "error: stones: 1 outline not valid: a" in words


def test_an_empty_site_and_empty_layers_are_checked_without_an_error() -> None:
    assert "the site has no layers" in found(Site(SiteInfo("x", "")))
    empty = site(**{name: canonical.empty(name, CRS) for name in schema.layers()})
    assert found(empty, "error") == ""


def test_a_schedule_that_cannot_be_read_and_a_shift_past_midnight_are_said() -> None:
    layers = {
        "schedules": pd.DataFrame(
            {"schedule_id": ["a"], "zone_id": ["Z"], "start_at": ["03:00"], "run_min": [10], "every": ["bananas"]}
        ),
        "crews": pd.DataFrame({"crew_id": ["N"], "base_id": ["b"], "shift_from": ["22:00"], "shift_to": ["02:00"]}),
    }
    said = [str(one.problem) for one in check_site(Site(SiteInfo("t", "EPSG:7854")).with_layers(layers))]
    assert any("bananas" in words for words in said)
    assert any("past midnight" in words and "N" in words for words in said)


def test_overlapping_plots_are_named_and_a_line_in_common_is_not() -> None:
    boxes = [shapely.box(372000 + x, 6250000, 372002 + x, 6250003) for x in (0.0, 1.5, 3.4999, 10.0)]
    words = found(good(plots=placed(boxes, plot_id=["A", "B", "C", "D"])), "warning")
    assert "1 pair of plots overlap: A and B (1.50 m2)" in words
    assert "B and C" not in words


def facing(photos: pd.DataFrame, **stones: Any) -> list[str]:
    frame = placed(row_of(4), stone_id=list("abcd"), stability="firm", **stones)
    return [
        str(one.problem) for one in check_site(good(stones=frame, photos=photos)) if "inscription" in str(one.problem)
    ]


def pictures(*rows: tuple[str, str, str | None, float | None, str]) -> gpd.GeoDataFrame:
    names = ("photo_id", "stone_id", "face", "bearing_deg", "bearing_north")
    return placed([None] * len(rows), **dict(zip(names, map(list, zip(*rows, strict=True)), strict=True)))


def test_a_photo_of_the_inscription_proposes_the_facing_with_its_command() -> None:
    found_ = facing(pictures(("p1", "a", "front", 90.0, "true"), ("p2", "b", "Inscription", 350.0, "true")))
    assert len(found_) == 2
    assert "photo p1 of its inscription proposes that stone a faces 270 degrees" in found_[0]
    assert "gravegis edit SITE stones a facing_deg=270" in found_[0]
    assert "stone b faces 170 degrees" in found_[1]


def test_other_photos_propose_nothing() -> None:
    rows: list[Any] = [
        ("p1", "a", "back", 90.0, "true"),
        ("p2", "b", "front", 90.0, "magnetic"),
        ("p3", "c", "front", None, "true"),
        ("p4", "d", None, 90.0, "true"),
        ("p5", "nobody", "front", 90.0, "true"),
    ]
    assert facing(pictures(*rows)) == []
    assert facing(pictures(("p1", "a", "front", 90.0, "true")), facing_deg=[10.0, 0.0, 0.0, 0.0]) == []


def test_photos_of_one_inscription_are_averaged_over_north_and_those_that_disagree_are_told() -> None:
    near = facing(pictures(("p1", "a", "front", 175.0, "true"), ("p2", "a", "front", 185.0, "true")))
    assert "proposes that stone a faces 0 degrees" in near[0] or "faces 360 degrees" in near[0]
    far = facing(pictures(("p1", "a", "front", 90.0, "true"), ("p2", "a", "front", 270.0, "true")))
    assert len(far) == 1
    assert "photos of the inscription of a disagree by more than 45 degrees" in far[0]


def test_sizes_by_form_are_proposed_as_assumed_until_somebody_measures() -> None:
    frame = placed(row_of(4), stone_id=list("abcd"), stability="firm", form=["obelisk", "pillar", None, "heap"],
                   height_m=[2.0, np.nan, np.nan, np.nan])  # fmt: skip
    words = found(good(stones=frame), "hint")
    assert "2 stones of form obelisk without height, width or thickness (a, b): 2.5 x 0.6 x 0.6 m is proposed" in words
    assert "common practice, no source" in words
