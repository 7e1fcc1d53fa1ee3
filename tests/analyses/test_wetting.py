"""Wetting on the sample site and on small made sites, against oracles in plain Python and shapely."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gravegis.analyses import throw, wetting
from gravegis.contract import Job, Result
from gravegis.errors import Cancelled, SettingError
from gravegis.layers import canonical, schema
from gravegis.site import Site, SiteInfo

FILES = Path(__file__).resolve().parents[2] / "sample_layers" / "emberfield_rise"
CRS = "EPSG:7854"
E0, N0 = 372000.0, 6250000.0
LAYERS = ("stone_wetting", "face_wetting", "wetting_links", "head_looks", "head_stones")


def _read(name: str) -> pd.DataFrame:
    if (FILES / f"{name}.geojson").exists():
        return gpd.read_file(FILES / f"{name}.geojson").set_crs("EPSG:7844", allow_override=True).to_crs(CRS)
    table = pd.read_csv(FILES / f"{name}.csv", dtype=str, keep_default_na=False)
    if "easting" not in table:
        return table
    places = gpd.points_from_xy(table["easting"].astype(float), table["northing"].astype(float))
    return gpd.GeoDataFrame(table.drop(columns=["easting", "northing"]), geometry=places, crs=CRS)


@pytest.fixture(scope="module")
def sample() -> Site:
    facts = json.loads((FILES / "site.json").read_text(encoding="utf-8"))
    info = SiteInfo(facts["title"], facts["crs"], time_zone=facts["time_zone"], seed=facts["seed"])
    names = ("stones", "heads", "throws", "wet_areas", "zones", "schedules")
    return Site(info).with_layers({name: _read(name) for name in names})


def work(site: Site, **chosen: Any) -> Result:
    """Throw, then wetting, as a run does."""
    if "heads" in site:
        site = site.with_layers(throw.ANALYSIS.work(site).layers)
    return wetting.ANALYSIS.work(site, wetting.WettingSettings(**chosen))


def table(result: Result, layer: str = "stone_wetting") -> Any:
    return canonical.conform(result.layers[layer], layer).set_index(list(schema.layer(layer).key))


def stones_at(*xy: tuple[float, float], **columns: Any) -> gpd.GeoDataFrame:
    ids = [f"S{i + 1}" for i in range(len(xy))]
    places = [shapely.Point(E0 + x, N0 + y) for x, y in xy]
    return gpd.GeoDataFrame({"stone_id": ids, "position_error_m": 0.05, **columns}, geometry=places, crs=CRS)


def heads_at(*xy: tuple[float, float], **columns: Any) -> gpd.GeoDataFrame:
    ids = [f"H{i + 1}" for i in range(len(xy))]
    places = [shapely.Point(E0 + x, N0 + y) for x, y in xy]
    known = {"head_id": ids, "kind": "rotor", "throw_m": 10.0, "position_error_m": 0.05, **columns}
    return gpd.GeoDataFrame(known, geometry=places, crs=CRS)


def area(x: float, y: float, size: float, layer: str = "wet_areas", **columns: Any) -> gpd.GeoDataFrame:
    box = shapely.box(E0 + x, N0 + y, E0 + x + size, N0 + y + size)
    known: dict[Any, Any] = {schema.layer(layer).id_column: ["A1"], **columns}
    return gpd.GeoDataFrame(known, geometry=[box], crs=CRS)


def seen(*rows: tuple[str, ...]) -> pd.DataFrame:
    """Observations from stone, zone, head, what was seen and the day."""
    frame = pd.DataFrame(rows, columns=["stone_id", "zone_id", "head_id", "seen", "seen_on"])
    return frame.replace("", None)


def program(**columns: Any) -> pd.DataFrame:
    plain = {
        "zone_id": "Z1",
        "start_at": "05:00",
        "run_min": 60,
        "every": "daily",
        "from_on": "10-01",
        "to_on": "10-10",
    }
    frame = pd.DataFrame(
        {**plain, **columns}, index=range(max([1, *(len(v) for v in columns.values() if isinstance(v, list))]))
    )
    return frame.assign(schedule_id=[f"R{i + 1}" for i in range(len(frame))])


def site_of(time_zone: str = "Australia/Adelaide", **layers: pd.DataFrame) -> Site:
    return Site(SiteInfo("made", CRS, time_zone=time_zone)).with_layers(layers)


def reached(result: Result) -> list[Any]:
    return [None if pd.isna(flag) else bool(flag) for flag in table(result)["reached"]]


# --- the sample site against an oracle ---


def _true_north_deg(x: float, y: float) -> float:
    """Grid bearing of true north, by going one thousandth of a degree north."""
    lon, lat = pyproj.Transformer.from_crs(CRS, "EPSG:7844", always_xy=True).transform(x, y)
    east, north = pyproj.Transformer.from_crs("EPSG:7844", CRS, always_xy=True).transform(lon, lat + 0.001)
    return math.degrees(math.atan2(east - x, north - y))


def _wet_ground(head: Any) -> shapely.Geometry:
    """Ground of a head of the sample site with 4096 pieces to a circle, straight from the table."""
    x, y = head.geometry.x, head.geometry.y
    from_deg = (0.0 if pd.isna(head.arc_from_deg) else head.arc_from_deg) + _true_north_deg(x, y)
    if str(head.kind).startswith("strip"):
        long_m, wide_m = head.strip_length_m, head.strip_width_m
        along, across = (wide_m, long_m) if head.kind == "strip side" else (long_m, wide_m)
        low = -along / 2 if head.kind == "strip centre" else 0.0
        corners = [(low, -across / 2), (low + along, -across / 2), (low + along, across / 2), (low, across / 2)]
        b = math.radians(from_deg)
        at = [(x + f * math.sin(b) + r * math.cos(b), y + f * math.cos(b) - r * math.sin(b)) for f, r in corners]
        return shapely.Polygon(at)
    radius, sweep = head.throw_m, 360.0 if pd.isna(head.arc_sweep_deg) else head.arc_sweep_deg
    n = round(4096 * sweep / 360)
    arc = [math.radians(from_deg + sweep * i / n) for i in range(n + 1)]
    rim = [(x + radius * math.sin(a), y + radius * math.cos(a)) for a in arc]
    return shapely.Polygon(rim if sweep == 360 else [*rim, (x, y)])


def _oracle(site: Site) -> set[tuple[str, str]]:
    """Pairs of stone and head by polygons; the surveyed outline of H14 wins over its figures."""
    from gravegis.science.irrigation.kinds import head_kinds

    pairs, stones = set(), site["stones"]
    surveyed = dict(zip(site["throws"]["head_id"], site["throws"].geometry, strict=True))
    head: Any
    for head in site["heads"].itertuples():
        if pd.isna(head.throw_m) and not str(head.kind).startswith("strip"):
            head = head._replace(throw_m=head_kinds()[head.kind].throw_m)
        ground = surveyed.get(head.head_id) or _wet_ground(head)
        pairs |= {(stone, head.head_id) for stone in stones["stone_id"][stones.geometry.intersects(ground)]}
    return pairs


def test_sample_site_links_are_those_of_polygons_with_4096_pieces(sample: Site) -> None:
    result = work(sample)
    assert set(table(result, "wetting_links").index) == _oracle(sample)
    by_stone = {stone for stone, _ in _oracle(sample)}
    drawn = set(
        sample["stones"]["stone_id"][sample["stones"].geometry.intersects(sample["wet_areas"].geometry.iloc[0])]
    )
    flags = table(result)["reached"]
    assert set(flags.index[flags.astype(bool)]) == by_stone | drawn
    assert flags.notna().all()


@pytest.mark.parametrize("head_id", ["H02", "H12", "H48", "H88"])
def test_turning_one_head_by_90_degrees_changes_the_flags_that_polygons_say(sample: Site, head_id: str) -> None:
    heads = sample["heads"]
    one = heads["head_id"] == head_id
    heads.loc[one, "arc_from_deg"] = (heads.loc[one, "arc_from_deg"] + 90) % 360
    turned = sample.with_layers({"heads": heads})
    before, after = (set(table(work(site), "wetting_links").index) for site in (sample, turned))
    assert after == _oracle(turned)
    assert before ^ after  # it did something
    assert {head for _, head in before ^ after} == {head_id}


def test_shuffled_rows_and_other_names_change_nothing_else(sample: Site) -> None:
    rng = np.random.default_rng(3)
    frames = {name: sample[name] for name in sample}
    names: dict[str, dict[str, str]] = {}
    for layer, column in (("stones", "stone_id"), ("heads", "head_id"), ("zones", "zone_id")):
        old = frames[layer][column].tolist()
        names[column] = dict(zip(old, [f"{column[0]}{i:03d}" for i in rng.permutation(len(old))], strict=True))
    for name, frame in frames.items():
        new = frame.sample(frac=1, random_state=5)
        frames[name] = new.assign(**{c: new[c].map(of) for c, of in names.items() if c in new})
    one, other = work(sample), work(Site(sample.info).with_layers(frames))
    for layer in LAYERS:
        renamed = one.layers[layer].copy()
        for column in renamed.columns:
            key = column.removeprefix("nearest_")
            if key in names:
                renamed[column] = renamed[column].map(names[key])
        pd.testing.assert_frame_equal(
            canonical.conform(renamed, layer), canonical.conform(other.layers[layer], layer), rtol=1e-12, atol=0
        )


def test_sample_site_words_lead_with_heads_and_never_with_the_share_of_wet_stones(sample: Site) -> None:
    result = work(sample)
    ranked = table(result, "head_stones").sort_values("rank")
    first = ranked.index[0]
    struck = table(result)["state"].eq("struck").sum()
    assert result.notes[0].startswith(f"The stream itself strikes {struck} of 1200 stones")
    assert f"{first} ({ranked['struck_n'].iloc[0]})" in result.notes[0]
    assert result.notes[1].startswith("Struck from nearest by: ")
    assert any(note.startswith(f"Stand at {first}, look at ") for note in result.notes)
    place = next(i for i, note in enumerate(result.notes) if "stones are reached" in note)
    assert place > 5
    assert "says little" in result.notes[place]  # more than 60 percent of the stones
    assert any("Mend first" in note and "H06 (tilted)" in note and "H36 (misting)" in note for note in result.notes)
    assert not any("safe" in note.lower() for note in result.notes)
    assert "Not looked at: slope" in result.notes[-1]


def test_sample_site_counts_of_a_head_by_distance_band(sample: Site) -> None:
    result = work(sample)
    stones, heads = sample["stones"].set_index("stone_id"), sample["heads"].set_index("head_id")
    pairs = _oracle(sample)
    for head in ("H04", "H15", "H88"):
        mine = stones.loc[[stone for stone, other in sorted(pairs) if other == head]]
        gap = mine.geometry.distance(heads.geometry[head])
        row = table(result, "head_stones").loc[head]
        half = {"H04": 12.0, "H15": 12.0, "H88": throw_of_kind("rotary nozzle")}[head] / 2
        expected = [(gap <= 2).sum(), ((gap > 2) & (gap <= half)).sum(), (gap > max(2, half)).sum()]
        assert list(row[["near_n", "half_n", "edge_n"]]) == expected
        every = stones.geometry.distance(heads.geometry[head])
        assert row["nearest_stone_id"] == every.idxmin()
        assert row["nearest_stone_m"] == pytest.approx(every.min())


def throw_of_kind(kind: str) -> float:
    from gravegis.science.irrigation.kinds import head_kinds

    return head_kinds()[kind].throw_m


def test_sample_site_hours_are_the_union_of_zones_by_hand(sample: Site) -> None:
    # 1 October 2026 to 30 April 2027: 212 days, 106 of them every second one; Z1 and Z2 run 45 min each day, Z2 also
    # 10 min every second day
    hours = table(work(sample))["season_h"]
    links = table(work(sample), "wetting_links").reset_index()
    zones = links.groupby("stone_id")["zone_id"].agg(frozenset)
    only_first = zones.index[zones == frozenset({"Z1"})]
    only_second = zones.index[zones == frozenset({"Z2"})]
    assert len(only_first) >= 10
    assert len(only_second) >= 10
    assert hours[only_first].to_numpy() == pytest.approx(212 * 45 / 60)
    assert hours[only_second].to_numpy() == pytest.approx(212 * 45 / 60 + 106 * 10 / 60)
    rows = table(work(sample))
    assert (hours[rows["reached"].eq(other=False) & rows["state"].ne("uncertain")] == 0.0).all()


def test_head_without_mend_is_counted_like_one_with(sample: Site) -> None:
    sound = sample.with_layers({"heads": sample["heads"].assign(fault=None)})
    for layer in LAYERS:
        assert canonical.equal(*(canonical.conform(work(site).layers[layer], layer) for site in (sample, sound)))


# --- properties on made sites ---

_XY = st.tuples(st.floats(-30, 30), st.floats(-30, 30))


@settings(max_examples=12)
@given(st.lists(_XY, min_size=1, max_size=8), st.lists(_XY, min_size=1, max_size=4), st.floats(1, 20), st.floats(0, 15))
def test_bigger_throw_never_reaches_fewer(stones: Any, heads: Any, throw_m: float, more_m: float) -> None:
    small, big = (
        work(site_of(stones=stones_at(*stones), heads=heads_at(*heads, throw_m=size)))
        for size in (throw_m, throw_m + more_m)
    )
    assert (table(big)["reached"] | ~table(small)["reached"]).all()
    assert (table(big)["margin_m"] >= table(small)["margin_m"] - 1e-9).all()
    assert set(table(small, "wetting_links").index) <= set(table(big, "wetting_links").index)


@settings(max_examples=12)
@given(st.lists(_XY, min_size=1, max_size=8), st.lists(_XY, min_size=1, max_size=4), st.integers(-900, 900))
def test_shift_by_whole_metres_changes_nothing(stones: Any, heads: Any, shift_m: int) -> None:
    # full circles only: the bearing of true north on the grid changes from place to place, and with it an arc
    made = []
    for at in (0, shift_m):
        frames: dict[str, Any] = {"stones": stones_at(*stones), "heads": heads_at(*heads, arc_sweep_deg=360.0)}
        made.append(
            work(site_of(**{name: f.set_geometry(f.geometry.translate(at, -at)) for name, f in frames.items()}))
        )
    for layer in LAYERS:
        one, other = (canonical.conform(result.layers[layer], layer) for result in made)
        # coordinates of millions of metres are rounded to about a nanometre
        pd.testing.assert_frame_equal(one, other, rtol=0, atol=1e-8)


@settings(max_examples=12)
@given(st.lists(_XY, min_size=1, max_size=8), st.lists(_XY, min_size=1, max_size=4))
def test_flags_margins_and_nearest_heads_are_those_of_plain_distances(stones: Any, heads: Any) -> None:
    result = work(site_of(stones=stones_at(*stones), heads=heads_at(*heads)))
    for (x, y), (_, row) in zip(stones, table(result).iterrows(), strict=True):
        gaps = [math.dist((x, y), head) for head in heads]
        if all(abs(gap - 10) > 1e-6 for gap in gaps):
            assert bool(row["reached"]) == (min(gaps) < 10)
            assert row["heads_n"] == sum(gap < 10 for gap in gaps)
        assert row["margin_m"] == pytest.approx(10 - min(gaps), abs=1e-6)
        assert row["nearest_head_m"] == pytest.approx(min(gaps), abs=1e-6)


@pytest.mark.parametrize(("gap_m", "is_wet"), [(-1e-9, True), (0.0, True), (0.9e-7, True), (1e-6, False)])
def test_touch_counts_up_to_a_ten_millionth_of_a_metre(gap_m: float, is_wet: bool) -> None:
    result = work(site_of(stones=stones_at((0, 10 + gap_m)), heads=heads_at((0, 0))))
    assert reached(result) == [is_wet]


# --- what little there is ---


def test_empty_layers_give_empty_layers_with_all_columns() -> None:
    bare: dict[str, Any] = {
        name: canonical.empty(name, CRS) for name in ("stones", "heads", "throws", "wet_areas", "observations")
    }
    result = work(site_of(**bare, schedules=canonical.empty("schedules")))
    for layer in LAYERS:
        assert len(result.layers[layer]) == 0
        assert list(result.layers[layer].columns) == list(schema.layer(layer).columns)


def test_two_poor_lists_give_ranked_heads_and_no_hours() -> None:
    stones = gpd.GeoDataFrame(geometry=stones_at((1, 0), (4, 0), (8, 0), (30, 0)).geometry, crs=CRS)
    heads = gpd.GeoDataFrame({"throw_m": [10.0, 10.0]}, geometry=heads_at((0, 0), (25, 0)).geometry, crs=CRS)
    result = work(site_of(time_zone="", stones=stones, heads=heads))
    ranked = table(result, "head_stones").sort_values("rank")
    assert ranked[["near_n", "half_n", "edge_n"]].to_numpy().tolist() == [[1, 1, 1], [0, 1, 0]]
    assert table(result)["season_h"].isna().all()
    assert reached(result) == [True, True, True, True]
    said = {one.what: one for one in result.assumed}
    assert said["stones.position_error_m"].rows_n == 4
    assert "how it was got: 4 m, as by phone: unsourced default" in said["stones.position_error_m"].words
    assert said["heads.position_error_m"].rows_n == 2
    assert "no hours a season" in said["schedules"].words


def test_phone_points_send_a_person_to_the_head_and_carry_no_decimals() -> None:
    stones = stones_at((1, 0), (4, 0), (8, 0)).drop(columns="position_error_m")
    notes = work(site_of(stones=stones, heads=heads_at((0, 0)))).notes
    assert notes[0].startswith("Positions are good to about 4 m only")
    assert "stand at these heads while they run, and look" in notes[0]
    assert notes[1] == "Stand at H1, look at S1 (less than 5 m), S2 (about 5 m), S3 (about 10 m)."
    taped = stones.assign(position_basis="Tape")
    notes = work(site_of(stones=taped, heads=heads_at((0, 0)))).notes
    assert notes[0] == "Look first at the heads with most stones within 2 m that they reach: H1 (1)."
    assert notes[2] == "Stand at H1, look at S1 (1 m), S2 (4 m), S3 (8 m)."


def test_without_any_knowledge_of_the_watering_nothing_is_said() -> None:
    result = work(site_of(stones=stones_at((0, 0), (5, 5))))
    assert reached(result) == [None, None]
    assert table(result)["basis"].tolist() == ["not known", "not known"]
    assert table(result)[["margin_m", "heads_n", "season_h", "nearest_head_id"]].isna().all(axis=None)
    assert result.notes[0] == "Nothing is known that waters a stone."


def test_heads_of_unknown_throw_alone_make_no_stone_dry() -> None:
    heads = heads_at((0, 0), throw_m=np.nan, kind=None)
    result = work(site_of(stones=stones_at((0, 1), (50, 50)), heads=heads))
    assert reached(result) == [None, None]
    assert table(result)["nearest_head_m"].tolist() == pytest.approx([1.0, math.hypot(50, 50)])
    assert any("throw of H1 is not known" in note for note in result.notes)


def test_a_head_of_unknown_throw_leaves_those_near_it_in_doubt() -> None:
    heads = heads_at((0, 0), (50, 0), throw_m=[10.0, np.nan], kind=["rotor", None])
    result = work(site_of(stones=stones_at((5, 0), (25, 0), (45, 0)), heads=heads))
    assert reached(result) == [True, False, None]  # the longest throw known is 10 m
    assert table(result)["basis"].tolist() == ["model", "model", "not known"]


def test_links_name_the_right_head_where_the_first_has_no_known_throw() -> None:
    heads = heads_at((50, 0), (0, 0), throw_m=[np.nan, 10.0], kind=[None, "rotor"])
    result = work(site_of(stones=stones_at((5, 0)), heads=heads))
    assert table(result, "wetting_links").index.tolist() == [("S1", "H2")]
    assert table(result, "head_stones").index.tolist() == ["H2"]


def test_a_dry_sight_of_one_zone_does_not_settle_a_doubt_about_another_head() -> None:
    heads = heads_at((0, 0), (50, 0), throw_m=[10.0, np.nan], kind=["rotor", None], zone_id=["Z1", "Z2"])
    stones = stones_at((45, 0), (46, 0))
    sights = seen(("S1", "Z1", "", "dry", ""), ("S2", "", "", "dry", ""))
    assert reached(work(site_of(stones=stones, heads=heads, observations=sights))) == [None, False]


def test_heads_are_ranked_by_near_then_half_then_edge_then_distance_then_name() -> None:
    heads = heads_at((0, 0), (100, 0), (200, 0), (300, 0), (400, 0))
    near, half, edge = (1.5, 0), (4, 0), (9, 0)
    around: dict[float, list[Any]] = {
        100: [near, half],
        0: [near, edge, edge],
        300: [half],
        200: [(4.5, 0)],
        400: [half],
    }
    places = [(x + dx, y + 0.1 * i) for x, some in around.items() for i, (dx, y) in enumerate(some)]
    ranked = table(work(site_of(stones=stones_at(*places), heads=heads)), "head_stones")
    assert ranked.sort_values("rank").index.tolist() == ["H2", "H1", "H4", "H5", "H3"]


def test_of_stones_equally_near_to_a_head_the_first_is_named() -> None:
    result = work(site_of(stones=stones_at((0, 3), (3, 0), (0, -3)), heads=heads_at((0, 0))))
    assert table(result, "head_stones").loc["H1", "nearest_stone_id"] == "S1"


def test_wet_areas_alone_give_a_list_of_wetted_stones() -> None:
    result = work(site_of(stones=stones_at((1, 1), (2, 1), (2.01, 1)), wet_areas=area(0, 0, 2)))
    assert reached(result) == [True, True, False]  # the second touches the edge
    assert set(table(result)["basis"]) == {"wet area"}
    assert table(result)["heads_n"].tolist() == [pd.NA, pd.NA, 0]
    assert table(result)["season_h"].isna().all()
    assert result.notes[0] == "Wetted as seen or drawn: S1, S2."
    assert len(result.layers["head_stones"]) == 0


def test_observations_alone_give_a_list_of_wetted_stones() -> None:
    sights = seen(("S1", "Z1", "", "struck", ""), ("S2", "Z1", "", "dry", ""), ("S3", "Z1", "", "mist", ""))
    result = work(site_of(stones=stones_at((0, 0), (1, 0), (2, 0), (3, 0)), observations=sights))
    assert reached(result) == [True, False, False, None]
    assert table(result)["state"].fillna("").tolist() == ["struck", "dry", "fringe", ""]
    assert table(result)["basis"].tolist() == ["observed", "observed", "observed", "not known"]
    assert result.notes[0] == "Wetted as seen or drawn: S1."


def test_outline_of_a_head_wins_over_its_circle_and_one_of_no_head_is_wet_ground() -> None:
    heads = heads_at((0, 0))
    result = work(site_of(stones=stones_at((1, 1), (8, 0)), heads=heads, throws=area(0, 0, 3, "throws", head_id="H1")))
    assert reached(result) == [True, False]
    assert table(result, "wetting_links").index.tolist() == [("S1", "H1")]
    loose = area(7, -1, 3, "throws", head_id=None)
    result = work(site_of(stones=stones_at((1, 1), (8, 0), (40, 0)), heads=heads, throws=loose))
    assert reached(result) == [True, True, False]
    assert table(result)["basis"].tolist() == ["model", "wet area", "model"]


def test_outline_serves_a_head_without_throw_and_kind() -> None:
    heads = heads_at((0, 0), throw_m=np.nan, kind=None)
    outline = area(0, 0, 3, "throws", head_id="H1")
    result = work(site_of(stones=stones_at((1, 1), (1.45, 1.45), (2, 2), (8, 0)), heads=heads, throws=outline))
    assert reached(result) == [True, True, True, False]
    # half of the farthest point of the outline, 4.24 m, is 2.12 m; the stones stand 1.41, 2.05 and 2.83 m away
    assert list(table(result, "head_stones").loc["H1", ["near_n", "half_n", "edge_n"]]) == [1, 1, 1]


def test_stones_without_a_place_are_not_called_dry() -> None:
    stones = stones_at((1, 0), (2, 0))
    stones.loc[0, "geometry"] = None
    result = work(site_of(stones=stones, heads=heads_at((0, 0))))
    assert reached(result) == [None, True]


# --- what was seen outranks the model ---


def _two_zones() -> dict[str, Any]:
    """S1 is reached by Z1 and Z2, S2 by Z1 only, S3 by none."""
    heads = heads_at((0, 0), (12, 0), zone_id=["Z1", "Z2"])
    return {"stones": stones_at((6, 0), (-6, 0), (60, 0)), "heads": heads}


@pytest.mark.parametrize(
    ("sights", "flags", "links"),
    [
        ([("S1", "Z1", "", "dry", "")], [True, True, False], {("S1", "H2"), ("S2", "H1")}),
        ([("S1", "", "H1", "dry", "")], [True, True, False], {("S1", "H2"), ("S2", "H1")}),
        ([("S1", "", "", "dry", "")], [False, True, False], {("S2", "H1")}),
        ([("S2", "Z1", "", "dry", "")], [True, False, False], {("S1", "H1"), ("S1", "H2")}),
        ([("S2", "Z2", "", "dry", "")], [True, True, False], {("S1", "H1"), ("S1", "H2"), ("S2", "H1")}),
        ([("S3", "Z2", "", "wetted", "")], [True, True, True], {("S1", "H1"), ("S1", "H2"), ("S2", "H1")}),
        (
            [("S3", "", "H2", "struck", "")],
            [True, True, True],
            {("S1", "H1"), ("S1", "H2"), ("S2", "H1"), ("S3", "H2")},
        ),
        ([("S2", "Z1", "", "mist", "")], [True, False, False], {("S1", "H1"), ("S1", "H2")}),
    ],
)
def test_one_sight_outranks_the_model_for_its_stone_and_zone(sights: Any, flags: Any, links: Any) -> None:
    result = work(site_of(**_two_zones(), observations=seen(*sights)))
    assert reached(result) == flags
    assert set(table(result, "wetting_links").index) == links


def test_basis_and_words_say_where_sight_and_model_differ() -> None:
    sights = seen(("S1", "", "", "dry", ""), ("S2", "Z1", "", "wetted", ""), ("S3", "Z2", "", "struck", ""))
    result = work(site_of(**_two_zones(), observations=sights))
    assert table(result)["basis"].tolist() == ["observed", "observed", "observed"]
    assert "Observed dry, model reached: S1." in result.notes
    assert "Observed wet, model did not reach: S3 (Z2)." in result.notes


def test_later_sights_win_and_on_one_day_wet_wins() -> None:
    dry_then_wet = seen(("S1", "", "", "dry", "2026-10-01"), ("S1", "", "", "wetted", "2026-10-09"))
    wet_then_dry = seen(("S1", "", "", "wetted", "2026-10-01"), ("S1", "", "", "dry", "2026-10-09"))
    one_day = seen(("S1", "", "", "wetted", "2026-10-01"), ("S1", "", "", "dry", "2026-10-01"))
    flags = [
        reached(work(site_of(**_two_zones(), observations=some)))[0] for some in (dry_then_wet, wet_then_dry, one_day)
    ]
    assert flags == [True, False, True]


def test_a_later_sight_of_a_head_wins_whether_its_zone_was_noted_or_not() -> None:
    sights = seen(("S2", "Z1", "H1", "wetted", "2026-10-01"), ("S2", "", "H1", "dry", "2026-10-09"))
    assert reached(work(site_of(**_two_zones(), observations=sights))) == [True, False, False]


def test_the_narrower_sight_wins() -> None:
    sights = seen(("S1", "", "", "dry", "2026-10-09"), ("S1", "Z2", "", "wetted", "2026-10-01"))
    assert set(table(work(site_of(**_two_zones(), observations=sights)), "wetting_links").index) == {
        ("S1", "H2"),
        ("S2", "H1"),
    }


def test_a_head_seen_to_miss_stays_dropped_where_its_zone_was_seen_to_wet() -> None:
    heads = heads_at((0, 0), (12, 0), zone_id=["Z1", "Z1"])
    sights = seen(("S1", "Z1", "H1", "dry", ""), ("S1", "Z1", "", "wetted", ""))
    result = work(site_of(stones=stones_at((6, 0)), heads=heads, observations=sights))
    assert table(result, "wetting_links").index.tolist() == [("S1", "H2")]
    assert reached(result) == [True]


def test_dry_sight_on_drawn_wet_ground_is_told() -> None:
    sights = seen(("S1", "", "", "dry", ""))
    result = work(site_of(stones=stones_at((1, 1)), wet_areas=area(0, 0, 2), observations=sights))
    assert reached(result) == [True]
    assert "Observed dry, drawn as wet: S1." in result.notes


def test_a_sight_with_a_place_belongs_to_the_stone_it_lies_on_and_strays_are_counted() -> None:
    stones = stones_at((0, 0), (5, 0))
    stones["geometry"] = stones.geometry.buffer(0.4)
    places: list[Any] = [shapely.Point(E0 + 5.1, N0), shapely.Point(E0 + 90, N0), None]
    sights = gpd.GeoDataFrame(
        {"seen": ["wetted", "wetted", "dry"], "stone_id": [None, None, "gone"]}, geometry=places, crs=CRS
    )
    result = work(site_of(stones=stones, observations=sights))
    assert reached(result) == [None, True]
    assert any(note.startswith("2 observations lie on no stone known here") for note in result.notes)


def test_words_that_are_no_sight_change_nothing() -> None:
    sights = seen(("S2", "Z1", "", "rather damp", ""), ("S2", "Z1", "", "", ""))
    result = work(site_of(**_two_zones(), observations=sights))
    assert reached(result) == [True, True, False]
    assert set(table(result)["basis"]) == {"model"}
    assert any(note.startswith("2 observations") for note in result.notes)


@pytest.mark.parametrize(
    ("what", "state"), [("struck", "struck"), ("wetted", "rained on"), ("mist", "fringe"), ("dry", "dry")]
)
def test_what_was_seen_gives_the_state_and_outranks_the_model(what: str, state: str) -> None:
    layers = {**_two_zones(), "observations": seen(("S2", "Z1", "", what, "2026-10-01"))}
    row = table(work(site_of(**layers))).loc["S2"]
    assert (row["state"], row["basis"]) == (state, "observed")
    # until the head is changed
    changed = layers["heads"].assign(changed_on=["2026-10-05", None])
    result = work(site_of(**{**layers, "heads": changed}))
    assert (table(result).loc["S2", "state"], table(result).loc["S2", "basis"]) == ("rained on", "model")
    assert "Seen before a head was changed, so the model stands again: S2 (2026-10-01)." in result.notes


# --- struck, faces, litres ---


def tablets(*xy: tuple[float, float], **columns: Any) -> gpd.GeoDataFrame:
    """Tablets 0.9 m high, 0.6 m wide along east and 0.1 m thick, their fronts looking south."""
    frame = stones_at(*xy, **{"height_m": 0.9, "facing_deg": 180.0, **columns})
    shapes = [shapely.box(x - 0.3, y - 0.05, x + 0.3, y + 0.05) for x, y in shapely.get_coordinates(frame.geometry)]
    return frame.set_geometry(gpd.GeoSeries(shapes, crs=CRS))


def test_a_stone_near_the_head_is_struck_on_the_face_towards_it_and_one_farther_out_is_rained_on() -> None:
    heads = heads_at((0, 0), zone_id="Z1", flow_l_min=15.0)
    layers: dict[str, Any] = {"stones": tablets((0, 1.2), (0, -6), (0, 30)), "heads": heads, "schedules": program()}
    result = work(site_of(**layers))
    rows = table(result)
    assert rows["state"].tolist() == ["struck", "rained on", "dry"]
    assert rows["struck_n"].tolist() == [1, 0, 0]
    assert rows["worst_face"].fillna("").tolist() == ["front", "back", ""]
    faces = table(result, "face_wetting").loc["S1"]
    assert faces.loc["front", "struck"]
    assert not faces.loc[["back", "top"], "struck"].any()
    assert faces.loc["front", "rate_l_m2_h"] > 10 * faces.loc["top", "rate_l_m2_h"]
    assert faces.loc["back", "rate_l_m2_h"] == 0
    # ten days of an hour each
    assert faces["season_l_m2"].to_numpy() == pytest.approx(10 * faces["rate_l_m2_h"].to_numpy())
    link = table(result, "wetting_links").loc[("S1", "H1")]
    areas = pd.Series({"front": 0.54, "back": 0.54, "left": 0.09, "right": 0.09, "top": 0.06})
    assert link["season_l"] == pytest.approx((faces["season_l_m2"] * areas).sum())
    assert link["season_l"] < 10 * 15 * 60  # less than the head sends out


@pytest.mark.parametrize(("head", "face"), [((-1.2, 0), "left"), ((1.2, 0), "right"), ((0, 1.2), "back")])
def test_left_and_right_are_those_of_somebody_who_reads_the_inscription(head: tuple[float, float], face: str) -> None:
    """The stone looks south, so its reader looks north and has west on the left; as findings are written down."""
    result = work(site_of(stones=tablets((0, 0)), heads=heads_at(head, flow_l_min=15.0)))
    assert table(result)["worst_face"].tolist() == [face]


def test_what_is_not_known_is_not_told() -> None:
    bare: dict[str, Any] = {"stones": tablets((0, 1.2)), "heads": heads_at((0, 0), zone_id="Z1", flow_l_min=15.0)}
    no_schedule = work(site_of(**bare))
    assert table(no_schedule)[["season_h", "season_mm", "wet_nights_n"]].isna().all(axis=None)
    assert table(no_schedule, "face_wetting")["season_l_m2"].isna().all()
    assert table(no_schedule, "face_wetting")["rate_l_m2_h"].gt(0).any()
    no_flow = work(site_of(**{**bare, "heads": heads_at((0, 0), zone_id="Z1")}, schedules=program()))
    assert table(no_flow, "face_wetting").loc[("S1", "front"), ["rate_l_m2_h", "season_l_m2"]].isna().all()
    assert table(no_flow, "wetting_links")["season_l"].isna().all()
    assert table(no_flow)["season_h"].tolist() == pytest.approx([10.0])
    no_facing = work(site_of(**{**bare, "stones": tablets((0, 1.2), facing_deg=np.nan)}))
    assert set(table(no_facing, "face_wetting").loc["S1"].index) == {"north", "east", "south", "west", "top"}
    assert table(no_facing)["worst_face"].isna().all()


def test_places_by_phone_name_no_struck_stone_but_say_where_to_stand() -> None:
    stones = tablets((0, 1.2), (0, 6), position_error_m=3.0)
    result = work(site_of(stones=stones, heads=heads_at((0, 0))))
    assert not table(result)["state"].eq("struck").any()
    assert table(result)["struck_prob"].between(0.01, 0.9).all()
    looks = table(result, "head_looks").loc["H1"].sort_values("seq")
    assert looks.index.tolist() == ["S1", "S2"]
    assert looks["struck_prob"].is_monotonic_decreasing
    assert "no single stone is called struck" in result.notes[0]


def test_a_stone_on_the_edge_of_a_throw_is_uncertain_by_the_errors_of_its_row() -> None:
    heads = heads_at((0, 0), throw_basis="measured")
    rows = table(work(site_of(stones=stones_at((0, 10.3), (5, 0), (0, 13)), heads=heads)))
    assert rows["state"].tolist() == ["foot wetted", "rained on", "dry"]
    blurred = stones_at((0, 10.3), (5, 0), (0, 13), position_error_m=0.5)
    assert table(work(site_of(stones=blurred, heads=heads)))["state"].tolist() == ["uncertain", "rained on", "dry"]


# --- hours a season ---


def test_hours_are_those_in_which_any_zone_runs_and_not_their_sum() -> None:
    lines = program(zone_id=["Z1", "Z2"], start_at=["05:00", "05:30"])  # together 05:00 to 06:30 on 10 days
    hours = table(work(site_of(**_two_zones(), schedules=lines)))["season_h"]
    assert hours.tolist() == pytest.approx([15.0, 10.0, 0.0])


def test_hours_are_missing_where_one_zone_has_no_schedule() -> None:
    result = work(site_of(**_two_zones(), schedules=program()))
    assert table(result)["season_h"].tolist() == pytest.approx([np.nan, 10.0, 0.0], nan_ok=True)
    assert "No hours for 1 stones reached: no schedule for Z2." in result.notes


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"every": "now and then"}, "'now and then' says no days"),
        ({"from_on": None, "to_on": None}, "has no season dates"),
        ({"start_at": None}, "it has no start"),
        ({"adjust_pct": "a lot"}, "neither one percentage nor twelve"),
    ],
)
def test_a_line_that_cannot_be_used_leaves_the_hours_missing_and_says_why(columns: Any, words: str) -> None:
    result = work(site_of(**_two_zones(), schedules=program(**columns)))
    assert table(result)["season_h"].tolist() == pytest.approx([np.nan, np.nan, 0.0], nan_ok=True)
    assert any(note.startswith("No hours for 2 stones") and words in note for note in result.notes)


def test_hours_of_a_stone_seen_wet_are_those_of_the_zone_that_ran() -> None:
    sights = seen(("S3", "Z2", "", "wetted", ""), ("S2", "", "", "wetted", ""))
    lines = program(zone_id=["Z1", "Z2"], run_min=[60, 30])
    hours = table(work(site_of(**_two_zones(), schedules=lines, observations=sights)))["season_h"]
    assert hours.tolist() == pytest.approx([10.0, 10.0, 5.0])


def test_without_a_time_zone_hours_are_summed_in_civil_time_and_it_is_said() -> None:
    result = work(site_of(time_zone="", **_two_zones(), schedules=program(zone_id=["Z1", "Z2"])))
    assert table(result)["season_h"].tolist() == pytest.approx([10.0, 10.0, 0.0])
    assert any(one.what == "site.time_zone" and "civil time" in one.words for one in result.assumed)


def test_an_unknown_time_zone_is_an_error_a_person_can_mend() -> None:
    with pytest.raises(SettingError, match=r"site\.time_zone.*no time zone called 'Mars/Base'"):
        work(site_of(time_zone="Mars/Base", **_two_zones(), schedules=program()))


# --- manners ---


def test_a_cancelled_job_stops_and_the_site_stays_as_it_was(sample: Site) -> None:
    before = {name: canonical.content_hash(sample[name]) for name in sample}
    with pytest.raises(Cancelled):
        wetting.ANALYSIS.work(sample, None, Job(cancelled=lambda: True))
    work(sample)
    assert {name: canonical.content_hash(sample[name]) for name in sample} == before


def test_importing_the_module_loads_nothing_heavy() -> None:
    code = "import sys, gravegis.analyses.wetting; print(' '.join(sorted(sys.modules)))"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert not {"pandas", "geopandas", "shapely", "scipy", "pyproj"} & set(loaded)


# --- public data ---


@pytest.mark.parametrize("crs", ["EPSG:32630", "EPSG:27700"])
@pytest.mark.cited("public map of 1854 by John Snow as shipped with libpysal (snow_maps): pumps and deaths")
def test_pumps_as_heads_reach_the_same_addresses_in_two_reference_systems(crs: str) -> None:
    examples = pytest.importorskip("libpysal.examples")
    try:
        folder = examples.load_example("snow_maps")
        people, pumps = (gpd.read_file(folder.get_path(name)) for name in ("SohoPeople.shp", "SohoWater.shp"))
    except Exception as error:  # noqa: BLE001 - whatever a missing download raises
        pytest.skip(f"example files are not there offline: {error}")
    assert (len(people), len(pumps)) == (324, 13)
    stones = gpd.GeoDataFrame(geometry=people.geometry, crs="EPSG:3857").to_crs(crs)
    heads = gpd.GeoDataFrame({"throw_m": 50.0}, geometry=pumps.geometry, index=pumps.index, crs="EPSG:3857").to_crs(crs)
    site = Site(SiteInfo("Soho", crs)).with_layers({"stones": stones, "heads": heads})
    assert int(table(work(site))["reached"].sum()) == 41  # 20 when metres of EPSG:3857 are taken for metres
