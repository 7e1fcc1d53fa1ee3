"""The day on one page, and the day of a crew for map programs on phones."""

from __future__ import annotations

import io
import json
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import pandas as pd
import pyproj
import pytest
import shapely
from pypdf import PdfReader

from gravegis.outputs.day_geojson import write_day_geojson
from gravegis.outputs.day_lanes import lanes_of
from gravegis.outputs.day_strips import HATCHED, MOST_CREWS, STEPS, day_strips
from gravegis.outputs.days import crew_days
from gravegis.outputs.symbols import HATCHES, symbol
from tests.outputs import pdftext
from tests.outputs.current import current
from tests.outputs.test_crew_sheet import led_site, make_site

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.site import Site

MARGIN_PT = 10 / 25.4 * 72 - 0.6


def timed(crews: tuple[str, ...] = ("C1", "C2")) -> Site:
    """Crews that wet their first stop, look at the second while it soaks, rinse, fill the cans and rest."""
    site = make_site(2 * len(crews), crews=crews)
    rows = []
    for crew in crews:
        one, two = site["stops"].query("crew_id == @crew")["stone_id"]
        for seq, (kind, place, arrive, start, end) in enumerate([
            ("apply", one, "08:05", "08:05", "08:15"), ("work", two, "08:16", "08:16", "08:21"),
            ("scrub", one, "08:22", "08:27", "08:40"), ("refill", "BS1", "08:45", "08:45", "08:49"),
            ("break", None, "08:49", "08:49", "09:19"),
        ], 1):  # fmt: skip
            rows.append({"crew_id": crew, "day": "2026-12-02", "seq": seq, "kind": kind, "place_id": place,
                         "arrive_at": arrive, "start_at": start, "end_at": end})  # fmt: skip
    days = site["crew_days"].assign(leave_at="08:00", return_at="09:25")
    return current(site.with_layers({"crew_steps": pd.DataFrame(rows), "crew_days": days}))


def minutes(one: Any) -> tuple[str, str, float, float]:
    return one.kind, one.label, one.from_s / 60 - 480, one.to_s / 60 - 480


def test_lanes_are_walks_waits_and_steps_without_a_gap_and_soaks_below() -> None:
    site = timed()
    lane = lanes_of(site, crew_days(site))[0]
    assert [minutes(one) for one in lane.hands] == [
        ("step_walk", "", 0, 5), ("step_apply", "1", 5, 15), ("step_walk", "", 15, 16), ("step_work", "2", 16, 21),
        ("step_walk", "", 21, 22), ("step_wait", "", 22, 27), ("step_scrub", "1", 27, 40), ("step_walk", "", 40, 45),
        ("step_refill", "", 45, 49), ("step_break", "", 49, 79), ("step_walk", "", 79, 85),
    ]  # fmt: skip
    assert [[minutes(one) for one in row] for row in lane.soaks] == [[("step_soak", "1", 15, 27)]]


def test_the_sample_days_lanes_fill_each_crews_day_and_never_leave_their_soaks(sample_run: Site) -> None:
    lanes = lanes_of(sample_run, crew_days(sample_run))
    assert len(lanes) == len(sample_run["crew_days"].query("stones_n > 0"))
    for lane in lanes:
        ends = [one.to_s for one in lane.hands[:-1]]
        assert [one.from_s for one in lane.hands[1:]] == ends
        assert all(a.to_s <= b.from_s for row in lane.soaks for a, b in pairwise(row))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("crews_n", [1, 2, 7, MOST_CREWS])
def test_a_day_is_one_page_on_its_side_with_every_crew_and_no_word_over_another(crews_n: int, paper: str) -> None:
    names = tuple(f"K{k}" for k in range(crews_n))
    pdf = day_strips(timed(names), paper=paper)
    assert pdf is not None
    [page] = pdftext.pages(pdf)
    assert all(f"Crew {name}" in page.text for name in names)
    assert not pdftext.overlaps(page)
    assert not pdftext.outside(page, MARGIN_PT)
    box = PdfReader(io.BytesIO(pdf)).pages[0].mediabox
    assert box.width > box.height


def test_the_key_names_every_kind_of_step_and_crews_beyond_a_page_get_another() -> None:
    pdf = day_strips(timed(tuple(f"K{k}" for k in range(MOST_CREWS + 1))))
    assert pdf is not None
    pages = pdftext.pages(pdf)
    assert len(pages) == 2
    assert all(symbol(f"step_{kind}").words in pages[0].text for kind in STEPS)
    assert set(HATCHED) == set(HATCHES)


def test_the_stop_line_and_the_leaders_post_stand_on_the_page_of_the_day() -> None:
    led = led_site()
    first = led["stops"].query("crew_id == 'V1'")["stone_id"].iloc[0]
    steps = pd.DataFrame({"crew_id": ["V1"], "day": "2026-12-02", "seq": [1], "kind": ["work"], "place_id": [first],
                          "arrive_at": ["08:15"], "start_at": ["08:15"], "end_at": ["08:30"]})  # fmt: skip
    crews = led["crews"].assign(led_by="Ann")
    pdf = day_strips(current(led.with_layers({"crew_steps": steps, "crews": crews})))
    assert pdf is not None
    text = pdftext.pages(pdf)[0].text
    assert "stop 11:26" in text
    assert "Ann stands beside the 5th from the path in row 1" in text.replace("\n", " ")


def test_a_plan_without_times_has_no_page_of_the_day() -> None:
    assert day_strips(make_site(3)) is None
    assert day_strips(make_site(0)) is None


def read(file: Path) -> dict[str, Any]:
    made: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    return made


def test_geojson_holds_stops_spares_post_base_and_way_in_degrees_longitude_first(tmp_path: Path) -> None:
    site = led_site()
    first, second = (read(file) for file in write_day_geojson(site, tmp_path))
    kinds = [one["properties"]["kind"] for one in first["features"]]
    assert kinds == ["stop"] * 3 + ["spare"] * 2 + ["leader's post", "base", "way"]
    assert [one["properties"]["kind"] for one in second["features"]].count("spare") == 0
    assert "crs" not in first
    back = pyproj.Transformer.from_crs("EPSG:4326", site.info.crs, always_xy=True)
    stones = site["stones"].set_index("stone_id").geometry.centroid
    for one in first["features"][:5]:
        lon, lat = one["geometry"]["coordinates"]
        assert 100 < lon < 180
        at = shapely.Point(*back.transform(lon, lat))
        assert at.distance(stones[one["properties"]["stone_id"]]) < 0.002
    assert first["features"][-1]["geometry"]["type"] == "MultiLineString"


def test_geojson_leaves_private_words_out_unless_they_are_asked_for(tmp_path: Path) -> None:
    site = led_site()
    plain = [file.read_text(encoding="utf-8") for file in write_day_geojson(site, tmp_path / "a")]
    asked = [file.read_text(encoding="utf-8") for file in write_day_geojson(site, tmp_path / "b", with_names=True)]
    assert not any("K.M." in one or "find_me" in one for one in plain)
    assert all("K.M. 188" in one for one in asked)


def test_geojson_is_read_by_a_general_library_and_the_same_each_time(tmp_path: Path) -> None:
    import geopandas as gpd

    [file, _] = write_day_geojson(led_site(), tmp_path / "a")
    frame: Any = gpd.read_file(file)
    assert len(frame) == 8
    assert frame.crs.to_epsg() == 4326
    [again, _] = write_day_geojson(led_site(), tmp_path / "b")
    assert file.read_bytes() == again.read_bytes()
