"""Crew sheets: every stop once, whole, readable, and nothing on them that could send somebody to the wrong stone."""

from __future__ import annotations

import io
import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
import zxingcpp
from pypdf import PdfReader

from gravegis.errors import SettingError
from gravegis.outputs import not_today, words
from gravegis.outputs.crew_sheet import crew_sheet, write_crew_sheets
from gravegis.outputs.days import crew_days, file_stem
from gravegis.outputs.paper import clean
from gravegis.site import ResultRecord, Site, SiteInfo
from tests.outputs import pdftext
from tests.outputs.current import current

if TYPE_CHECKING:
    from collections.abc import Sequence

CRS = "EPSG:7854"
MARGIN_PT = 10 / 25.4 * 72 - 0.6  # the margin of the sheets, less what a rounded glyph box may stick out
BOX_PT = 4 / 25.4 * 72
EAST, NORTH = 372000.0, 6250000.0
LONG = "weathered " * 60
HOSTILE = "A&B <b>\u202eevil\u202c\n</para> \u0001 %s {x} ﷽ 漢字"


def make_site(
    stops: int, *, crews: Sequence[str] = ("C1",), spare: int = 3, more: dict[str, Any] | None = None
) -> Site:
    """Return a site with so many stops shared out among crews, some stones left over, and a log."""
    count = stops + spare
    ids = [f"Q{k:04d}x" for k in range(count)]
    stones: dict[str, Any] = {
        "stone_id": ids,
        "section": "B",
        "row": [str(k // 10 + 1) for k in range(count)],
        "place_in_row": [k % 10 + 1 for k in range(count)],
        "tag": [f"T{k}" if k % 3 else None for k in range(count)],
        "find_me": [f"K.M. {1880 + k}" for k in range(count)],
        "material": "marble",
        "form": "tablet",
        "height_m": 0.93,
        "stability": ["firm" if k % 2 else "unchecked" for k in range(count)],
        "stability_on": "2026-10-01",
        **(more or {}),
    }
    places = [(EAST + 2.7 * (k // 10), NORTH + 1.2 * (k % 10)) for k in range(count)]
    boxes = [shapely.box(x - 0.3, y - 0.1, x + 0.3, y + 0.1) for x, y in places]
    layers = {
        "stones": gpd.GeoDataFrame(stones, geometry=boxes, crs=CRS),
        "crews": pd.DataFrame({"crew_id": list(crews), "people_n": 2, "shift_from": "08:00", "base_id": "BS1"}),
        "bases": gpd.GeoDataFrame({"base_id": ["BS1"]}, geometry=[shapely.Point(EAST - 8, NORTH - 6)], crs=CRS),
        "worklist": _worklist(ids),
        **_plan(ids[:stops], places, crews),
        "unplanned": pd.DataFrame({"stone_id": ids[stops:], "reason": "NO_TIME_LEFT", "detail": "late: by 9 min"}),
    }
    site = Site(SiteInfo("Testground", CRS, time_zone="Australia/Adelaide")).with_layers(layers)
    record = ResultRecord("routes", 1, {}, 1, {}, {"stops": "x"}, (), (), ("paths: no paths, straight lines",))
    return current(site.with_result({}, {}, record))


def _worklist(ids: Sequence[str]) -> pd.DataFrame:
    reasons = [{"code": "stays", "values": {"pattern": "staining"}}]
    return pd.DataFrame({
        "stone_id": ids, "treatment": "clean: water and soft brush", "who": "crew", "work_min": 20.0, "priority": 2,
        "first_step": ["leader checks first" if k % 2 == 0 else None for k in range(len(ids))],
        "reasons": [json.dumps(reasons if k % 4 == 0 else []) for k in range(len(ids))],
    })  # fmt: skip


def _plan(ids: Sequence[str], places: Sequence[tuple[float, float]], crews: Sequence[str]) -> dict[str, Any]:
    stops: list[dict[str, Any]] = []
    legs: list[dict[str, Any]] = []
    for n, crew in enumerate(crews):
        before = (EAST - 8, NORTH - 6)
        for seq, k in enumerate(range(n, len(ids), len(crews)), 1):
            day = {"crew_id": crew, "day": "2026-12-02", "seq": seq}
            at = f"{8 + seq // 4:02d}:{seq % 4 * 15:02d}:00"
            stops.append({**day, "stone_id": ids[k], "arrive_at": at, "leave_at": at, "work_min": 20.0})
            legs.append({**day, "length_m": 5.0, "geometry": shapely.LineString([before, places[k]])})
            before = places[k]
    days = [{"crew_id": crew, "day": "2026-12-02", "stones_n": len(ids), "work_min": 60.0, "length_m": 123.0,
             "leave_at": "08:00", "return_at": "11:00"} for crew in crews]  # fmt: skip
    made: dict[str, Any] = {"crew_days": pd.DataFrame(days)}
    if stops:
        made |= {"stops": pd.DataFrame(stops), "legs": gpd.GeoDataFrame(legs, geometry="geometry", crs=CRS)}
    return made


def sheets(site: Site, folder: Path, paper: str = "A4") -> dict[str, bytes]:
    files = write_crew_sheets(site, folder, made_on="2026-11-25", paper=paper)
    return {file.name: file.read_bytes() for file in files}


def crew_only(made: dict[str, bytes]) -> list[bytes]:
    return [pdf for name, pdf in made.items() if name.startswith("crew_")]


CASES: dict[str, Site] = {
    "no stop": make_site(0),
    "one stop": make_site(1, spare=0),
    "18 stops": make_site(18),
    "60 stops": make_site(60),
    "long texts": make_site(60, more={"find_me": LONG, "section": LONG, "form": LONG, "material": LONG}),
    "hostile texts": make_site(18, more={"find_me": HOSTILE, "row": HOSTILE, "tag": HOSTILE}),
    "nothing known": make_site(18)
    .without(("worklist", "bases", "crews", "legs", "crew_days"))
    .with_layers({"stones": make_site(18)["stones"][["stone_id", "geometry"]]}),
    "points only": make_site(18).with_layers(
        {"stones": make_site(18)["stones"].assign(geometry=lambda one: one.geometry.centroid)}
    ),
}


@cache
def printed(case: str, paper: str = "A4") -> dict[str, bytes]:
    """Return the files of a case, made once for all tests."""
    with TemporaryDirectory() as folder:
        return sheets(CASES[case], Path(folder), paper)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("case", CASES)
def test_no_word_lies_over_another_or_in_the_margin(case: str, paper: str) -> None:
    for pdf in printed(case, paper).values():
        for page in pdftext.pages(pdf):
            assert not pdftext.overlaps(page)
            assert not pdftext.outside(page, MARGIN_PT)


@pytest.mark.parametrize("case", CASES)
def test_every_planned_stone_is_named_once_and_no_other(case: str) -> None:
    site = CASES[case]
    planned = sorted(site["stops"]["stone_id"]) if "stops" in site else []
    found = [
        word.text
        for pdf in crew_only(printed(case))
        for page in pdftext.pages(pdf)
        for word in page.words
        if word.text in set(site["stones"]["stone_id"])
    ]
    assert sorted(found) == planned


def test_stones_of_several_crews_stand_on_their_own_sheets(tmp_path: Path) -> None:
    site = make_site(23, crews=("C1", "C2", "C3"))
    made = sheets(site, tmp_path)
    for crew in ("C1", "C2", "C3"):
        named = {word.text for page in pdftext.pages(made[f"crew_{crew}_2026-12-02.pdf"]) for word in page.words}
        own = site["stops"][site["stops"]["crew_id"] == crew]["stone_id"]
        assert named & set(site["stones"]["stone_id"]) == set(own)


@pytest.mark.parametrize("case", ["one stop", "60 stops", "long texts"])
def test_every_page_carries_crew_day_plan_and_count(case: str) -> None:
    site = CASES[case]
    [pdf] = crew_only(printed(case))
    read = pdftext.pages(pdf)
    for k, page in enumerate(read, 1):
        head = " ".join(word.text for word in page.words if word.top < 75)
        assert "Crew C1, Wednesday 2 December 2026" in head
        assert f"plan {words.plan_hash(site)}" in head
        assert "Testground. 2 people. Base: BS1." in head
        assert f"page {k} of {len(read)}" in page.text


def test_a_crew_without_stones_gets_no_sheet_and_the_desk_reads_that_it_stays(tmp_path: Path) -> None:
    made = sheets(make_site(2, crews=("Crew 10", "Crew 2", "Crew 1")), tmp_path)
    assert sorted(made) == ["crew_10_2026-12-02.pdf", "crew_2_2026-12-02.pdf", "not_today.pdf"]
    assert "Crew 1: no stones, stays at the base." in pdftext.pages(made["not_today.pdf"])[0].text
    first = pdftext.pages(made["crew_10_2026-12-02.pdf"])[0].text
    assert "1 stone for this crew today" in first
    assert "Crew 10, Wednesday" in first
    assert "Crew Crew" not in first


def test_crews_stand_in_the_order_people_count_in() -> None:
    days = crew_days(make_site(6, crews=("10", "2", "1")))
    assert [day.crew_id for day in days] == ["1", "2", "10"]


def test_without_a_base_the_sheet_says_where_crews_start_and_that_it_is_assumed(tmp_path: Path) -> None:
    site = make_site(3).without(("bases",))
    [day] = crew_days(site)
    west, south, east, north = site["stones"].total_bounds
    assert day.base["geometry"].equals(shapely.Point((west + east) / 2, (south + north) / 2))
    [pdf] = crew_only(sheets(site, tmp_path))
    front = pdftext.pages(pdf)[0].text
    assert "Base: assumed: middle of the stones, no base is known" in front
    assert "base (assumed)" in front


def test_a_crew_without_a_base_of_its_own_starts_at_the_first_one() -> None:
    site = make_site(3)
    [day] = crew_days(site.with_layers({"crews": site["crews"].assign(base_id=None)}))
    assert day.base["base_id"] == "BS1"


def test_a_walk_without_length_gives_a_sheet(tmp_path: Path) -> None:
    site = make_site(2, spare=0)
    spot = shapely.LineString([(EAST, NORTH)] * 2)
    legs = site["legs"].assign(geometry=gpd.GeoSeries([spot, shapely.LineString()], crs=CRS))
    assert len(crew_only(sheets(site.with_layers({"legs": legs}), tmp_path))) == 1


def test_signs_that_cannot_be_printed_are_explained_once_a_sheet() -> None:
    for case, count in (("hostile texts", 1), ("18 stops", 0)):
        [pdf] = crew_only(printed(case))
        text = " ".join(" ".join(page.text.split()) for page in pdftext.pages(pdf))
        assert text.count(words.UNPRINTED) == count


def test_each_stop_has_its_number_and_a_box_of_four_millimetres() -> None:
    [pdf] = crew_only(printed("18 stops"))
    assert sum(side >= BOX_PT for side in pdftext.squares(pdf)) >= 18
    front = pdftext.pages(pdf)[0]
    numbers = [word.text for word in front.words if word.text.isdigit() and int(word.text) <= 18]
    assert set(map(str, range(1, 19))) <= set(numbers)  # the map on the front page numbers every stop


def test_table_head_comes_back_on_every_page_of_the_list() -> None:
    site = CASES["60 stops"]
    [pdf] = crew_only(printed("60 stops"))
    ids = set(site["stones"]["stone_id"])
    with_stops = [page for page in pdftext.pages(pdf) if ids & {word.text for word in page.words}]
    assert len(with_stops) > 3
    assert all("stone and how to recognise it" in page.text for page in with_stops)


def test_a_stop_is_never_torn_over_two_pages(tmp_path: Path) -> None:
    site = make_site(60, more={"find_me": LONG})
    [pdf] = crew_only(sheets(site, tmp_path))
    for page in pdftext.pages(pdf)[1:]:
        headings = sum(word.text in set(site["stones"]["stone_id"]) for word in page.words)
        if headings:
            assert page.text.count("Marble tablet.") == headings


def test_sheet_says_where_a_stone_stands_and_what_stands_beside_it(tmp_path: Path) -> None:
    site = make_site(3)
    kinds = ["tablet", "obelisk", "cross", "desk", "tablet", "tablet"]
    # words on a stone tell it; without them its neighbours do
    told = pd.Series(["K.M. 1880", None, None, None, None, None], dtype="str")
    form = site["stones"].assign(form=kinds, find_me=told)
    [pdf] = crew_only(sheets(site.with_layers({"stones": form}), tmp_path))
    text = " ".join(page.text for page in pdftext.pages(pdf))
    assert "2nd from the path in row 1, section B; between a marble tablet (nearer the path) and a marble cross" in text
    assert "“K.M. 1880”" in text
    assert "tag T1" in text


def test_tag_that_repeats_the_id_is_left_out(tmp_path: Path) -> None:
    site = make_site(4)
    same = site["stones"].assign(tag=site["stones"]["stone_id"])
    [pdf] = crew_only(sheets(site.with_layers({"stones": same}), tmp_path))
    assert "tag" not in [word.text for page in pdftext.pages(pdf) for word in page.words]


def test_without_rows_the_way_from_the_stop_before_is_told(tmp_path: Path) -> None:
    site = make_site(3)
    bare = site["stones"].drop(columns=["section", "row", "place_in_row"])
    [pdf] = crew_only(sheets(site.with_layers({"stones": bare}), tmp_path))
    text = " ".join(page.text for page in pdftext.pages(pdf))
    assert "About 10 m north-east of the base" in text  # from (-8, -6) to (0, 0)
    assert "About 1 m north of stop 1" in text  # 1.2 m along the row


@pytest.mark.parametrize("case", ["18 stops", "nothing known"])
def test_safety_words_are_on_the_front_page(case: str) -> None:
    [pdf] = crew_only(printed(case))
    front = pdftext.pages(pdf)[0].text
    for wanted in (
        "STOP and call the conservator", "Never alone:", "This sheet does not say that a stone may be leaned on",
        "Ambulance: address", "Gate and where it is", "Leader", "Phone", "20 L weigh 20 kg", "the label of the product",
        "Local rules",
    ):  # fmt: skip
        assert wanted in front
    assert "safe" not in front.lower().split()


def test_front_page_says_what_was_checked_and_what_was_not() -> None:
    [pdf] = crew_only(printed("18 stops"))
    front = pdftext.pages(pdf)[0].text
    assert "9 of 18 stones are recorded as firm (the oldest check 2026-10-01)" in front
    assert "9 start with the leader's check" in front
    assert "Not checked: how they stand today" in front


def test_what_stays_is_told_by_stop_in_plain_words(tmp_path: Path) -> None:
    [pdf] = crew_only(sheets(make_site(9), tmp_path))
    text = " ".join(page.text for page in pdftext.pages(pdf))
    assert "What will NOT come off today" in text
    assert "Orange stain: stops 1, 5, 9. A conservator's work: do not try." in text


def test_what_was_assumed_stands_on_the_sheet(tmp_path: Path) -> None:
    [pdf] = crew_only(sheets(make_site(2), tmp_path))
    text = " ".join(page.text for page in pdftext.pages(pdf))
    assert "Assumed" in text
    assert "paths: no paths, straight lines" in text
    assert "civil time, Australia/Adelaide" in text


def test_stones_left_over_stand_in_their_own_list_with_the_reason(tmp_path: Path) -> None:
    site = make_site(4, spare=5)
    pdf = sheets(site, tmp_path)["not_today.pdf"]
    text = " ".join(page.text for page in pdftext.pages(pdf))
    for stone in site["unplanned"]["stone_id"]:
        assert text.count(stone) == 1
    assert "Late (5)" in text
    assert text.count("by 9 min") == 5


def test_very_long_list_is_cut_and_says_where_the_rest_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(not_today, "MOST", 7)
    pdf = sheets(make_site(1, spare=12), tmp_path)["not_today.pdf"]
    text = " ".join(page.text for page in pdftext.pages(pdf))
    assert "Late (12)" in text
    assert "and 5 more: all in unplanned.csv" in text


@pytest.mark.parametrize("case", ["one stop", "60 stops", "hostile texts"])
def test_fonts_are_embedded(case: str) -> None:
    for pdf in printed(case).values():
        assert pdftext.fonts_not_embedded(pdf) == []


def test_same_plan_gives_the_same_bytes(tmp_path: Path) -> None:
    assert sheets(make_site(18), tmp_path) == printed("18 stops")


def test_same_bytes_in_another_process(tmp_path: Path) -> None:
    sheets(make_site(5), tmp_path / "here")
    code = (
        "import sys; from pathlib import Path; from tests.outputs.test_crew_sheet import make_site, sheets; "
        "sheets(make_site(5), Path(sys.argv[1]))"
    )
    root = Path(__file__).resolve().parents[2]
    there = {**os.environ, "PYTHONHASHSEED": "7", "PYTHONPATH": str(root)}
    subprocess.run([sys.executable, "-c", code, str(tmp_path / "there")], check=True, cwd=root, env=there)
    for file in sorted((tmp_path / "here").iterdir()):
        assert file.read_bytes() == (tmp_path / "there" / file.name).read_bytes()


def test_markup_in_typed_text_is_printed_not_obeyed(tmp_path: Path) -> None:
    site = make_site(2, more={"find_me": "Ann & <i>Bo</i>"})
    [pdf] = crew_only(sheets(site, tmp_path))
    assert "“Ann & <i>Bo</i>”" in " ".join(page.text for page in pdftext.pages(pdf))


@pytest.mark.parametrize(
    ("typed", "drawn"),
    [
        ("\u05d0\u05d1\u05d2 1890", "\u05d2\u05d1\u05d0 1890"),
        ("x \u05d0\u05b7\u05d1", "x \u05d1\u05d0\u05b7"),
        ("abc 12", "abc 12"),
        ("a\u200bb\u00adc", "abc"),
    ],
)
def test_letters_are_put_in_drawing_order_without_hidden_signs(typed: str, drawn: str) -> None:
    assert clean(typed) == drawn


def test_hostile_crew_names_stay_in_the_folder_and_do_not_collide(tmp_path: Path) -> None:
    site = make_site(6, crews=("../../x", "..-..-x", "C/1"))
    out = tmp_path / "deep" / "out"
    made = sheets(site, out)
    assert len(crew_only(made)) == 3
    assert {file.parent for file in tmp_path.rglob("*.pdf")} == {out}


def test_file_stems_differ_even_where_case_does_not_count() -> None:
    assert file_stem("crew", "a/b") == "crew_a-b"
    assert file_stem("crew", "A b", taken=["crew_a-b"]) == "crew_A-b_2"
    assert file_stem("…") == "x"


def test_sample_day_names_every_planned_stone_once_and_lies_within_its_pages(sample_run: Site, tmp_path: Path) -> None:
    made = sheets(sample_run, tmp_path)
    pages = [page for pdf in crew_only(made) for page in pdftext.pages(pdf)]
    ids = set(sample_run["stones"]["stone_id"])
    found = [word.text for page in pages for word in page.words if word.text in ids]
    assert sorted(found) == sorted([*sample_run["stops"]["stone_id"], *sample_run["spares"]["stone_id"]])
    assert len(found) > 10
    for page in pages:
        assert not pdftext.overlaps(page)
        assert not pdftext.outside(page, MARGIN_PT)
    assert max(len(pdf) for pdf in made.values()) < 500_000


def test_unknown_paper_is_refused_with_the_papers_there_are(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match=r"no paper 'A5'[\s\S]*A4, Letter"):
        write_crew_sheets(make_site(1), tmp_path, paper="A5")


def test_site_without_a_plan_gives_no_sheet(tmp_path: Path) -> None:
    assert write_crew_sheets(Site(SiteInfo("Nothing", CRS)), tmp_path) == []


def test_stops_come_in_their_order_even_beyond_nine() -> None:
    [day] = crew_days(make_site(12))
    assert [stop.seq for stop in day.stops] == list(range(1, 13))


def test_readers_of_pdf_agree_on_the_words(tmp_path: Path) -> None:
    [pdf] = crew_only(sheets(make_site(2), tmp_path))
    for one, other in zip(pdftext.pages(pdf), pdftext.by_pypdf(pdf), strict=True):
        assert sorted("".join(word.text for word in one.words)) == sorted("".join(word.text for word in other.words))


def test_each_way_of_working_has_its_own_steps_and_stops_say_way_hot_hours_and_day_to_look_again(
    tmp_path: Path,
) -> None:
    site = make_site(3, spare=0)
    same = site["worklist"].assign(
        treatment="clean: water, soft brush, quaternary-ammonium cleaner",
        method=["scrub now", "apply and leave", "scrub now"],
        steps=["Brush it | Rinse it | Look again the same day", "Leave it on", "Brush it | Rinse it | Look in 4 weeks"],
        not_from=["", "", "11:00"], not_to=["", "", "17:00"],
        due_on=["2026-12-02", "2027-01-27", "2026-12-30"],
    )  # fmt: skip
    said = " ".join(page.text for pdf in crew_only(sheets(current(site.with_layers({"worklist": same})), tmp_path))
                    for page in pdftext.pages(pdf))  # fmt: skip
    said = " ".join(said.split())
    for words_ in ("Leave it on", "the same day", "look in 4 weeks", "apply and leave", "2027-01-27", "2026-12-30"):
        assert words_ in said
    assert (
        "B: clean: water, soft brush, quaternary-ammonium cleaner (scrub now), stops 3: as A, steps 1 to 2, then"
        in said
    )
    assert "not from 11:00 to 17:00" in said


def test_pairs_of_the_sample_day_get_at_most_four_pages_each_numbered(sample_run: Site, tmp_path: Path) -> None:
    """Up to thirty stops; a pair with more, most of them looks, gets a page for each fifteen."""
    stops_n = sample_run["stops"].groupby("crew_id").size()
    for pdf in crew_only(sheets(sample_run, tmp_path)):
        read = pdftext.pages(pdf)
        crew = next(one for one in stops_n.index if f"Crew {one}," in read[0].text)
        more_n = max(0, int(stops_n[crew]) - 30)
        assert len(read) <= 4 + -(-more_n // 15)
        assert all(f"page {k} of {len(read)}" in page.text for k, page in enumerate(read, 1))


def test_cautions_come_before_the_day_and_what_a_crew_works_by_is_at_least_eleven_points() -> None:
    [pdf] = crew_only(printed("18 stops"))
    front = pdftext.pages(pdf)[0].text
    assert front.index("STOP and call") < front.index("18 stones for this crew")
    sizes: list[tuple[float, str]] = []

    def note(text: str, _cm: Any, _tm: Any, _font: Any, size: float) -> None:
        sizes.append((size, text))

    for page in PdfReader(io.BytesIO(pdf)).pages:
        page.extract_text(visitor_text=note)
    for wanted in ("Q0003x", "Marble tablet", "Never alone", "Grains, flakes", "look again", "You carry", "Checked:"):
        assert all(size >= 11 for size, text in sizes if wanted in text), wanted
    assert any("Q0003x" in text for _, text in sizes)


def test_end_of_the_soak_stands_in_the_margin_or_is_written_in(tmp_path: Path) -> None:
    site = make_site(2, spare=0)
    cleaned = site["worklist"].assign(treatment="clean: water, soft brush, quaternary-ammonium cleaner")
    bare = current(site.with_layers({"worklist": cleaned}))
    [pdf] = crew_only(sheets(bare, tmp_path / "a"))
    assert " ".join(page.text for page in pdftext.pages(pdf)).count("soak ends") == 2
    [day] = crew_days(bare)
    first = replace(day.stops[0], stop={**day.stops[0].stop, "soak_end_at": "08:25:00"})
    pdf = crew_sheet(bare, replace(day, stops=(first, day.stops[1])))
    assert "soak ends 08:25" in " ".join(" ".join(page.text.split()) for page in pdftext.pages(pdf))


def led_site() -> Site:
    """Two pairs of a leader who stands beside the third stop of the first pair, spares and a stop line."""
    site = make_site(6, crews=("V1", "V2"), spare=3)
    ids = list(site["stones"]["stone_id"])
    spare = {"crew_id": ["V1", "V1"], "day": "2026-12-02", "seq": [1, 2], "stone_id": ids[6:8], "work_min": 5.0}
    days = site["crew_days"].assign(post_by=ids[4], stop_at="11:26:00")
    return current(site.with_layers({"spares": pd.DataFrame(spare), "crew_days": days}))


def test_a_stop_line_parts_the_days_stones_from_spare_ones() -> None:
    site = led_site()
    first, second = (" ".join(page.text for page in pdftext.pages(crew_sheet(site, day))) for day in crew_days(site))
    first, second = " ".join(first.split()), " ".join(second.split())
    ids = list(site["stones"]["stone_id"])
    at = first.index("STOP HERE AT 11:26")
    assert [first.count(one) for one in ids] == [1, 0, 1, 0, 1, 0, 1, 1, 0]
    assert first.index(ids[4]) < at < first.index(ids[6]) < first.index(ids[7])
    assert "STOP HERE AT 11:26" in second
    assert "Time left before that" not in second


def test_the_leaders_post_is_told_by_stop_or_place_never_by_the_id_of_a_stone_of_others() -> None:
    first, second = (pdftext.pages(crew_sheet(led_site(), day))[0].text for day in crew_days(led_site()))
    assert "Leader: beside stop 3." in first
    assert "Leader: beside the 5th from the path in row 1, section B." in second


def test_a_picture_stands_beside_its_stone_where_leave_for_it_is_on_file(tmp_path: Path) -> None:
    from PIL import Image

    (tmp_path / "photos").mkdir()
    Image.new("RGB", (300, 200), "#888888").save(tmp_path / "photos" / "a.jpg")
    site = make_site(3)
    ids = list(site["stones"]["stone_id"])
    photos = pd.DataFrame({"photo_id": ["1", "2"], "stone_id": ids[:2], "file": ["a.jpg", "gone.jpg"]})
    site = current(site.with_layers({"photos": photos}))
    [day] = crew_days(site)
    assert _pictures_in(crew_sheet(site, day)) == 0
    assert _pictures_in(crew_sheet(site, day, photos=tmp_path / "photos")) == 1
    [file, _] = write_crew_sheets(site, tmp_path / "out" / ".making")
    assert _pictures_in(file.read_bytes()) == 1
    closed = site["worklist"].assign(reasons=json.dumps([{"code": "no_photographs", "values": {}}]))
    asked = current(site.with_layers({"worklist": closed}))
    assert _pictures_in(crew_sheet(asked, day, photos=tmp_path / "photos")) == 0


def _pictures_in(pdf: bytes) -> int:
    return sum(len(page.images) for page in PdfReader(io.BytesIO(pdf)).pages)


def test_soak_and_how_long_it_holds_stand_with_the_steps_and_the_label_comes_first(tmp_path: Path) -> None:
    site = make_site(2, spare=0)
    work = site["worklist"].assign(
        treatment="clean: water, soft brush, quaternary-ammonium cleaner", method="scrub now"
    )
    practice = current(site.with_layers({"worklist": work}))
    label = {"product_id": ["P"], "dwell_low_min": [3.0], "dwell_high_min": [8.0], "uses": ["marble, not limestone"]}
    labelled = current(practice.with_layers({"products": pd.DataFrame(label)}))
    said = []
    for folder, one in (("a", practice), ("b", labelled)):
        [pdf] = crew_only(sheets(one, tmp_path / folder))
        said.append(" ".join(" ".join(page.text for page in pdftext.pages(pdf)).split()))
    assert "Soak 5 to 15 min (common practice, the label decides)." in said[0]
    assert "Soak 3 to 8 min (label)." in said[1]
    assert "The label permits: marble, not limestone." in said[1]
    assert all("Holds about 365 days (common practice)." in one for one in said)


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="pages are drawn by pdftoppm")
def test_square_code_is_read_back_at_150_dots_an_inch(tmp_path: Path) -> None:
    site = CASES["18 stops"]
    (tmp_path / "a.pdf").write_bytes(crew_only(printed("18 stops"))[0])
    command = ["pdftoppm", "-r", "150", "-gray", "-f", "1", "-l", "1", "a.pdf", "page"]
    subprocess.run(command, check=True, cwd=tmp_path)
    [image] = tmp_path.glob("page*.pgm")
    found = zxingcpp.read_barcodes(_grey(image.read_bytes()))
    assert [one.text for one in found] == [f"C1_2026-12-02 {words.plan_hash(site)}"]


def _grey(pgm: bytes) -> Any:
    """Return a binary grey picture (P5) as an array."""
    _, wide, high, _ = pgm.split(maxsplit=4)[:4]
    return np.frombuffer(pgm[-int(wide) * int(high) :], dtype=np.uint8).reshape(int(high), int(wide))
