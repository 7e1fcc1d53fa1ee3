"""What each poor input must still give and must never give, from files through the command line.

The rows are those a site really has: a list of stones and a list of heads; no heads; no stones; no schedule, water,
weather, facing, findings, paths. What a later analysis owes is a strict expected failure that names it.
"""

from __future__ import annotations

import csv
import io
import math
import re
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import pypdf
import pytest

from gravegis import cli, pipeline, registry, store
from gravegis.errors import PluginError
from gravegis.layers import bring
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from pathlib import Path

E0, N0 = 372000.0, 6250000.0
THROW_M = 9.0
# Rows 2.5 m apart, stones 1.2 m apart, two heads among them and one far off.
STONES = {f"{row}-{place}": (1.2 * place, 2.5 * row) for row in range(1, 7) for place in range(1, 9)}
HEADS = {"h1": (3.0, 6.2), "h2": (8.5, 13.0), "h3": (60.0, 60.0)}
FAULTS = ("moss", "lichen", "iron stain", "green film")

LITRES = r"litre|\bl/m2|\d\s*(?:l|L|m3|mm)\b|mm/h"
HOURS = r"(?<!between 11 and 1)\d\s*(?:h|hours|hrs)\b|hours? of (?:wetting|spray)"  # the pages ask: 11 to 19 h?
SEASON = r"\d[^.:\n]*\ba season\b|season total"
FACES = r"worst.?face|(?:front|back|left|right|top) face|\bface_(?!heat|wetting)"  # names of layers
# "discolouration and deposit" is a family of findings
DEPOSITS = r"(?<!discolouration and )deposit|\blime left|\biron left|scale of lime"
UNIFORMITY = r"uniformity|low.quarter"
HEAD_CHANGES = r"turn (?:it|the head|head) |change the nozzle|cap (?:it|the head)|set the arc"


# --- files and runs -------------------------------------------------------------------------------------------------


def write(file: Path, rows: Iterable[Mapping[str, object]]) -> Path:
    listed = list(rows)
    with file.open("w", newline="", encoding="utf-8") as opened:
        writer = csv.DictWriter(opened, list(listed[0]))
        writer.writeheader()
        writer.writerows(listed)
    return file


def placed(places: Mapping[str, tuple[float, float]], key: str, **columns: Any) -> list[dict[str, object]]:
    """Return a row per place; a column is one value for all or a function of the name."""
    return [
        {key: name, "easting": E0 + x, "northing": N0 + y}
        | {column: value(name) if callable(value) else value for column, value in columns.items()}
        for name, (x, y) in places.items()
    ]


def square(x: float, y: float, side: float) -> str:
    corners = [(x, y), (x + side, y), (x + side, y + side), (x, y + side), (x, y)]
    return "POLYGON ((" + ", ".join(f"{E0 + a} {N0 + b}" for a, b in corners) + "))"


def say(*arguments: object) -> str:
    """Run one command, require that it ends well, and return all it printed."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as left:
        cli.main([str(one) for one in arguments])
    assert left.value.code in (0, None), err.getvalue()
    return out.getvalue() + err.getvalue()


@dataclass
class Mode:
    """A site made of files: what the commands printed, what they left in out/, and the site itself."""

    folder: Path
    printed: str
    checked: str

    @cached_property
    def site(self) -> Site:
        return store.load(self.folder)

    @property
    def out(self) -> Path:
        return self.folder / "out"

    @cached_property
    def names(self) -> set[str]:
        return {path.name for path in self.out.iterdir()}

    def table(self, name: str) -> list[dict[str, str]]:
        return list(csv.DictReader((self.out / name).read_text(encoding="utf-8-sig").splitlines()))

    @cached_property
    def texts(self) -> dict[str, str]:
        """Return all text a person can read: printed lines and every file of out/ but pictures."""
        texts = {"printed": self.printed, "check": self.checked}
        for path in sorted(self.out.iterdir()):
            if path.suffix == ".pdf":
                pages = "\n".join(page.extract_text() for page in pypdf.PdfReader(path).pages)
                texts[path.name] = " ".join(pages.split())
            elif path.suffix != ".png":
                texts[path.name] = path.read_text(encoding="utf-8-sig")
        return texts

    def said(self, pattern: str) -> list[str]:
        """Return where a person could read what a pattern matches.

        The worklist on paper tells hours and litres of the crews' own work, not of the spray; the check names the
        layers an analysis would give, by which nothing is given.
        """
        names_only = re.compile(r"(?m)^\s*gives .*$")
        return [
            f"{name}: ...{found.string[max(0, found.start() - 40) : found.end() + 20]}..."
            for name, text in self.texts.items()
            if name != "worklist.pdf"
            for found in re.finditer(pattern, names_only.sub("", text), flags=re.IGNORECASE)
        ]

    def filled(self, column: str) -> list[str]:
        """Return where a column of layers or tables whose name matches holds anything; the worklist tells of crews."""
        in_layers = [
            f"{layer}.{name}" for layer in self.site if layer != "worklist" for name in self.site[layer].columns
            if re.fullmatch(column, name) and self.site[layer][name].notna().any()
        ]  # fmt: skip
        tables = {path.name: self.table(path.name) for path in self.out.glob("*.csv") if path.name != "worklist.csv"}
        return in_layers + [
            f"{name}: {one}" for name, rows in tables.items() for row in rows[:1] for one in row
            if re.fullmatch(column, one) and any(other[one] for other in rows)
        ]  # fmt: skip

    @property
    def assumed(self) -> str:
        return (self.out / "assumed.txt").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def mode(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Mode]:
    """Return what makes a mode from rows of layers; made once each."""
    made: dict[str, Mode] = {}

    def make(name: str, *options: str, **layers: Sequence[Mapping[str, object]]) -> Mode:
        if name not in made:
            made[name] = run_files(tmp_path_factory.mktemp(name), *options, **layers)
        return made[name]

    return make


def run_files(folder: Path, *options: str, **layers: Sequence[Mapping[str, object]]) -> Mode:
    site = folder / "ground"
    said = [say("new", site, "--crs", "EPSG:7854")]
    for layer, rows in layers.items():
        crs = ("--crs", "EPSG:7854") if {"easting", "wkt"} & set(rows[0]) else ()
        unit = ("--column", "throw_m=radius m") if "radius" in rows[0] else ()
        said.append(say("add", site, layer, write(folder / f"{layer}.csv", rows), *crs, *unit))
    said.append(say("run", site, *options))
    return Mode(site, "\n".join(said), say("check", site))


def later(name: str) -> Any:
    """Return an analysis that is not built yet; PluginError until it is."""
    return registry.load(name)


def needs(name: str, raises: type[Exception] = PluginError) -> pytest.MarkDecorator:
    return pytest.mark.xfail(strict=True, raises=raises, reason=f"needs {name}")


def bare_stones(**columns: Any) -> list[dict[str, object]]:
    return placed(STONES, "id", **columns)


def bare_heads(**columns: Any) -> list[dict[str, object]]:
    return placed(HEADS, "id", **{"radius": THROW_M, **columns})


def findings() -> list[dict[str, object]]:
    return [
        {"finding_id": f"f{n}", "stone_id": name, "pattern": FAULTS[n % 4], "severity": 1 + n % 3}
        for n, name in enumerate(STONES)
    ]


def crews() -> list[dict[str, object]]:
    return [{"crew_id": "C1", "shift_from": "08:00", "shift_to": "12:00"}]


def hours() -> list[dict[str, object]]:
    return [{"schedule_id": "R1", "zone_id": "Z1", "start_at": "03:00", "run_min": 20, "every": "daily",
             "from_on": "10-01", "to_on": "04-30"}]  # fmt: skip


QUICK = ("--set", "routes.iterations_n=50")


# --- stones and heads with a radius only ----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def two_lists(mode: Callable[..., Mode]) -> Mode:
    return mode("two_lists", stones=bare_stones(), heads=bare_heads())


def test_two_lists_rank_heads_by_stones_near_to_half_and_to_the_edge(two_lists: Mode) -> None:
    ranked = two_lists.table("heads.csv")
    counts = {}
    for head, (x, y) in HEADS.items():
        away_m = [math.hypot(x - a, y - b) for a, b in STONES.values()]
        bands = ((0.0, 2.0), (2.0, THROW_M / 2), (THROW_M / 2, THROW_M))
        counts[head] = [sum(low < away <= high for away in away_m) for low, high in bands]
    assert {row["head_id"]: [int(row[n]) for n in ("near_n", "half_n", "edge_n")] for row in ranked} == counts
    assert [row["head_id"] for row in ranked] == sorted(HEADS, key=lambda head: [-n for n in counts[head]])
    assert [row["rank"] for row in ranked] == ["1", "2", "3"]


def test_two_lists_say_where_to_stand_and_give_one_map(two_lists: Mode) -> None:
    assert re.search(r"Stand at h\d, look at \d-\d", two_lists.printed)
    assert {name for name in two_lists.names if name.endswith("_map.pdf")} == {"wetting_map.pdf"}
    assert two_lists.table("worklist.csv")
    assert "Open first" in two_lists.printed


def test_two_lists_give_no_litres_season_zones_faces_hours(two_lists: Mode) -> None:
    for pattern in (LITRES, HOURS, SEASON, FACES, DEPOSITS, UNIFORMITY, HEAD_CHANGES, r"\bzone Z?\d"):
        assert two_lists.said(pattern) == []
    assert two_lists.filled(r"season_h|zone_id|.*face.*|.*_l(_.*)?|.*_mm(_.*)?|hours.*|condition_class|overall") == []


def test_two_lists_end_with_the_next_measurements(two_lists: Mode) -> None:
    asked = re.findall(r"^ *(\d+)\. (.+) \((\d+) stones?", two_lists.checked, flags=re.MULTILINE)
    assert [int(place) for place, _, _ in asked] == list(range(1, len(asked) + 1))
    assert 5 <= len(asked) <= 10
    counts = [int(count) for _, _, count in asked]
    assert counts == sorted(counts, reverse=True)
    for kind in ("Note where h", "Pace the throw of h", "Ask the superintendent", "Quick survey of", "Who checked"):
        assert any(words.startswith(kind) for _, words, _ in asked), kind


# --- and arcs by landmark -------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def arcs(mode: Callable[..., Mode]) -> Mode:
    return mode("arcs", stones=bare_stones(), heads=bare_heads(arc_from_deg=0, arc_sweep_deg=90))


def test_arcs_reach_fewer_stones_and_no_turn_is_assumed(arcs: Mode, two_lists: Mode) -> None:
    wet, before = ({row["stone_id"] for row in one.table("stones.csv") if row["reached"] == "yes"}
                   for one in (arcs, two_lists))  # fmt: skip
    east_of_h1 = {name for name, (x, y) in STONES.items() if x > HEADS["h1"][0] + 0.5 and 0.5 < y - HEADS["h1"][1] < 4}
    assert wet < before
    assert east_of_h1 <= wet
    assert not any(STONES[name][1] < min(HEADS["h1"][1], HEADS["h2"][1]) for name in wet - {"2-1"})
    assert "arc unknown" in two_lists.assumed
    assert "arc unknown" not in arcs.assumed


def test_arcs_give_no_uniformity(arcs: Mode) -> None:
    for pattern in (UNIFORMITY, LITRES, HOURS, SEASON):
        assert arcs.said(pattern) == []
    assert arcs.filled(r".*uniform.*|.*_du.*|season_h|.*_mm(_.*)?") == []


@needs("remedy")
def test_arcs_give_the_stones_freed_per_change(arcs: Mode) -> None:
    remedy = later("remedy")
    site = pipeline.run(arcs.site, ["remedy"]).site
    assert "head_changes" in remedy.gives
    assert set(site["head_changes"]["head_id"]) & {"h1", "h2"}


# --- no heads: wet areas or observations only -----------------------------------------------------------------------

WET = {"wet_areas": [{"wet_area_id": "w", "wkt": square(0, 0, 6)}],
       "observations": [{"observation_id": f"o{n}", "stone_id": name, "seen": "wetted", "seen_on": "2026-10-01"}
                        for n, (name, (x, y)) in enumerate(STONES.items()) if x <= 6 and y <= 6]}  # fmt: skip


@pytest.fixture(scope="module", params=sorted(WET))
def no_heads(mode: Callable[..., Mode], request: pytest.FixtureRequest) -> Mode:
    layers = {request.param: WET[request.param], "findings": findings(), "crews": crews()}
    return mode(f"no_heads_{request.param}", *QUICK, stones=bare_stones(), **layers)


def test_no_heads_give_the_wetted_list_the_harm_map_and_the_worklist(no_heads: Mode) -> None:
    wet = {row["stone_id"] for row in no_heads.table("stones.csv") if row["reached"] == "yes"}
    assert wet == {name for name, (x, y) in STONES.items() if x <= 6 and y <= 6}
    assert "Wetted as seen or drawn: 1-1, " in no_heads.printed
    assert {"condition_map.pdf", "heat_map.pdf", "wetting_map.pdf"} <= no_heads.names
    work = {row["stone_id"]: row for row in no_heads.table("worklist.csv")}
    assert set(work) == set(STONES)
    assert {row["who"] for row in work.values()} == {"crew", "conservator only"}


def test_no_heads_give_no_head_changes_and_no_pages_of_zones(no_heads: Mode) -> None:
    assert no_heads.said(HEAD_CHANGES) == []
    assert not {"heads.csv", "zones.pdf", "stones_by_head.csv"} & {
        name for name in no_heads.names if not name.endswith(".csv") or no_heads.table(name)
    }
    assert no_heads.filled(r"nearest_head.*|head_id|season_h") in ([], ["observations.head_id"])


def test_no_heads_give_evidence(no_heads: Mode) -> None:
    assert "evidence" in pipeline.run(no_heads.site, ["evidence"]).ran
    # wet ground drawn means the rest is dry; of stones nobody saw nothing is known: they are no dry stones
    dry_n = len(STONES) - 10 if no_heads.site.has("wet_areas") else 0
    assert f"Growth: stones are not compared with each other: 10 wetted and {dry_n} dry ones" in no_heads.printed
    assert not no_heads.site["association"]["measure"].str.startswith("odds ratio").any()


# --- no stones: sections, heads, photos -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def no_stones(mode: Callable[..., Mode]) -> Mode:
    sections = [{"section_id": "s1", "section": "A", "wkt": square(0, 0, 20)}]
    photos = [{"photo_id": "p1", "face": "front"}, {"photo_id": "p2", "face": "front"}]
    return mode("no_stones", sections=sections, heads=bare_heads(zone_id="Z1"), photos=photos)


def test_no_stones_give_the_ground_of_heads_and_say_what_is_lacking(no_stones: Mode) -> None:
    assert "Patterns of heads: 3 full circle." in no_stones.printed
    assert "wetting: not run, it needs stones" in no_stones.printed
    assert "there are no stones" in no_stones.checked
    assert [row["throw_m"] for row in no_stones.table("heads.csv")] == ["9"] * 3


def test_no_stones_give_no_flag_of_a_stone(no_stones: Mode) -> None:
    assert not {"stones.csv", "worklist.csv", "stones_by_head.csv", "wetting_map.pdf"} & no_stones.names
    assert not {"stone_wetting", "stone_condition", "worklist", "wetting_links"} & set(no_stones.site)
    assert no_stones.said(r"\d stones? (?:is|are) reached") == []


@needs("survey: zones by risk and the order in which to survey them", PluginError)
def test_no_stones_give_zones_by_risk_and_a_survey_order(no_stones: Mode) -> None:
    later("survey")
    assert "survey" in pipeline.run(no_stones.site, ["survey"]).ran


# --- no schedule ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def no_schedule(mode: Callable[..., Mode]) -> Mode:
    layers = {"heads": bare_heads(zone_id="Z1", kind="rotor", flow_l_min=15), "zones": [{"zone_id": "Z1"}]}
    return mode("no_schedule", stones=bare_stones(), **layers)


def test_no_schedule_gives_no_season_total_and_asks_for_the_programme(no_schedule: Mode) -> None:
    for pattern in (SEASON, HOURS, LITRES):
        # the flow a person typed is theirs, and what falls while it runs follows from it: by the hour, no total
        said = [one for one in no_schedule.said(pattern) if "flow" not in one.lower()]
        assert [one for one in said if pattern != LITRES or not re.search("an hour|/h|_h|hour", one)] == []
    assert no_schedule.filled(r"season_h|hours.*|.*_mm") == []
    assert "no hours a season" in no_schedule.assumed
    assert "Ask the superintendent for the programme of zone Z1" in no_schedule.checked
    assert "between 11 and 19 h" in no_schedule.texts["zones.pdf"]


def test_a_schedule_that_comes_later_gives_the_hours_and_takes_the_line_away(
    no_schedule: Mode, mode: Callable[..., Mode]
) -> None:
    layers = {"heads": bare_heads(zone_id="Z1", kind="rotor", flow_l_min=15), "zones": [{"zone_id": "Z1"}]}
    told = mode("schedule", stones=bare_stones(), **layers, schedules=hours())
    # 1 October to 30 April are 212 days of 20 minutes
    assert {row["season_h"] for row in told.table("stones.csv") if row["reached"] == "yes"} == {"70.7"}
    assert "no hours a season" not in told.assumed
    assert "programme of zone" not in told.checked


def test_no_schedule_gives_doses_per_hour_of_running(no_schedule: Mode) -> None:
    faces = no_schedule.site["face_wetting"]
    assert faces["rate_l_m2_h"].gt(0).any()
    assert faces["season_l_m2"].isna().all()


@needs("heat")
def test_no_schedule_gives_harm_per_hour_of_day(no_schedule: Mode) -> None:
    later("heat")
    assert "zone_hours" in pipeline.run(no_schedule.site, ["heat"]).site


# --- no water, no weather, no facing --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def no_water(mode: Callable[..., Mode]) -> Mode:
    layers = {"heads": bare_heads(zone_id="Z1"), "schedules": hours(), "findings": findings(), "crews": crews()}
    return mode("no_water", *QUICK, stones=bare_stones(), **layers)


def test_no_water_gives_wetting_and_condition_and_no_deposits(no_water: Mode) -> None:
    assert {"wetting_map.pdf", "condition_map.pdf", "worklist.csv"} <= no_water.names
    assert no_water.said(DEPOSITS) == []
    assert no_water.filled(r".*deposit.*|.*_mg(_.*)?|.*_g_m2") == []


def test_no_weather_gives_no_count_of_events(no_water: Mode) -> None:
    assert no_water.said(r"\d+ (?:quench|cold.water|thermal).{0,20}events?|events? a (?:day|season|year)") == []
    assert no_water.filled(r".*events?_n|.*quench.*|.*degc") == []


def test_no_facing_gives_no_worst_face(no_water: Mode) -> None:
    assert no_water.filled(r"worst_face|face|.*facing.*") == []
    assert no_water.said(r"worst.?face") == []


@needs("deposits")
def test_no_water_says_that_deposits_are_not_worked_out(no_water: Mode) -> None:
    later("deposits")
    skipped = {one.name: one.reason for one in pipeline.run(no_water.site).skipped}
    assert "water" in skipped["deposits"]


@needs("heat")
def test_no_water_and_no_weather_give_the_heat_of_a_design_day(no_water: Mode) -> None:
    later("heat")
    outcome = pipeline.run(no_water.site, ["heat"], typed={"heat": {"temp_low_degc": "16", "temp_high_degc": "34"}})
    notes = next(record.notes for record in outcome.site.log if record.analysis == "heat")
    assert any("design day" in note for note in notes)


def test_no_facing_gives_all_four_faces_by_the_compass_and_the_top(mode: Callable[..., Mode]) -> None:
    blocks = [
        {"id": name, "wkt": square(x, y, 0.5), "height_m": 0.9, "position_error_m": 0.05}
        for name, (x, y) in STONES.items()
    ]
    made = mode("no_facing", stones=blocks, heads=bare_heads(kind="rotor", flow_l_min=15, position_error_m=0.05))
    faces = made.site["face_wetting"].groupby("stone_id")["face"].agg(set)
    reached = made.site["stone_wetting"].set_index("stone_id")["reached"]
    assert set(faces.index) == set(reached.index[reached.fillna(value=False)])
    assert all(one == {"north", "east", "south", "west", "top"} for one in faces)
    assert made.site["face_wetting"]["struck"].any()
    assert made.site["stone_wetting"]["worst_face"].isna().all()


# --- no findings ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def no_findings(mode: Callable[..., Mode]) -> Mode:
    good = {"position_error_m": 0.05, "form": "headstone", "height_m": 0.8}
    heads = bare_heads(zone_id="Z1", position_error_m=0.05)
    return mode("no_findings", *QUICK, stones=bare_stones(**good), heads=heads, crews=crews())


def test_no_findings_give_an_inspection_route_that_takes_stones_near_heads_first(no_findings: Mode) -> None:
    work = {row["stone_id"]: row for row in no_findings.table("worklist.csv")}
    assert {row["treatment"] for row in work.values()} == {"look and record first"}
    near = {name for name, at in STONES.items() if min(math.dist(at, head) for head in HEADS.values()) <= 2.0}
    assert {name for name, row in work.items() if row["priority"] == "3"} == near
    stops = no_findings.table("stops.csv")
    assert near <= {row["stone_id"] for row in stops}
    assert {"crew_map.pdf", "crew_C1_day-1.pdf"} <= no_findings.names


def test_no_findings_give_no_condition_map_and_no_class_0(no_findings: Mode, two_lists: Mode) -> None:
    for one in (no_findings, two_lists):
        assert not {"condition_map.pdf", "condition_map.png", "heat_map.pdf", "share_damaged.tif"} & one.names
        assert {row["condition_class"] for row in one.table("stones.csv")} == {""}
        assert one.site["stone_condition"]["overall"].isna().all()
        assert one.site.grids == {}
        assert "there is no condition map" in one.printed
        assert one.said(r"\b0 (?:stones )?(?:minor|moderate|major)|all stones are sound|no damage") == []


def test_no_findings_ask_for_a_quick_survey(no_findings: Mode) -> None:
    assert "Quick survey of the 10 stones nearest to head h1" in no_findings.checked


@needs("face doses: wetting gives a dose a stone, by which stones are looked at", AssertionError)
def test_no_findings_give_the_route_by_dose(no_findings: Mode) -> None:
    assert "mm_h" in registry.load("wetting").gives["stone_wetting"]
    assert no_findings.site["stone_wetting"]["mm_h"].notna().any()


# --- no paths, no taps ----------------------------------------------------------------------------------------------


def test_no_paths_give_a_block_list_and_no_metre_with_a_decimal(no_water: Mode) -> None:
    assert no_water.site["clusters"]["stones_n"].sum() > 0
    assert re.search(r"G1 \(\d+ stones", no_water.printed)
    assert "No paths are known" in no_water.printed
    assert re.search(r"\d+ m on foot", no_water.printed)
    assert no_water.said(r"\d\.\d+ ?m (?:on foot|walk)|walk\w* [^.,;]{0,20}\d\.\d+ ?m\b") == []
    assert not any("walk_m" in row or "length_m" in row for name in no_water.names if name.endswith(".csv")
                   for row in no_water.table(name)[:1])  # fmt: skip
    assert "straight lines round barriers times 1.3" in no_water.assumed


def test_no_taps_give_the_litres_to_bring(no_water: Mode) -> None:
    assert "water_l" in registry.load("routes").gives["crew_days"]
    assert (no_water.site["crew_days"]["water_l"] > 0).any()


# --- paper alone ----------------------------------------------------------------------------------------------------


def test_paper_has_boxes_and_what_is_ticked_can_be_typed_back(tmp_path: Path) -> None:
    before = run_files(tmp_path, stones=bare_stones(), heads=bare_heads())
    page = before.texts["zones.pdf"]
    assert "run again:" in page
    assert re.search(r"done.*dry.*wet", page)
    ticked = write(tmp_path / "page.csv", [
        {"observation_id": "1", "head_id": "h1", "stone_id": "3-3", "seen": "dry", "seen_on": "2026-11-20"},
        {"observation_id": "2", "head_id": "h3", "stone_id": "1-8", "seen": "wetted", "seen_on": "2026-11-20"},
    ])  # fmt: skip
    say("add", before.folder, "observations", ticked)
    printed = say("run", before.folder)
    assert "Observed dry, model reached: 3-3 (h1)." in printed
    assert "Observed wet, model did not reach: 1-8 (h3)." in printed
    links = set(
        zip(*(store.load(before.folder)["wetting_links"][name] for name in ("stone_id", "head_id")), strict=True)
    )
    assert ("3-3", "h1") not in links
    assert ("1-8", "h3") in links


def test_paper_of_a_crew_has_a_place_to_write_for_each_stone(no_findings: Mode) -> None:
    sheet = no_findings.texts["crew_C1_day-1.pdf"]
    for row in no_findings.table("stops.csv"):
        assert row["stone_id"] in sheet
    assert re.search(r"actual|done|took", sheet, flags=re.IGNORECASE)


@needs("records: the sheets of a crew typed back")
def test_paper_of_a_crew_is_typed_back(no_findings: Mode) -> None:
    later("records")
    assert "treatments" in no_findings.site


@needs("field page, the counterpart of paper (outputs)", ImportError)
def test_a_phone_gives_what_paper_gives(no_findings: Mode) -> None:
    from gravegis.outputs import field_page  # type: ignore[attr-defined]

    assert field_page.write_field_pages(no_findings.site, no_findings.folder)


# --- each assumption printed is one that was made -------------------------------------------------------------------


def lines(mode: Mode, analysis: str) -> str:
    """Return what one analysis assumed, as the run printed it."""
    return "\n".join(next(record.assumed for record in mode.site.log if record.analysis == analysis))


def assumed_by(folder: Path, analysis: str, typed: Mapping[str, str] | None = None, **layers: Any) -> str:
    """Bring files in, run one analysis and what it builds on without drawing a page, and return what it assumed."""
    folder.mkdir()
    site = Site(SiteInfo("made", "EPSG:7854"))
    for layer, rows in layers.items():
        crs = "EPSG:7854" if {"easting", "wkt"} & set(rows[0]) else None
        unit = ["throw_m=radius m"] if "radius" in rows[0] else []
        site = bring.bring_in(site, layer, write(folder / f"{layer}.csv", rows), crs=crs, mapping=unit).site
    fast = {"iterations_n": "20"} if analysis == "routes" else {}
    done = pipeline.run(site, [analysis], typed={analysis: {**fast, **(typed or {})}})
    return "\n".join(next(record.assumed for record in done.site.log if record.analysis == analysis))


def test_every_line_of_the_box_is_printed_by_the_run_and_stands_on_paper(two_lists: Mode) -> None:
    for record in two_lists.site.log:
        for line in record.assumed:
            assert f": {line.split(': ', 1)[1]}\n" in two_lists.printed
    assert "arc unknown: a full circle" in two_lists.texts["wetting_map.pdf"]
    assert "arc unknown: a full circle" in two_lists.texts["zones.pdf"]


def test_a_throw_by_kind_is_assumed_until_it_is_given(tmp_path: Path, two_lists: Mode) -> None:
    heads = bare_heads(radius=lambda name: "" if name == "h1" else 9, kind="rotor")
    by_kind = assumed_by(tmp_path / "kind", "throw", heads=heads)
    assert "heads.throw_m (1 row): the middle of the range usual for the kind of head" in by_kind
    # h1 has no throw of which one could ask how it was got
    assert "heads.throw_basis (2 rows)" in by_kind
    assert "heads.throw_m" not in lines(two_lists, "throw")
    assert "heads.throw_basis (3 rows)" in lines(two_lists, "throw")
    measured = assumed_by(tmp_path / "told", "throw", heads=bare_heads(throw_basis="measured"))
    assert "throw_basis" not in measured


def test_a_turn_is_assumed_for_the_heads_that_lack_one_only(tmp_path: Path, arcs: Mode) -> None:
    some = assumed_by(tmp_path / "a", "throw", heads=bare_heads(arc_sweep_deg=lambda name: "" if name == "h2" else 360))
    assert "heads.arc_sweep_deg (1 row): arc unknown: a full circle" in some
    assert "arc_sweep_deg" not in lines(arcs, "throw")


def test_the_position_error_in_the_line_is_the_one_used(tmp_path: Path, two_lists: Mode) -> None:
    chosen = run_files(
        tmp_path, "wetting", "--set", "wetting.position_error_m=1.5", stones=bare_stones(), heads=bare_heads()
    )
    for made, taken in ((chosen, "1.5 m, as set"), (two_lists, "4 m, as by phone: unsourced default")):
        assert (
            f"stones, standard error of the position (48 rows): not known, nor how it was got: {taken}" in made.printed
        )
        assert f"heads, standard error of the position (3 rows): not known, nor how it was got: {taken}" in made.printed
        for file in ("wetting_map.pdf", "zones.pdf", "assumed.txt"):
            assert f"not known, nor how it was got: {taken}" in made.texts[file]
    assert "Positions are good to about 2 m only" in chosen.printed


def test_the_position_error_is_not_assumed_where_it_or_its_basis_is_known(
    tmp_path: Path, no_findings: Mode, no_heads: Mode
) -> None:
    assert "position_error_m" not in lines(no_findings, "wetting")
    # without heads no distance to a head is told, so no error is used
    assert "position_error_m" not in lines(no_heads, "wetting")
    stones = bare_stones(position_basis=lambda name: "tape" if name.startswith("1-") else "")
    told = assumed_by(tmp_path / "a", "wetting", stones=stones, heads=bare_heads(position_error_m=1))
    assert "stones.position_error_m (8 rows): by how it was got (tape 0.1 m" in told
    assert "stones.position_error_m (40 rows): not known, nor how it was got: 4 m" in told
    assert "heads.position_error_m" not in told


def test_stability_is_assumed_with_the_limits_used_and_only_where_it_is_missing(
    tmp_path: Path, two_lists: Mode
) -> None:
    stability = {
        "stability": lambda name: "" if name == "1-1" else "firm",
        "stability_on": lambda name: "" if name == "1-1" or name.startswith("2-") else "2026-11-01",
    }
    some = assumed_by(tmp_path / "some", "worklist", {"gate_height_m": "1.7"}, stones=bare_stones(**stability))
    assert "stones.stability (1 row): counts as unchecked: the leader checks first, above 1.7 m high" in some
    assert "stones.stability_on (8 rows): a check without a date counts as none" in some
    assert "ages of stability checks count from 2026-11-01" in some
    known = bare_stones(stability="firm", stability_on="2026-11-01")
    checked = assumed_by(tmp_path / "all", "worklist", {"as_of": "2026-11-20"}, stones=known)
    assert "stones.stability" not in checked
    assert "ages of stability checks" not in checked
    assert "stones.stability (48 rows)" in lines(two_lists, "worklist")
    # where nobody checked there is no check that lacks its date
    assert "stones.stability_on" not in lines(two_lists, "worklist")


def test_straight_walks_are_assumed_with_the_factor_used_until_there_are_paths(tmp_path: Path, no_water: Mode) -> None:
    layers: dict[str, Any] = {"stones": bare_stones(), "crews": crews()}
    far = assumed_by(tmp_path / "far", "routes", {"detour_factor": "1.7"}, **layers)
    assert "paths: straight lines round barriers times 1.7, at path speed" in far
    assert "paths: straight lines round barriers times 1.3" in lines(no_water, "routes")
    path = [{"path_id": "p", "wkt": f"LINESTRING ({E0} {N0}, {E0 + 12} {N0 + 16})"}]
    drawn = assumed_by(tmp_path / "drawn", "routes", **layers, paths=path)
    assert "straight lines" not in drawn


def test_the_start_of_crews_is_assumed_once_and_as_it_was_taken(tmp_path: Path, no_water: Mode) -> None:
    assert "crews start and end in the middle of the stones" in lines(no_water, "routes")
    assert "the first base" not in lines(no_water, "routes")
    layers: dict[str, Any] = {"stones": bare_stones(), "crews": crews()}
    bases = placed({"B1": (0.0, 0.0)}, "base_id")
    based = assumed_by(tmp_path / "a", "routes", **layers, bases=bases)
    assert "crews.base_id (1 row): the first base" in based
    assert "middle of the stones" not in based
