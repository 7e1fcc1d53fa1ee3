"""Printed maps: every page in every state is whole, legible and true to its scale."""

from __future__ import annotations

import re
import time
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from gravegis.outputs import day_maps, maps, symbols, water_maps
from gravegis.outputs.labels import Anchor
from gravegis.site import Raster, Site

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from matplotlib.figure import Figure

    Draw = Callable[..., Figure]
    Faults = Callable[[Figure], list[str]]

PAGES: dict[str, Draw] = {
    "wetting": maps.wetting_map,
    "condition": maps.condition_map,
    "heat": maps.heat_map,
    "crew": maps.crew_map,
}
PAPERS = ("A4", "Letter")
CRS = "EPSG:7854"
each_page = pytest.mark.parametrize("draw", PAGES.values(), ids=PAGES.keys())
each_paper = pytest.mark.parametrize("paper", PAPERS)


def stones_at(xy: list[tuple[float, float]], **columns: list[Any]) -> gpd.GeoDataFrame:
    rows = {"stone_id": [f"S{n}" for n in range(len(xy))], **columns}
    return gpd.GeoDataFrame(rows, geometry=gpd.GeoSeries([shapely.Point(at) for at in xy], crs=CRS))


@each_paper
@each_page
def test_no_text_overlaps_or_leaves_the_page(draw: Draw, paper: str, small_site: Site, text_faults: Faults) -> None:
    assert text_faults(draw(small_site, paper=paper, made_on="2026-11-25", plan_hash="3f2a91c0")) == []


@each_paper
@each_page
def test_no_text_overlaps_or_leaves_the_page_on_the_sample_ground(
    draw: Draw, paper: str, sample_run: Site, text_faults: Faults
) -> None:
    assert text_faults(draw(sample_run, paper=paper, made_on="2026-11-25", plan_hash="3f2a91c0")) == []


@each_paper
def test_the_key_names_each_of_26_crews_and_no_label_overlaps(
    paper: str, build_site: Callable[..., Site], text_faults: Faults, words_on: Callable[[Figure], list[str]]
) -> None:
    made = maps.crew_map(build_site(120, 26), paper=paper)
    assert text_faults(made) == []
    words = " ".join(words_on(made))
    assert [n for n in range(26) if f"{chr(65 + n)}: crew C{n + 1:02d}" not in words] == []


@pytest.mark.parametrize(
    ("page", "gone"),
    [
        ("wetting", ("paths", "plots")), ("wetting", ("zones", "throws_computed")), ("wetting", ("head_stones",)),
        ("wetting", ("stone_wetting", "wetting_links", "head_stones")), ("wetting", ("heads",)),
        ("wetting", ("bases", "gates", "taps", "barriers", "wet_areas")), ("wetting", ("stones",)),
        ("condition", ("stone_condition",)), ("condition", ("clusters",)), ("condition", ("stones",)),
        ("heat", ("stone_condition",)), ("heat", ("stones",)), ("heat", ("paths", "plots", "barriers")),
        ("crew", ("stops", "legs", "crew_days", "unplanned")), ("crew", ("legs",)), ("crew", ("crew_days",)),
        ("crew", ("unplanned", "taps")), ("crew", ("stones",)),
    ],
)  # fmt: skip
def test_a_page_does_without_any_layer(page: str, gone: tuple[str, ...], small_site: Site, text_faults: Faults) -> None:
    assert text_faults(PAGES[page](small_site.without(gone))) == []


@each_page
def test_a_site_without_any_layer_gives_a_page_that_says_so(
    draw: Draw, small_site: Site, text_faults: Faults, words_on: Callable[[Figure], list[str]]
) -> None:
    made = draw(Site(small_site.info))
    assert text_faults(made) == []
    assert "Key" not in words_on(made)
    assert re.search("not been worked out|no grid|No day", " ".join(words_on(made)))


@pytest.mark.parametrize("count", [0, 1, 2])
@each_page
def test_few_point_stones_give_a_page(draw: Draw, count: int, small_site: Site, text_faults: Faults) -> None:
    site = Site(small_site.info).with_layers({"stones": stones_at([(372000.0 + n, 6250000.0) for n in range(count)])})
    assert text_faults(draw(site)) == []


@each_page
def test_stones_on_one_line_and_on_one_spot_give_a_page(draw: Draw, small_site: Site, text_faults: Faults) -> None:
    line = [(372000.0 + 2 * n, 6250000.0) for n in range(200)]
    for at in (line, [(372000.0, 6250000.0)] * 50):
        assert text_faults(draw(Site(small_site.info).with_layers({"stones": stones_at(at)}))) == []


@each_page
def test_empty_results_and_rows_without_a_place_give_a_page(draw: Draw, small_site: Site, text_faults: Faults) -> None:
    results = ("stone_wetting", "wetting_links", "head_stones", "stone_condition", "clusters", "stops", "legs")
    empty = {name: small_site[name].iloc[:0] for name in (*results, "unplanned")}
    holes: dict[str, pd.DataFrame] = {}
    for name in ("stones", "throws_computed", "heads", "gates"):
        shapes = list(small_site[name]["geometry"])
        holes[name] = small_site[name].assign(geometry=gpd.GeoSeries([None, *shapes[1:]], crs=CRS))
    site = small_site.with_layers({**empty, **holes})
    assert text_faults(draw(site)) == []


def test_the_key_holds_only_what_is_drawn(small_site: Site, words_on: Callable[[Figure], list[str]]) -> None:
    words = words_on(maps.wetting_map(small_site.without(("barriers", "wet_areas"))))
    assert {"wall", "hedge", "wet ground as drawn or surveyed"} & set(words) == set()
    assert {"path", "plot", "sprinkler head"} <= set(words)
    assert {"wall", "hedge"} <= set(words_on(maps.wetting_map(small_site)))


def test_what_lies_off_the_map_is_not_in_the_key(small_site: Site, words_on: Callable[[Figure], list[str]]) -> None:
    far = small_site["gates"].assign(geometry=gpd.GeoSeries([shapely.Point(390000.0, 6250000.0)], crs=CRS))
    assert "gate or opening" not in words_on(maps.wetting_map(small_site.with_layers({"gates": far})))


@each_page
def test_every_stone_is_inside_the_map(draw: Draw, small_site: Site) -> None:
    ground = draw(small_site).axes[0]
    west, south, east, north = small_site["stones"].total_bounds
    assert ground.get_xlim()[0] <= west < east <= ground.get_xlim()[1]
    assert ground.get_ylim()[0] <= south < north <= ground.get_ylim()[1]


def test_a_stone_counts_as_close_by_its_links_not_by_a_head_that_misses_it(small_site: Site) -> None:
    stones = stones_at([(372000.0 + n, 6250000.0) for n in range(4)])
    wetting = pd.DataFrame(
        {"stone_id": ["S0", "S1", "S2", "S3"], "reached": [True, True, False, None], "nearest_head_m": [1.0] * 4}
    )
    links = pd.DataFrame({"stone_id": ["S0", "S1"], "head_id": ["H", "H"], "distance_m": [2.0, 2.001]})
    site = Site(small_site.info).with_layers({"stones": stones, "stone_wetting": wetting, "wetting_links": links})
    kinds = ["stone_near", "stone_reached", "stone_not_reached", "stone_not_known"]
    assert water_maps._wetting_kinds(site, 2.0) == kinds
    without = water_maps._wetting_kinds(site.without(("wetting_links",)), 2.0)
    assert without == ["stone_near", "stone_near", "stone_not_reached", "stone_not_known"]


def struck_site(small_site: Site, struck_n: list[int | None]) -> Site:
    states = ["struck", "rained on", "foot wetted", "fringe", "uncertain", "dry", None]
    ids = [f"S{n}" for n in range(7)]
    wetting = pd.DataFrame({"stone_id": ids, "reached": True, "state": states, "struck_n": struck_n})
    heads = stones_at([(372000.0, 6250000.0)]).rename(columns={"stone_id": "head_id"}).assign(head_id="H")
    links = pd.DataFrame({"stone_id": ids[:2], "head_id": "H", "zone_id": "Z", "distance_m": [3.0, 1.0],
                          "struck": pd.array([True, False], dtype="boolean")})  # fmt: skip
    return Site(small_site.info).with_layers({
        "stones": stones_at([(372000.0 + 9 * n, 6250000.0) for n in range(7)]), "stone_wetting": wetting,
        "heads": heads, "wetting_links": links,
        "head_stones": pd.DataFrame({"head_id": ["H"], "near_n": [0], "struck_n": [1], "rank": [1]}),
    })  # fmt: skip


def test_each_state_is_drawn_as_itself_and_the_head_says_how_many_it_strikes(
    small_site: Site, words_on: Callable[[Figure], list[str]]
) -> None:
    site = struck_site(small_site, [1, 0, 0, 0, 0, 0, None])
    assert water_maps._wetting_kinds(site, 2.0) == [*water_maps.STATE_KINDS.values(), "stone_not_known"]
    words = words_on(maps.wetting_map(site))
    assert {"H: strikes 1", "S0", "rained on (1)"} <= set(words)
    assert "struck by the stream of a head" in " ".join(words)
    assert "S1" not in words
    assert water_maps._zone_kinds(site, 2.0, "Z")[:3] == ["stone_struck", "stone_rained_on", "stone"]


def test_where_no_strike_can_be_known_stones_are_told_apart_by_nearness(small_site: Site) -> None:
    site = struck_site(small_site, [None] * 7)
    assert water_maps._wetting_kinds(site, 2.0)[:2] == ["stone_reached", "stone_near"]
    assert water_maps._zone_kinds(site, 2.0, "Z")[:3] == ["stone_reached", "stone_near", "stone"]


def test_the_wetting_map_leads_with_the_heads_close_to_most_stones(
    small_site: Site, words_on: Callable[[Figure], list[str]]
) -> None:
    counted = small_site["head_stones"]
    first = counted[counted["near_n"] > 0].sort_values("rank")
    words = words_on(maps.wetting_map(small_site))
    assert len(first) > 0
    for row in first.itertuples():
        assert any(re.match(rf"{row.head_id}\b.*: {row.near_n} stone", one) for one in words)
    assert [str(n + 1) for n in range(len(first)) if str(n + 1) not in words] == []


def test_a_page_says_how_many_stones_carry_no_name(small_site: Site, words_on: Callable[[Figure], list[str]]) -> None:
    words = words_on(maps.condition_map(small_site))
    names = set(small_site["stones"]["stone_id"])
    left = re.search(r"(\d+) of 120 stones without a name here", " ".join(words))
    assert len(names & set(words)) + (int(left.group(1)) if left else 0) == 120


def test_classes_of_the_key_carry_their_counts(small_site: Site, words_on: Callable[[Figure], list[str]]) -> None:
    words = words_on(maps.condition_map(small_site))
    counts = small_site["stone_condition"]["overall"].value_counts(dropna=False)
    for number, said in ((0, "0 no damage"), (1, "1 minor"), (2, "2 moderate"), (3, "3 major")):
        assert f"{said} ({counts[number]})" in words


def test_the_heat_map_draws_each_share_in_its_class_and_masks_the_rest(
    small_site: Site, words_on: Callable[[Figure], list[str]]
) -> None:
    values = np.array([[0.0, 0.19, 0.2], [np.nan, 0.5, 1.0]])
    grid = Raster(values, 372005.0, 6250010.0, 4.0, "share", "1")
    made = maps.heat_map(replace(small_site, grids={"share_damaged": grid}))
    words = words_on(made)
    drawn = {word for word in words if word.endswith("% damaged")}
    assert drawn == {"0 to 20 % damaged", "20 to 40 % damaged", "40 to 60 % damaged", "80 to 100 % damaged"}
    assert "masked: fewer than 7 stones around, or none near" in " ".join(words)
    picture: Any = made.axes[0].images[0]
    colours = picture.to_rgba(picture.get_array())
    assert (colours[0, 0] == colours[0, 1]).all()
    assert (colours[0, 1] != colours[0, 2]).any()
    assert colours[1, 0, 3] == 0.0  # the mask stays clear: hatched white shows through


def runs_on(words: list[str]) -> dict[str, set[int]]:
    """Return the stops each crew letter shows, ranges spelled out."""
    shown: dict[str, set[int]] = {}
    for one in words:
        found = re.fullmatch(r"([A-Z]+)(\d+)(?:\u2013[A-Z]+(\d+))?", one)
        if found:
            low, high = int(found.group(2)), int(found.group(3) or found.group(2))
            shown.setdefault(found.group(1), set()).update(range(low, high + 1))
    return shown


def test_every_stop_has_a_label_of_its_own_or_in_a_run(
    small_site: Site, words_on: Callable[[Figure], list[str]]
) -> None:
    shown = runs_on(words_on(maps.crew_map(small_site)))
    assert shown == {"A": {1, 2, 3, 4}, "B": {1, 2, 3, 4}}


def test_crowded_stops_share_labels_and_none_is_lost(
    small_site: Site, text_faults: Faults, words_on: Callable[[Figure], list[str]]
) -> None:
    stones = stones_at([(372000.0 + 0.2 * n, 6250000.0) for n in range(60)] + [(372200.0, 6250200.0)])
    stops = pd.DataFrame(
        {"crew_id": "C1", "day": "day 1", "seq": range(1, 61), "stone_id": [f"S{n}" for n in range(60)]}
    )
    made = maps.crew_map(Site(small_site.info).with_layers({"stones": stones, "stops": stops}))
    assert text_faults(made) == []
    words = words_on(made)
    assert runs_on(words) == {"A": set(range(1, 61))}
    assert len([one for one in words if re.fullmatch(r"A\d+.*", one)]) < 60


def test_a_run_holds_stops_that_follow_each_other_within_the_distance() -> None:
    places = [0.0, 3.0, 4.0, 9.0, 9.5]
    stops = [day_maps._Stop("A", n + 1, Anchor(x, 0.0), "#000000") for n, x in enumerate(places)]
    assert [[stop.seq for stop in run] for run in day_maps._runs(stops, 4.0)] == [[1, 2, 3], [4, 5]]
    assert [[stop.seq for stop in run] for run in day_maps._runs(stops, 0.0)] == [[1], [2], [3], [4], [5]]


@pytest.mark.parametrize(
    "way",
    [
        shapely.LineString([(372000.0, 6250000.0)] * 2), shapely.LineString(),
        shapely.MultiLineString([[(372000.0, 6250000.0)] * 2, [(372000.0, 6250000.0), (372001.0, 6250000.0)]]),
    ],
    ids=["one spot", "empty", "partly one spot"],
)  # fmt: skip
def test_a_walk_without_length_gives_a_page_that_names_the_crew(
    way: Any, small_site: Site, text_faults: Faults, words_on: Callable[[Figure], list[str]]
) -> None:
    stops = pd.DataFrame({"crew_id": "C1", "day": "day 1", "seq": [1], "stone_id": ["S0"]})
    legs = gpd.GeoDataFrame({"crew_id": ["C1"], "day": "day 1", "seq": [1]}, geometry=gpd.GeoSeries([way], crs=CRS))
    stones = stones_at([(372000.0, 6250000.0)])
    made = maps.crew_map(Site(small_site.info).with_layers({"stones": stones, "stops": stops, "legs": legs}))
    assert text_faults(made) == []
    assert "A1" in words_on(made)


def test_a_day_without_stops_says_so(small_site: Site, words_on: Callable[[Figure], list[str]]) -> None:
    words = words_on(maps.crew_map(small_site, "2030-01-01"))
    assert any("No stops are planned on 2030-01-01." in one for one in words)
    assert not any(one.startswith("A: crew") for one in words)


def test_crews_of_the_key_stand_in_the_order_people_count_in_and_are_not_doubled(
    small_site: Site, words_on: Callable[[Figure], list[str]]
) -> None:
    renamed = {"C01": "Crew 10", "C02": "Crew 2"}
    layers = {
        name: small_site[name].assign(crew_id=lambda one: one["crew_id"].map(renamed)) for name in ("stops", "legs")
    }
    days = pd.DataFrame(
        {"crew_id": ["Crew 10", "Crew 2", "Crew 3"], "day": "2026-12-02", "stones_n": [4, 1, 0], "leave_at": "08:45",
         "return_at": ["11:00", "10:00", "08:45"]}
    )  # fmt: skip
    words = " ".join(words_on(maps.crew_map(small_site.with_layers({**layers, "crew_days": days}))))
    assert "A: Crew 2, 1 stone" in words
    assert "B: Crew 10, 4 stones" in words
    assert "On the way: Crew 2 08:45 to 10:00, Crew 10 08:45 to 11:00. Crew 3: no stones, stays at the base." in words
    assert "08:45 to 08:45" not in words


def test_many_crews_are_told_in_the_key_only(
    build_site: Callable[..., Site], words_on: Callable[[Figure], list[str]]
) -> None:
    site = build_site(120, 8)
    note = "Crew C01: 4 stones, 120 m on foot, 08:45 to 11:00."
    log = tuple(replace(one, notes=(note, *one.notes)) if one.analysis == "routes" else one for one in site.log)
    words = words_on(maps.crew_map(replace(site, log=log)))
    assert note not in " ".join(words)
    assert "8 crews out: the key says who they are." in words
    assert "Answer of routes." in words


@pytest.mark.parametrize("spread_m", [0.0, 5.0])
def test_without_a_base_the_place_crews_start_from_is_drawn_and_called_assumed(
    spread_m: float, small_site: Site, text_faults: Faults, words_on: Callable[[Figure], list[str]]
) -> None:
    stones = stones_at([(372000.0 + spread_m * n, 6250000.0) for n in range(3)])
    stops = pd.DataFrame({"crew_id": "C1", "day": "day 1", "seq": [1], "stone_id": ["S0"]})
    made = maps.crew_map(Site(small_site.info).with_layers({"stones": stones, "stops": stops}))
    assert text_faults(made) == []
    assert "base, assumed: middle of the stones, no base is known" in " ".join(words_on(made))


def dark_at(figure: Figure, xy: tuple[float, float], colour: str) -> int:
    """Return how many pixels within 1 mm of a place on the ground have a colour."""
    figure.canvas.draw()
    pixels = np.asarray(figure.canvas.buffer_rgba())[..., :3]  # type: ignore[attr-defined]
    x, y = figure.axes[0].transData.transform(xy)
    near = pixels[int(len(pixels) - y) - 6 : int(len(pixels) - y) + 7, int(x) - 6 : int(x) + 7]
    wanted = [int(colour[n : n + 2], 16) for n in (1, 3, 5)]
    return int((near == wanted).all(axis=-1).sum())


def test_a_head_hides_no_stone_that_stands_at_it(small_site: Site, words_on: Callable[[Figure], list[str]]) -> None:
    at = (372000.0, 6250000.0)
    heads = stones_at([at]).rename(columns={"stone_id": "head_id"}).assign(head_id="H")
    site = Site(small_site.info).with_layers({
        "stones": stones_at([at]), "heads": heads,
        "stone_wetting": pd.DataFrame({"stone_id": ["S0"], "reached": [True]}),
        "wetting_links": pd.DataFrame({"stone_id": ["S0"], "head_id": ["H"], "distance_m": [0.0]}),
        "head_stones": pd.DataFrame({"head_id": ["H"], "near_n": [1], "rank": [1]}),
    })  # fmt: skip
    made = maps.wetting_map(site)
    drawn = symbols.symbol("stone_near")
    assert dark_at(made, at, drawn.fill) + dark_at(made, at, drawn.line) > 20
    words = words_on(made)
    assert {"S0", "1", "H: 1 stone"} <= set(words)
    assert "under other marks" not in " ".join(words)


def test_a_base_hides_no_stone_that_stands_at_it(small_site: Site) -> None:
    at = (372000.0, 6250000.0)
    bases = stones_at([at]).rename(columns={"stone_id": "base_id"})
    made = maps.condition_map(Site(small_site.info).with_layers({"stones": stones_at([at]), "bases": bases}))
    assert dark_at(made, at, symbols.symbol("stone").fill) > 5


@pytest.mark.parametrize("page", ["wetting", "condition", "crew"])
def test_stones_under_others_are_told(page: str, small_site: Site, words_on: Callable[[Figure], list[str]]) -> None:
    stones = stones_at([(372000.0, 6250000.0)] * 30 + [(372050.0, 6250000.0)])
    words = " ".join(words_on(PAGES[page](Site(small_site.info).with_layers({"stones": stones}))))
    assert "29 of 31 stones under other marks" in words


def test_positions_by_phone_are_not_taken_for_better_on_the_map(
    small_site: Site, words_on: Callable[[Figure], list[str]]
) -> None:
    words = " ".join(words_on(maps.wetting_map(small_site)))
    assert re.search(r"2 m or less from a head by\s+positions good to about 6 m \(\d+\)", words)
    sure = {name: small_site[name].assign(position_error_m=0.05) for name in ("stones", "heads")}
    assert "by positions" not in " ".join(words_on(maps.wetting_map(small_site.with_layers(sure))))


@each_paper
def test_at_most_four_lines_stand_above_the_wetting_map(paper: str, small_site: Site) -> None:
    notes = (*(f"A remark number {n} about what was found." for n in range(30)), "Not looked at: wind.")
    log = tuple(replace(one, notes=notes) for one in small_site.log)
    made = maps.wetting_map(replace(small_site, log=log), paper=paper)
    title = next(one for one in made.axes[1].texts if one.get_text().startswith("Heads to look at first"))
    top = made.axes[0].get_position().y1 * made.axes[1].get_ylim()[1]
    over = [one.get_text() for one in made.axes[1].texts if top < one.get_position()[1] < title.get_position()[1]]
    assert len(over) <= 4
    assert over[-1] == "Not looked at: wind."
    assert re.search(r"\d+ more in answers\.txt", " ".join(over))


def test_a_crowded_map_carries_no_names_of_stones_and_says_so_once(
    small_site: Site, words_on: Callable[[Figure], list[str]]
) -> None:
    stones = stones_at([(372000.0 + n // 150, 6250000.0 + n % 150) for n in range(22_500)])
    site = Site(small_site.info).with_layers({"stones": stones})
    words = words_on(maps.condition_map(site))
    assert not set(words) & set(stones["stone_id"])
    assert " ".join(words).count("No names of stones: too close to be read at this scale") == 1


def test_stones_nobody_visits_are_counted_by_reason(small_site: Site, words_on: Callable[[Figure], list[str]]) -> None:
    reasons = small_site["unplanned"]["reason"].value_counts()
    words = " ".join(words_on(maps.crew_map(small_site)))
    assert f"not visited: no time left ({reasons['NO_TIME_LEFT']})" in words
    assert f"not visited: on hold ({reasons['ON_HOLD']})" in words


@pytest.mark.parametrize("zone", ["Z1", "Z2", "nobody knows it", ""])
def test_the_picture_of_a_zone_names_its_heads_and_no_others(
    zone: str, small_site: Site, text_faults: Faults, words_on: Callable[[Figure], list[str]]
) -> None:
    made = maps.zone_map(small_site, zone, width_mm=90.0, height_mm=80.0)
    assert text_faults(made) == []
    assert made.get_size_inches() * 25.4 == pytest.approx([90.0, 80.0])
    heads = small_site["heads"]
    named = {found.group(0) for word in words_on(made) if (found := re.match(r"H\d", word))}
    assert named == set(heads["head_id"][heads["zone_id"] == zone])


def seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


@each_page
def test_a_page_of_400_stones_takes_under_2_seconds(
    draw: Draw, build_site: Callable[..., Site], tmp_path: Path
) -> None:
    site = build_site(400)
    draw(site)  # fonts and libraries are loaded once
    assert seconds(lambda: draw(site).savefig(tmp_path / "page.pdf")) < 2.0


@pytest.mark.full
@each_page
def test_a_page_of_20_000_stones_takes_under_15_seconds(
    draw: Draw, build_site: Callable[..., Site], tmp_path: Path
) -> None:
    site = build_site(20_000)
    assert seconds(lambda: maps.save_figure(draw(site), tmp_path / "page")) < 15.0
