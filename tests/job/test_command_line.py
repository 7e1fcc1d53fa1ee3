"""The whole job from the command line, as a person would run it."""

from __future__ import annotations

import csv
import shutil
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from pypdf import PdfReader

from gravegis import registry, store
from gravegis.errors import GravegisError
from gravegis.store.grids import content_hash

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.site import Site


def results(site: Site) -> dict[str, dict[str, str]]:
    """Return content hashes of all results: layers and grids."""
    layers = {record.analysis: dict(record.gives) for record in site.log}
    return {**layers, "grids": {name: content_hash(grid) for name, grid in site.grids.items()}}


def write_poor_lists(folder: Path) -> tuple[Path, Path]:
    """Stones as phone points, heads with one radius and nothing else: two CSV files."""
    rng = np.random.default_rng(5)
    stones, heads = folder / "stones.csv", folder / "heads.csv"
    with stones.open("w", newline="") as opened:
        writer = csv.writer(opened)
        writer.writerow(["id", "lat", "lon"])
        for row in range(6):
            for place in range(10):
                lat, lon = -34.0 + row * 2.5e-5, 139.0 + place * 1.3e-5
                writer.writerow([f"{row + 1}-{place + 1}", f"{lat + rng.normal(0, 1e-6):.7f}", f"{lon:.7f}"])
    with heads.open("w", newline="") as opened:
        writer = csv.writer(opened)
        writer.writerow(["id", "lat", "lon", "radius_m"])
        writer.writerows([["h1", -33.99995, 139.00003, 9], ["h2", -33.99988, 139.00010, 9], ["h3", -33.99, 139.0, 9]])
    return stones, heads


def test_two_poor_lists_give_ranked_heads_a_look_here_list_and_a_map_in_three_commands(
    gravegis: Any, tmp_path: Path
) -> None:
    stones, heads = write_poor_lists(tmp_path)
    site = tmp_path / "ground"
    first = gravegis("new", site, f"stones={stones}")
    assert first.code == 0, first.err
    second = gravegis("add", site, "heads", heads, "--column", "throw_m=radius_m")
    assert second.code == 0, second.err
    third = gravegis("run", site)
    assert third.code == 0, third.err
    assert "Stand at h" in third.out
    assert (site / "out" / "wetting_map.pdf").stat().st_size > 10_000
    ranked = list(csv.DictReader((site / "out" / "heads.csv").read_text(encoding="utf-8-sig").splitlines()))
    assert {row["head_id"] for row in ranked} == {"h1", "h2", "h3"}
    made = store.load(site)
    assert made["stone_wetting"]["season_h"].isna().all()
    assert "condition_map.pdf" not in {path.name for path in (site / "out").iterdir()}
    assert not any(word in third.out.lower() for word in ("litre", " l/m2", "hours a season,"))


def test_running_again_from_nothing_gives_the_same_content(gravegis: Any, tmp_path: Path) -> None:
    site = tmp_path / "ground"
    assert gravegis("demo", site).code == 0
    before = results(store.load(site))
    files = sorted(path.name for path in (site / "out").iterdir())
    shutil.rmtree(site / "out")
    shutil.rmtree(site / "grids")
    store.save(store.load(site).without_results(), site)
    assert gravegis("run", site).code == 0
    assert results(store.load(site)) == before
    assert sorted(path.name for path in (site / "out").iterdir()) == files


def test_command_line_and_python_give_the_same(gravegis: Any, tmp_path: Path, sample_site: Site) -> None:
    from gravegis import pipeline

    site = tmp_path / "ground"
    store.save(sample_site, site)
    assert gravegis("wetting", site, "--near-m", "6 ft").code == 0
    by_python = pipeline.run(sample_site, ["wetting"], typed={"wetting": {"near_m": "1.8288"}})
    assert results(store.load(site)) == results(by_python.site)


def test_saved_settings_are_used_next_time(gravegis: Any, tmp_path: Path, sample_site: Site) -> None:
    site = tmp_path / "ground"
    store.save(sample_site, site)
    assert gravegis("run", site, "wetting", "--set", "wetting.near_m=3", "--save-settings").code == 0
    assert gravegis("run", site, "wetting").code == 0
    assert store.load(site).log[-1].settings["near_m"] == 3.0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("run", "nowhere"), "no site here"),
        (("run", "SITE", "sprinkle"), "no analysis called 'sprinkle'"),
        (("run", "SITE", "--set", "wetting.near_m=900"), "outside 0.1 to 20 m"),
        (("run", "SITE", "--set", "wetting"), "not ANALYSIS.SETTING=VALUE"),
        (("add", "SITE", "gravestones", "FILE"), "no layer called 'gravestones'"),
        (("wetting", "SITE", "--near-m", "3 psi"), "does not measure the same thing"),
        (("new", "SITE"), "already"),
        (("new", "other", "stones="), "not LAYER=FILE"),
        (("new", "other", "--seed", "-5"), "-5"),
        (("run", "SITE", "--set", "routes.nonsense=5", "throw"), "no setting 'nonsense'"),
        (("run", "SITE", "--set", "routes.iterations_n=0"), "'0' is 0, outside 1 to"),
        (("run", "SITE", "--set", "wetting.near_m=6,5"), "has a comma"),
        (("run", "SITE", "--set", "throw.segments_n=20", "--set", "throw.segments_n=30"), "given twice"),
        (("demo", "other", "--layers", "SITE"), "holds no sample layers"),
        (("export", "SITE", "stones", "/proc/nowhere.csv"), "/proc/nowhere.csv"),
        (("--debug", "/nowhere/x.log", "layers", "SITE"), "/nowhere/x.log"),
        (("new", "n" * 300), "nnn"),
        (("new", "other", "--time-zone", "Mars/Base"), "no time zone"),
        (("export", "SITE", "stones", "x.doc"), ".csv"),
        (("help", "nothing"), "no analysis called 'nothing'"),
    ],
)
def test_what_a_person_can_mend_ends_with_2_and_one_clear_message(
    gravegis: Any,
    tmp_path: Path,
    sample_site: Site,
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
    said: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    store.save(sample_site, tmp_path / "SITE")
    (tmp_path / "FILE").write_text("x,y\n1,2\n")
    before = (tmp_path / "SITE" / "site.gpkg").read_bytes()
    done = gravegis(*arguments)
    assert done.code == 2
    assert said in done.err
    assert "Traceback" not in done.err
    assert (tmp_path / "SITE" / "site.gpkg").read_bytes() == before


def test_a_page_that_cannot_be_written_says_that_the_results_are_saved(
    gravegis: Any, tmp_path: Path, sample_site: Site
) -> None:
    store.save(sample_site, tmp_path / "ground")
    (tmp_path / "ground" / "out" / "wetting_map.pdf").mkdir(parents=True)
    (tmp_path / "ground" / "out" / "wetting_map.pdf" / "held").touch()
    done = gravegis("wetting", tmp_path / "ground", "--near-m", "3")
    assert done.code == 2
    assert "the results are saved" in done.err
    assert "nothing was changed" not in done.err
    assert store.load(tmp_path / "ground").log[-1].settings["near_m"] == 3.0


def test_a_persons_own_files_in_out_stay(gravegis: Any, tmp_path: Path, sample_site: Site) -> None:
    site = tmp_path / "ground"
    store.save(sample_site, site)
    (site / "out").mkdir()
    (site / "out" / "photo.jpg").write_text("mine")
    (site / "out" / "contents.txt").write_text("photo.jpg\tmine\n")
    assert gravegis("throw", site).code == 0
    assert gravegis("throw", site).code == 0
    assert (site / "out" / "photo.jpg").read_text() == "mine"


LATE_ROUTES = "OUT OF DATE: Day plan of the crews (routes): crews: 5 rows then, 1 now"


def test_adding_a_layer_says_what_is_out_of_date_and_keeps_it_and_warns_of_old_sheets(
    gravegis: Any, tmp_path: Path, sample_run: Site
) -> None:
    site = tmp_path / "ground"
    store.save(sample_run, site)
    (tmp_path / "crews.csv").write_text("crew_id,shift_from,shift_to\nX,08:00,12:00\n")
    done = gravegis("add", site, "crews", tmp_path / "crews.csv")
    assert LATE_ROUTES in done.out
    assert "were made before and carry no mark of this" in done.out
    assert "stops" in store.load(site)
    checked = gravegis("check", site)
    assert checked.code == 0
    assert "crews: 5 rows then, 1 now" in checked.out
    assert "out of date" in checked.out.lower()
    listed = [line for line in gravegis("layers", site).out.splitlines() if "OUT OF DATE" in line]
    assert [line.split()[1] for line in listed] == [
        "stops",
        "legs",
        "crew_days",
        "crew_steps",
        "spares",
        "unplanned",
        "zone_requests",
    ]
    assert LATE_ROUTES in gravegis("export", site, "stops", tmp_path / "stops.csv").out
    assert "OUT OF DATE" not in gravegis("export", site, "worklist", tmp_path / "worklist.csv").out


def test_pages_of_a_run_that_leaves_others_out_of_date_say_so_and_a_run_of_all_clears_them(
    gravegis: Any, tmp_path: Path, sample_run: Site
) -> None:
    site, out = tmp_path / "ground", tmp_path / "ground" / "out"
    heads = sample_run["heads"]
    store.save(sample_run.with_layers({"heads": heads.assign(throw_m=heads["throw_m"] + 1.0)}), site)
    done = gravegis("wetting", site)
    assert "throw: was out of date (heads: throw changed since) and was worked out again first." in done.out
    assert "OUT OF DATE: Day plan of the crews (routes)" in done.out
    for name in ("answers.txt", "assumed.txt", "contents.txt"):
        assert "OUT OF DATE: Worklist (worklist)" in (out / name).read_text(encoding="utf-8")
    sheet = next(out.glob("crew_*_*.pdf"))
    assert all("do not start work by this sheet" in words(page) for page in PdfReader(sheet).pages)
    assert "OUT OF DATE: Day plan of the crews, Worklist were" in words(PdfReader(out / "crew_map.pdf").pages[0])
    assert "OUT OF DATE" not in words(PdfReader(out / "wetting_map.pdf").pages[0])
    assert all("OUT OF DATE" not in words(page) for page in PdfReader(out / "zones.pdf").pages)
    assert "OUT OF DATE" in next(out.glob("*.gpx")).read_text(encoding="utf-8")
    assert "OUT OF DATE" not in gravegis("run", site).out
    assert not [file for file in out.glob("*.txt") if "OUT OF DATE" in file.read_text(encoding="utf-8")]
    assert not [page for page in PdfReader(sheet).pages if "OUT OF DATE" in words(page)]


def words(page: Any) -> str:
    return " ".join(page.extract_text().split())


def test_setting_a_fact_and_restoring_a_version_say_what_is_out_of_date(
    gravegis: Any, tmp_path: Path, sample_run: Site
) -> None:
    site = tmp_path / "ground"
    store.save(sample_run, site)
    late = "OUT OF DATE: Day plan of the crews (routes): seed of everything random: 20261125 then, 5 now"
    assert late in gravegis("set", site, "--seed", 5).out
    assert "OUT OF DATE" not in gravegis("set", site, "--seed", 20261125).out
    version = gravegis("versions", site).out.splitlines()[1].split()[0]
    assert late in gravegis("restore", site, version).out


def test_site_facts_and_saved_settings_can_be_changed(gravegis: Any, tmp_path: Path, sample_site: Site) -> None:
    site = tmp_path / "ground"
    store.save(sample_site, site)
    done = gravegis("set", site, "--title", "Other", "--time-zone", "Europe/Berlin", "--forget", "routes.day")
    assert done.code == 0, done.err
    again = store.load(site)
    assert (again.info.title, again.info.time_zone) == ("Other", "Europe/Berlin")
    assert "routes" not in again.settings
    assert "is not saved" in gravegis("set", site, "--forget", "routes.day").err


def test_what_was_assumed_when_files_came_in_stands_on_the_answers(gravegis: Any, tmp_path: Path) -> None:
    site = tmp_path / "ground"
    assert gravegis("demo", site).code == 0
    told = (site / "out" / "answers.txt").read_text(encoding="utf-8")
    assert "moved from EPSG:4326" in told


def test_our_own_bug_ends_with_1_and_says_so(gravegis: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("planted")

    monkeypatch.setattr(store, "load", broken)
    done = gravegis("layers", tmp_path)
    assert done.code == 1
    assert "planted" in done.err
    assert "bug in gravegis" in done.err


def test_every_analysis_has_a_subcommand_whose_help_shows_unit_range_and_source(gravegis: Any) -> None:
    for name in registry.names():
        # a long word may be broken at its hyphen
        shown = "".join(gravegis(name, "--help").out.split())
        for setting, (_, kind) in registry.load(name).kinds().items():
            assert f"--{setting.replace('_', '-')}" in shown
            assert "".join(kind.range_text().split()) in shown
            assert "".join(kind.source.split()) in shown


def test_layers_check_list_and_help_print(gravegis: Any, tmp_path: Path, sample_site: Site) -> None:
    store.save(sample_site, tmp_path / "ground")
    assert f"{len(sample_site['stones'])} rows" in gravegis("layers", tmp_path / "ground").out
    checked = gravegis("check", tmp_path / "ground")
    assert checked.code == 0
    assert "remarks" in checked.out
    assert all(name in gravegis("list").out for name in registry.names())
    assert "Sources" in gravegis("help", "wetting").out


@pytest.mark.parametrize(
    ("layer", "suffix"),
    [("stone_wetting", ".csv"), ("stone_wetting", ".geojson"), ("stone_wetting", ".gpkg"), ("throws_computed", ".shp")],
)
def test_layers_can_be_written_to_files(
    gravegis: Any, tmp_path: Path, sample_run: Site, layer: str, suffix: str
) -> None:
    store.save(sample_run, tmp_path / "ground")
    file = tmp_path / f"{layer}{suffix}"
    done = gravegis("export", tmp_path / "ground", layer, file)
    assert done.code == 0, done.err
    assert f"{len(sample_run[layer])} rows" in done.out
    assert file.is_file()


def test_footprints_and_phone_points_do_not_fit_one_shapefile(gravegis: Any, tmp_path: Path, sample_site: Site) -> None:
    store.save(sample_site, tmp_path / "ground")
    done = gravegis("export", tmp_path / "ground", "stones", tmp_path / "stones.shp")
    assert done.code == 2
    assert "holds Point and Polygon" in done.err
    assert ".gpkg" in done.err


def test_errors_carry_problem_place_and_remedy() -> None:
    with pytest.raises(GravegisError) as caught:
        registry.load("nothing")
    assert all(problem.remedy for problem in caught.value.problems)
