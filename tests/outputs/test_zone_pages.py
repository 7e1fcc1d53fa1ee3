"""Zone pages: one line per head, worst first, and no more said than was worked out."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from gravegis.errors import SettingError
from gravegis.outputs import words
from gravegis.outputs.zone_pages import write_zone_pages, zone_pages
from gravegis.site import ResultRecord, Site, SiteInfo
from tests.outputs import pdftext
from tests.outputs.current import current

if TYPE_CHECKING:
    from pathlib import Path

CRS = "EPSG:7854"
MARGIN_PT = 10 / 25.4 * 72 - 0.6
LONG = "weathered " * 60
RANKS = {"HA": 2, "HB": 4, "HC": 1, "HD": 3, "HE": 5}
ZONES = {"HA": "Z1", "HB": "Z1", "HC": "Z2", "HD": None, "HE": "Z1"}


def make_site(**heads: Any) -> Site:
    """Return five heads in two zones and without a zone, four stones, and a zone nobody put a head in."""
    ids = sorted(RANKS)
    points = [shapely.Point(372000.0 + 11 * k, 6250000.0) for k in range(5)]
    stones = pd.DataFrame({"stone_id": [f"S{k}" for k in range(4)], "section": "A", "row": "3",
                           "place_in_row": [1, 2, 3, 4], "position_error_m": [0.05, 4.0, None, 0.05]})  # fmt: skip
    near = ["S0", "S1", "S2", "S3", "S3"]
    links = [(f"S{k}", head, float(k)) for head in ("HA", "HC") for k in (2, 0, 1)]
    layers = {
        "heads": gpd.GeoDataFrame(
            {"head_id": ids, "zone_id": [ZONES[one] for one in ids], "kind": "rotor",
             "tag": ["7", None, "9", "HD", None], "position_error_m": 0.05,
             "fault": ["none", None, "tilted", "none", None], "tilt_deg": [None, None, 12, None, None],
             **heads}, geometry=points, crs=CRS),
        "stones": gpd.GeoDataFrame(stones, geometry=[point.buffer(0.2) for point in points[:4]], crs=CRS),
        "zones": pd.DataFrame({"zone_id": ["Z1", "Z2", "Z9"], "source_id": "bore",
                               "notes": ["by the gate", None, None]}),
        "schedules": pd.DataFrame({"schedule_id": ["R1"], "zone_id": "Z1", "program": "A", "start_at": "03:30",
                                   "run_min": 20, "cycles_n": 2, "soak_min": 25, "every": "mon,fri",
                                   "from_on": "10-01", "to_on": "04-30", "adjust_pct": "80"}),
        "throws_computed": gpd.GeoDataFrame(
            {"head_id": ids, "zone_id": [ZONES[one] for one in ids],
             "pattern": ["part circle", "full circle", "full circle", "strip end", None],
             "throw_m": [10.5, 12.0, 9.0, None, None], "throw_low_m": [10.5, 9.0, 9.0, None, None],
             "throw_high_m": [10.5, 15.0, 9.0, None, None], "arc_from_deg": [270.0, 0, 0, 0, 0],
             "arc_sweep_deg": [180.0, 360, 360, 360, 360], "strip_length_m": [None, None, None, 7.5, None],
             "strip_width_m": [None, None, None, 1.5, None],
             "basis": ["measured", "by kind", "surveyed outline", "stated", None],
             "mend_first": [None, None, "tilted", None, None]},
            geometry=[point.buffer(9) for point in points], crs=CRS),
        "head_stones": pd.DataFrame({
            "head_id": ids, "zone_id": [ZONES[one] for one in ids], "near_n": [2, 0, 3, 1, 0], "half_n": 4,
            "edge_n": 5, "nearest_stone_id": near, "nearest_stone_m": [1.234, 3.27, 3.27, 0.4, 55.0],
            "rank": [RANKS[one] for one in ids]}),
        "wetting_links": pd.DataFrame(links, columns=["stone_id", "head_id", "distance_m"]),
    }  # fmt: skip
    site = Site(SiteInfo("Testground", CRS)).with_layers(layers)
    log = ResultRecord(
        "wetting", 1, {"near_m": 2.0}, 1, {}, {"head_stones": "x"}, (), (), ("arc unknown: full circle",)
    )
    return current(site.with_result({}, {}, log))


def big_site(count: int, text: str = "") -> Site:
    """Return one zone with many heads."""
    ids = [f"H{k:03d}x" for k in range(count)]
    more = {"tag": text, "fault": text, "kind": text} if text else {}
    points = [shapely.Point(372000.0 + k, 6250000.0) for k in range(count)]
    heads = gpd.GeoDataFrame({"head_id": ids, "zone_id": "Z1", **more}, geometry=points, crs=CRS)
    ranks = pd.DataFrame({"head_id": ids, "near_n": 1, "half_n": 1, "edge_n": 1, "rank": range(count, 0, -1)})
    return Site(SiteInfo("Testground", CRS)).with_layers({"heads": heads, "head_stones": ranks})


def bare_site() -> Site:
    """Return heads of which nothing is known but their place."""
    heads = gpd.GeoDataFrame({"head_id": ["H1", "H2"]}, geometry=[shapely.Point(0, 0), shapely.Point(9, 9)], crs=CRS)
    return Site(SiteInfo("Testground", CRS)).with_layers({"heads": heads})


CASES = {
    "usual": make_site(),
    "bare": bare_site(),
    "60 heads": big_site(60),
    "long texts": big_site(12, LONG),
    "hostile texts": big_site(5, "A&B <b>\u202eevil\n</para> \u0001 %s {x} ﷽"),
}


@cache
def printed(case: str, paper: str = "A4") -> bytes:
    return zone_pages(CASES[case], made_on="2026-11-25", paper=paper)


def page_of(text: str) -> str:
    [page] = [page.text for page in pdftext.pages(printed("usual")) if page.text.startswith(text)]
    return page


def line_of(head: str) -> list[str]:
    """Return from left to right rank, head, counts and nearest stone: the words set larger than the rest."""
    [page] = [one for one in pdftext.pages(printed("usual")) if one.text.startswith(f"Zone {ZONES[head]}")]
    [own] = [word for word in page.words if word.text == head and word.top > 75]
    beside = [word for word in page.words if abs(word.top - own.top) < 3]
    kept = [word for word in beside if word.text.isdigit() or word.text in (head, "S0")]
    return [word.text for word in sorted(kept, key=lambda word: word.left)]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("case", CASES)
def test_no_word_lies_over_another_or_in_the_margin(case: str, paper: str) -> None:
    for page in pdftext.pages(printed(case, paper)):
        assert page.width > page.height
        assert not pdftext.overlaps(page)
        assert not pdftext.outside(page, MARGIN_PT)


def test_every_zone_has_its_page_and_heads_without_one_come_last() -> None:
    starts = [" ".join(page.text.split()[:2]) for page in pdftext.pages(printed("usual"))]
    assert starts == ["Zone Z1:", "Zone Z2:", "Zone Z9:", "Heads without"]


def test_heads_stand_on_the_page_of_their_zone_worst_first() -> None:
    lines = [word for word in page_of("Zone Z1").split() if word in RANKS]
    assert lines == ["HA", "HA", "HB", "HE"]  # the title names the first
    assert [word for word in page_of("Heads without").split() if word in RANKS] == ["HD", "HD"]


def test_title_says_where_to_look_first() -> None:
    assert page_of("Zone Z1").startswith(
        "Zone Z1: look here first: head HA (tag 7) 11 stones inside its throw, 2 within 2 m by positions good to "
        "about 4 m."
    )
    assert page_of("Zone Z9").startswith("Zone Z9: no head of it is recorded")


def test_line_of_a_head_tells_fault_pattern_counts_and_stones() -> None:
    first = page_of("Zone Z1")
    assert "none seen" in first
    assert "not looked at" in first  # nobody looked at HB: not the same as no fault
    assert "turns 180°, from west (270°) clockwise to east (90°)" in first
    assert "throw 10.5 m (measured)" in first
    assert "throw assumed from its kind, 9 to 15 m" in first
    assert "throw not known" in first
    assert "S0, S1, S2" in first  # nearest first
    assert line_of("HA") == ["2", "HA", "2", "4", "5", "S0"]
    second = page_of("Zone Z2")
    assert "12° from upright" in second
    assert "mend first, then measure again" in second
    assert "Rotor, strip end; 7.5 × 1.5 m; towards north (0°)" in page_of("Heads without")


def test_distances_carry_the_digits_the_positions_allow() -> None:
    first = page_of("Zone Z1")
    assert "1.2 m" in first  # both positions good to 0.05 m
    assert "about 5 m" in first  # 3.27 m to a stone good to 4 m only
    assert "about 5 m" in page_of("Zone Z2")  # 3.27 m, nothing known of the stone: 4 m is taken


def test_where_is_told_from_the_nearest_stone_or_by_coordinates() -> None:
    stones = CASES["usual"]["stones"]
    apart = CASES["usual"].with_layers(
        {"stones": stones.assign(geometry=gpd.GeoSeries(stones.geometry).translate(-1.2, 0.0))}
    )
    assert "near the 1st from the path in row 3, section A" in page_of("Zone Z1")  # drawn on one spot: no direction
    assert "east of the 1st from the path in row 3, section A" in pdftext.pages(zone_pages(apart))[0].text
    text = pdftext.pages(printed("bare"))[0].text
    assert text.startswith("Heads without a zone: stones near each head were not counted")
    nowhere = zone_pages(make_site().without(("stones",)))
    assert "E 372000, N 6250000" in pdftext.pages(nowhere)[0].text


def test_places_by_phone_are_told_no_finer_than_they_are() -> None:
    links = pd.DataFrame({"stone_id": ["S0"], "head_id": ["HA"], "distance_m": [1.2]})
    site = make_site(position_error_m=None).with_layers({"wetting_links": links})
    rough = site.with_layers({"stones": site["stones"].assign(position_error_m=None)})
    text = pdftext.pages(zone_pages(rough))[0].text
    assert "2 within 2 m by positions good to about 6 m." in text  # two errors of 4 m, taken for want of better
    assert "less than 10 m" in text
    assert "1.2 m" not in text
    fine = site.with_layers({"heads": site["heads"].assign(position_error_m=0.05)})
    assert "by positions" not in pdftext.pages(zone_pages(fine))[0].text


def test_look_counts_over_the_whole_site_and_says_so() -> None:
    assert "look (whole site)" in " ".join(page_of("Zone Z1").split())


def test_zones_stand_in_the_order_people_count_in() -> None:
    site = make_site(zone_id=["Z10", "Z2", "Z2", "Z10", "Z1"])
    starts = [page.text.split()[1] for page in pdftext.pages(zone_pages(site.without(("zones",))))]
    assert starts == ["Z1:", "Z2:", "Z10:"]


def test_page_says_when_the_zone_runs_and_what_was_assumed() -> None:
    first = page_of("Zone Z1")
    assert (
        "Program A: from 03:30, 2 times 20 min with 25 min rest between, on Monday, Friday, from 1 October to "
        "30 April, adjusted to 80 %." in first
    )
    assert "Water: bore. By the gate" in first
    assert "arc unknown: full circle" in first
    assert "When it runs is not recorded" in page_of("Zone Z2")


def test_page_says_what_it_does_not_know_and_leaves_room_to_write() -> None:
    for page in pdftext.pages(printed("usual")):
        assert "No depth of water and no faces of stones" in page.text
        assert "Looked at by" in page.text
        assert "safe" not in page.text.lower().split()
    assert "do this done" in page_of("Zone Z1")


def test_long_lists_of_stones_are_counted_and_the_rest_is_named() -> None:
    site = make_site()
    links = pd.DataFrame({"stone_id": [f"S{k:02d}" for k in range(30)], "head_id": "HA", "distance_m": range(30)})
    text = pdftext.pages(zone_pages(site.with_layers({"wetting_links": links})))[0].text
    assert "and 22 more" in text
    assert "all of them stand in stones_by_head.csv" in text


def test_sixty_heads_of_a_zone_are_all_there_in_order_of_rank() -> None:
    heads = CASES["60 heads"]["heads"]["head_id"].tolist()
    pages = pdftext.pages(printed("60 heads"))
    found = [word.text for page in pages for word in page.words if word.text in heads and word.top > 75]
    assert found == heads[::-1]
    for k, page in enumerate(pages, 1):
        assert page.text.startswith("Zone Z1: look here first: head H059x")
        assert f"page {k} of {len(pages)}" in page.text


def test_sample_zones_stand_on_a_page_each_and_the_biggest_on_two(sample_run: Site) -> None:
    """Twelve heads fit a page; sixteen go on to a second one."""
    titles = [page.text.split()[1].rstrip(":") for page in pdftext.pages(zone_pages(sample_run))]
    assert titles == ["Z1", "Z2", "Z3", "Z4", "Z5", "Z5", "Z6", "Z7", "Z8"]


def test_pages_of_a_sample_zone_hold_all_its_heads_and_no_other(sample_run: Site) -> None:
    heads = sample_run["heads"]
    pages = pdftext.pages(zone_pages(sample_run))
    every, found = set(heads["head_id"]), dict[str, set[str]]()
    for page in pages:
        zone = page.text.split()[1].rstrip(":")
        found.setdefault(zone, set()).update(word.text for word in page.words if word.text in every)
    assert found == {zone: set(some) for zone, some in heads.groupby("zone_id")["head_id"]}


@pytest.mark.parametrize("case", CASES)
def test_fonts_are_embedded_and_bytes_are_the_same_each_time(case: str) -> None:
    assert pdftext.fonts_not_embedded(printed(case)) == []
    assert zone_pages(CASES[case], made_on="2026-11-25") == printed(case)


def test_site_without_heads_gives_no_pages(tmp_path: Path) -> None:
    assert write_zone_pages(Site(SiteInfo("Nothing", CRS)), tmp_path / "zones.pdf") is None
    assert not (tmp_path / "zones.pdf").exists()


def test_unknown_paper_is_refused() -> None:
    with pytest.raises(SettingError, match="no paper 'Foolscap'"):
        zone_pages(CASES["bare"], paper="Foolscap")


@pytest.mark.parametrize(
    ("every", "said"),
    [
        ("daily", "every day"), ("odd", "on odd dates"), ("mon,wed,fri", "on Monday, Wednesday, Friday"),
        ("2d from 2026-10-01", "every 2nd day, counted from 1 October 2026"), ("1d", "every day"),
        ("when dry", "days as typed: when dry"), (None, "days not known"),
    ],
)  # fmt: skip
def test_days_of_a_programme_in_words(every: str | None, said: str) -> None:
    line = {"start_at": "05:00", "run_min": 12.5, "every": every}
    assert words.runs(line) == f"Runs: from 05:00, 12.5 min, {said}."


def test_programme_without_figures_says_so() -> None:
    assert words.runs({"kind": "ad hoc"}) == "By hand: start not known, minutes not known, days not known."


@pytest.mark.parametrize(
    ("start", "sweep", "said"),
    [(0, 90, "turns 90°, from north (0°) clockwise to east (90°)"),
     (350, 30, "turns 30°, from north (350°) clockwise to north (20°)"), (0, 360, ""), (None, 90, "")],
)  # fmt: skip
def test_turns_in_words(start: float | None, sweep: float, said: str) -> None:
    assert words.turn(start, sweep) == said


@pytest.mark.parametrize(
    ("value", "error", "said"),
    [(3.27, None, "about 3 m"), (0.3, None, "less than 1 m"), (3.27, 0.05, "3.3 m"), (3.27, 4.0, "about 5 m"),
     (1.2, 5.7, "less than 10 m"), (7.0, 5.7, "about 10 m"), (3.27, 1.4, "about 4 m"), (23.0, 40.0, "about 20 m"),
     (3.274, 0.005, "3.27 m"), (None, 0.1, "")],
)  # fmt: skip
def test_distances_carry_no_more_digits_than_their_error_allows(
    value: float | None, error: float | None, said: str
) -> None:
    assert words.metres(value, error) == said


@pytest.mark.parametrize(
    ("count", "said"), [(1, "1st"), (2, "2nd"), (3, "3rd"), (4, "4th"), (11, "11th"), (12, "12th"), (13, "13th"),
                        (21, "21st"), (102, "102nd"), (111, "111th")],
)  # fmt: skip
def test_ordinals(count: int, said: str) -> None:
    assert words.ordinal(count) == said


@pytest.mark.parametrize(
    ("stone", "said"),
    [
        ({"place_in_row": 4, "row": "3", "section": "A"}, "4th from the path in row 3, section A"),
        ({"row": "Row 7", "section": None}, "Row 7"),
        ({"place_in_row": 4, "section": "A"}, "section A"),
        ({}, ""),
    ],
)
def test_place_in_words(stone: dict[str, Any], said: str) -> None:
    assert words.place(stone) == said


def test_reasons_that_cannot_be_read_are_left_out_and_unknown_codes_shown() -> None:
    assert words.reasons("not json") == ()
    assert words.reasons('{"code": 1}') == ()
    assert words.reasons('[{"code": "from_elsewhere", "values": {"n": 2}}]') == ("from_elsewhere n=2",)
    assert words.reasons('[{"code": "crew_may_treat", "values": {}}]') == ("crew_may_treat",)


def test_stones_that_a_stream_strikes_come_first_and_the_page_says_what_it_knows() -> None:
    site = make_site()
    links = site["wetting_links"]
    mine = (links["head_id"] == "HA") & links["stone_id"].isin(["S1", "S2"])
    counts = site["head_stones"].assign(struck_n=[2 if head == "HA" else 0 for head in site["head_stones"]["head_id"]])
    struck = site.with_layers({"wetting_links": links.assign(struck=mine), "head_stones": counts})
    text = " ".join(next(page.text for page in pdftext.pages(zone_pages(struck)) if "HA" in page.text).split())
    assert "11 stones inside its throw, 2 struck by its stream, 2 within 2 m" in text
    assert "2 struck: S1, S2; others: S0" in text
    assert "and whether its stream strikes it" in text
    assert "Not taken into account: wind" in text
    plain = " ".join(page_of("Zone Z1").split())
    assert "nothing of its stream" in plain
    assert "struck by its stream" not in plain
