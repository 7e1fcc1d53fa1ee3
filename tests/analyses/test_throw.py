"""The ground each head wets: figures, outlines and words, on the sample site and on made heads."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd
import pyproj
import pytest
import shapely

from gravegis.analyses import throw
from gravegis.errors import PluginError, SettingError
from gravegis.layers import canonical, schema
from gravegis.science.irrigation.kinds import head_kinds
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from gravegis.contract import Result

FILES = Path(__file__).resolve().parents[2] / "sample_layers" / "emberfield_rise"
CRS = "EPSG:7854"
E0, N0 = 372000.0, 6250000.0


@pytest.fixture(scope="module")
def sample() -> Site:
    table = pd.read_csv(FILES / "heads.csv", dtype=str, keep_default_na=False)
    places = gpd.points_from_xy(table["easting"].astype(float), table["northing"].astype(float))
    heads = gpd.GeoDataFrame(table.drop(columns=["easting", "northing"]), geometry=places, crs=CRS)
    outlines = gpd.read_file(FILES / "throws.geojson").set_crs("EPSG:7844", allow_override=True).to_crs(CRS)
    return Site(SiteInfo("sample", CRS)).with_layers({"heads": heads, "throws": outlines})


def work(site: Site, **chosen: Any) -> Result:
    return throw.ANALYSIS.work(site, throw.ThrowSettings(**chosen))


def ground(result: Result) -> Any:
    return canonical.conform(result.layers["throws_computed"], "throws_computed").set_index("head_id")


def heads_of(*rows: dict[str, Any], **layers: Any) -> Site:
    places = [shapely.Point(E0 + 20 * i, N0) for i in range(len(rows))]
    frame = gpd.GeoDataFrame([{"head_id": f"H{i + 1}", **row} for i, row in enumerate(rows)], geometry=places, crs=CRS)
    return Site(SiteInfo("made", CRS)).with_layers({"heads": frame, **layers})


def test_sample_site_heads_have_the_pattern_of_their_row(sample: Site) -> None:
    made, rows = ground(work(sample)), sample["heads"].set_index("head_id")
    assert made.loc["H14", "pattern"] == "surveyed outline"
    for head_id, row in rows.drop("H14").iterrows():
        is_full = pd.isna(row["arc_sweep_deg"]) or row["arc_sweep_deg"] == 360
        expected = row["kind"] if str(row["kind"]).startswith("strip") else "full circle" if is_full else "part circle"
        assert made.loc[head_id, "pattern"] == expected
    assert made["geometry"].notna().all()
    assert made.index.tolist() == rows.index.tolist()


def test_sample_site_areas_are_those_of_circle_sector_and_rectangle(sample: Site) -> None:
    made, rows = ground(work(sample, segments_n=4096)), sample["heads"].set_index("head_id")
    for head_id, row in made.drop("H14").iterrows():
        if str(row["pattern"]).startswith("strip"):
            expected = rows.loc[head_id, "strip_length_m"] * rows.loc[head_id, "strip_width_m"]
        else:
            expected = math.pi * row["throw_m"] ** 2 * row["arc_sweep_deg"] / 360
        # an arc in 4096 pieces lacks less than a millionth of its area
        assert row["geometry"].area == pytest.approx(expected, rel=2e-6)


def test_surveyed_outline_wins_and_is_given_as_it_was_drawn(sample: Site) -> None:
    made = ground(work(sample))
    assert made.loc["H14", "basis"] == "surveyed outline"
    assert made.loc["H14", "geometry"].equals(sample["throws"].geometry.iloc[0])
    without = ground(work(sample.without(("throws",))))
    assert without.loc["H14", "pattern"] == "full circle"
    assert without.loc["H14", "basis"] == "measured"


def test_two_outlines_of_one_head_are_joined_and_one_of_nobody_is_left_alone() -> None:
    boxes = [shapely.box(E0 + i, N0, E0 + i + 1, N0 + 1) for i in (0, 1, 7)]
    outlines = gpd.GeoDataFrame({"throw_id": list("abc"), "head_id": ["H1", "H1", None]}, geometry=boxes, crs=CRS)
    made = ground(work(heads_of({"throw_m": 9.0}, throws=outlines)))
    assert made.loc["H1", "geometry"].area == pytest.approx(2.0)


def test_sample_site_names_faulty_heads_and_what_was_assumed(sample: Site) -> None:
    result = work(sample)
    made = ground(result)
    assert made["mend_first"].dropna().to_dict() == {"H06": "tilted", "H36": "misting"}
    mend = next(note for note in result.notes if note.startswith("Mend first"))
    assert "H06 (tilted)" in mend
    assert "H36 (misting)" in mend
    said = {one.what: one.rows_n for one in result.assumed}
    assert said["heads.throw_m"] == 2  # H03 and H88
    assert said["heads.arc_sweep_deg"] == 1  # H05
    assert not any("safe" in note.lower() for note in result.notes)


def test_throw_by_kind_is_the_middle_of_its_range_with_both_ends_beside_it(sample: Site) -> None:
    made = ground(work(sample))
    for head_id, kind in (("H03", "rotor"), ("H88", "rotary nozzle")):
        known = head_kinds()[kind]
        row = made.loc[head_id]
        assert row["throw_m"] == (known.throw_low_m + known.throw_high_m) / 2
        assert (row["throw_low_m"], row["throw_high_m"]) == (known.throw_low_m, known.throw_high_m)
        assert row["basis"] == "by kind"
    assert (made.loc["H01", ["throw_low_m", "throw_high_m"]] == 12.0).all()


def test_positions_and_one_radius_are_enough() -> None:
    made = ground(work(heads_of({"throw_m": 5.0}, {"throw_m": 8.0})))
    assert made["pattern"].tolist() == ["full circle", "full circle"]
    assert made["throw_m"].tolist() == [5.0, 8.0]
    assert made["basis"].tolist() == ["stated", "stated"]
    assert made["zone_id"].isna().all()


def test_a_kind_is_enough() -> None:
    made = ground(work(heads_of({"kind": "spray"}, {"kind": "impact"}, {"kind": "strip side"})))
    assert made["pattern"].tolist() == ["full circle", "full circle", "strip side"]
    assert made.loc["H3", ["strip_length_m", "strip_width_m"]].notna().all()


def test_head_without_throw_and_kind_is_not_drawn_and_is_named() -> None:
    result = work(heads_of({"throw_m": 5.0}, {"throw_m": None}, {"throw_m": None, "kind": "something odd"}))
    made = ground(result)
    assert made.loc[["H2", "H3"], ["pattern", "throw_m", "basis", "geometry"]].isna().all(axis=None)
    assert any("No throw and no kind is known of H2, H3" in note for note in result.notes)


def test_bearings_are_true_and_the_grid_is_turned_for_them() -> None:
    # a narrow sector to true north must hold the point that lies due north on the ellipsoid
    site = heads_of({"throw_m": 12.0, "arc_from_deg": 359.5, "arc_sweep_deg": 1.0})
    outline = ground(work(site)).loc["H1", "geometry"]
    there = pyproj.Transformer.from_crs(CRS, "EPSG:7844", always_xy=True)
    lon, lat = there.transform(E0, N0)
    east, north = there.transform(lon, lat + 0.0001, direction="INVERSE")  # about 11 m
    assert outline.contains(shapely.Point(east, north))
    # grid north lies 0.8 degrees off here, and so outside
    assert not outline.contains(shapely.Point(E0, N0 + 11.0))


@pytest.mark.parametrize(
    ("kind", "inside", "outside"),
    [
        ("strip end", (4.0, 0.5), (-1.0, 0.0)),
        ("strip side", (1.0, 3.0), (-0.5, 0.0)),
        ("strip centre", (-2.5, 0.5), (4.0, 0.0)),
    ],
)
def test_strips_lie_as_their_side_says(kind: str, inside: Any, outside: Any) -> None:
    # along and across the bearing, here east; the sample README tells how each lies
    row = {"kind": kind, "arc_from_deg": 90.0, "strip_length_m": 7.0, "strip_width_m": 1.5}
    outline = ground(work(heads_of(row))).loc["H1", "geometry"]
    assert outline.contains(shapely.Point(E0 + inside[0], N0 - inside[1]))
    assert not outline.contains(shapely.Point(E0 + outside[0], N0 - outside[1]))


@pytest.mark.parametrize("segments_n", [16, 256])
def test_drawn_edge_lies_within_the_sagitta_of_the_arc(segments_n: int) -> None:
    outline = ground(work(heads_of({"throw_m": 15.0}), segments_n=segments_n)).loc["H1", "geometry"]
    gap_m = 15.0 - outline.exterior.distance(shapely.Point(E0, N0))
    assert gap_m == pytest.approx(15.0 * (1 - math.cos(math.pi / segments_n)), rel=1e-6)  # closed form


def test_throw_given_without_its_basis_counts_as_stated_and_it_is_said() -> None:
    result = work(heads_of({"throw_m": 5.0, "throw_basis": "measured"}, {"throw_m": 5.0}))
    assert ground(result)["basis"].tolist() == ["measured", "stated"]
    said = {one.what: one.rows_n for one in result.assumed}
    assert said["heads.throw_basis"] == 1


def test_no_heads_give_an_empty_layer_with_all_columns() -> None:
    site = Site(SiteInfo("made", CRS)).with_layers({"heads": canonical.empty("heads", CRS)})
    made = work(site).layers["throws_computed"]
    assert len(made) == 0
    assert set(schema.layer("throws_computed").columns) <= set(made.columns)
    assert made.crs == CRS


def test_site_without_heads_is_refused_with_the_remedy() -> None:
    with pytest.raises(PluginError, match="throw cannot run without heads"):
        work(Site(SiteInfo("made", CRS)))


def test_too_few_pieces_are_refused() -> None:
    with pytest.raises(SettingError, match=r"throw\.segments_n.*outside 16 to 4096"):
        throw.ANALYSIS.read({"segments_n": "8"})


def test_the_site_stays_as_it_was(sample: Site) -> None:
    before = {name: canonical.content_hash(sample[name]) for name in sample}
    work(sample)
    assert {name: canonical.content_hash(sample[name]) for name in sample} == before
