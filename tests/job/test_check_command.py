"""`gravegis check` and `--json`, as a person or another program would call them."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pytest
import shapely
from rich.cells import cell_len

from gravegis import registry, store
from gravegis.site import Site, SiteInfo
from tests.outputs.hostile import EVIL, Page, hostile

if TYPE_CHECKING:
    from pathlib import Path

CRS = "EPSG:7854"
COLOUR = re.compile(r"\x1b\[[0-9;]*m")


@pytest.fixture
def poor(tmp_path: Path) -> Path:
    stones = gpd.GeoDataFrame(
        {"stone_id": list("abc")}, geometry=shapely.points([[372000 + 2 * k, 6250000] for k in range(3)]), crs=CRS
    )
    heads = gpd.GeoDataFrame(
        {"head_id": ["h1"], "throw_m": 9.0}, geometry=[shapely.Point(372001, 6250001)], crs=CRS
    )  # fmt: skip
    site = Site(SiteInfo("Poor", CRS, "typed")).with_layers({"stones": stones, "heads": heads})
    store.save(site, tmp_path / "poor")
    return tmp_path / "poor"


def test_one_report_in_three_forms_from_one_call(gravegis: Any, poor: Path, tmp_path: Path) -> None:
    code, out, _ = gravegis("check", poor, "--html", tmp_path / "r.html", "--json", tmp_path / "r.json")
    assert code == 0
    made = json.loads((tmp_path / "r.json").read_text(encoding="ascii"))
    page = Page((tmp_path / "r.html").read_text(encoding="utf-8"))
    for one in made["analyses"]:
        assert re.search(rf"^{one['name']} +{re.escape(one['state'])}$", out, re.MULTILINE)
        assert one["state"] in page.text
    for gap in made["missing"]:
        for text in (out, page.text):
            assert f"[{gap['number']}] " in text
            assert gap["measure"] in text
            assert gap["command"] in text
    assert len(made["measurements"]) >= 3
    assert f"1. {made['measurements'][0]['words']}" in out


def test_json_on_the_standard_output_is_alone_there(gravegis: Any, poor: Path) -> None:
    code, out, err = gravegis("check", poor, "--json", "-")
    assert code == 0
    assert json.loads(out)["title"] == "Poor"
    assert err == ""


def test_errors_in_the_layers_end_with_2_in_every_form(gravegis: Any, poor: Path) -> None:
    site = store.load(poor)
    away = site["heads"].assign(geometry=site["heads"].geometry.translate(5_000))
    with store.locked(poor):
        store.save(site.with_layers({"heads": away}), poor)
    for more in ((), ("--json", "-")):
        code, out, _ = gravegis("check", poor, *more)
        assert code == 2
        assert "an overlay would be empty" in out


def test_what_the_report_says_is_assumed_is_what_the_run_prints(gravegis: Any, poor: Path) -> None:
    before = json.loads(gravegis("check", poor, "--json", "-")[1])
    code, out, _ = gravegis("run", poor)
    assert code == 0
    turn = next(one for one in before["missing"] if (one["layer"], one["column"]) == ("heads", "arc_sweep_deg"))
    assert f"Assumed - {turn['name']} (1 row): {turn['instead'][0]['words']}" in out
    after = json.loads(gravegis("check", poor, "--json", "-")[1])
    said = {line["words"] for one in after["results"] for line in one["assumed"]}
    assert said == {line.partition(": ")[2] for line in re.findall(r"Assumed - (.+)", out)}


@pytest.mark.parametrize("width", [80, 120])
def test_on_a_terminal_no_line_is_wider_than_it(
    gravegis: Any, tmp_path: Path, sample_run: Site, monkeypatch: pytest.MonkeyPatch, width: int
) -> None:
    store.save(sample_run, tmp_path / "ground")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("COLUMNS", str(width))
    code, out, _ = gravegis("check", "ground")
    assert code == 0
    assert COLOUR.search(out)
    lines = [COLOUR.sub("", line) for line in out.splitlines()]
    assert max(cell_len(line) for line in lines) <= width
    assert max(cell_len(line) for line in lines) > width - 12
    assert all(line == line.rstrip() for line in lines)


def test_in_a_pipe_there_are_no_colours_and_each_thing_is_one_line(gravegis: Any, poor: Path) -> None:
    out = gravegis("check", poor)[1]
    assert "\x1b" not in out
    assert re.search(
        r"^\[\d+\] +heads, how far it turns \(heads\.arc_sweep_deg\): missing in 1 of 1 row$", out, re.MULTILINE
    )


def test_hostile_names_do_not_steer_the_terminal(
    gravegis: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.save(hostile(), tmp_path / "ground")
    monkeypatch.setenv("FORCE_COLOR", "1")
    _, out, _ = gravegis("check", tmp_path / "ground")
    assert "alert(1)" in out
    assert "\x1b" not in COLOUR.sub("", out)
    assert "\x1b[31m&amp;" not in out
    assert not re.search("[\u202a-\u202e\u2066-\u2069]", out)
    assert json.loads(gravegis("check", tmp_path / "ground", "--json", "-")[1])["title"] == EVIL


def test_a_file_that_cannot_be_written_is_said(gravegis: Any, poor: Path) -> None:
    code, _, err = gravegis("check", poor, "--html", "/nowhere/r.html")
    assert code == 2
    assert "/nowhere/r.html" in err


def test_a_run_as_one_object_on_the_standard_output_with_all_else_beside(gravegis: Any, poor: Path) -> None:
    code, out, err = gravegis("throw", poor, "--json", "-", "--segments-n", "64")
    assert code == 0
    made = json.loads(out)
    assert {"format", "title", "crs", "made_on", "analyses", "not_run", "files"} <= set(made)
    [throw] = made["analyses"]
    assert throw["analysis"] == "throw"
    assert all(f"  {note}" in err for note in throw["notes"])
    [segments] = [one for one in throw["settings"] if one["setting"] == "segments_n"]
    assert (segments["value"], segments["is_default"]) == (64, False)
    assert segments["default"] == registry.load("throw").kinds()["segments_n"][0]
    assert all(one["source"] and one["range"] and isinstance(one["unit"], str) for one in throw["settings"])
    lines = [one for one in throw["assumed"] if one["column"] == "arc_sweep_deg"]
    assert [(one["layer"], one["rows_n"], one["words"]) for one in lines] == [
        ("heads", 1, "arc unknown: a full circle")
    ]
    assert all(f"Assumed - {one['text']}" in err for one in throw["assumed"])
    assert throw["layers"] == [{"layer": "throws_computed", "rows_n": 1}]
    assert {one["path"].rpartition("/")[2] for one in made["files"]} <= {path.name for path in (poor / "out").iterdir()}
    assert "files in" in err


def test_a_run_into_a_file_still_talks_and_tells_grids_and_what_did_not_run(
    gravegis: Any, tmp_path: Path, sample_site: Site
) -> None:
    store.save(sample_site.without(("crews",)), tmp_path / "ground")
    code, out, _ = gravegis("run", tmp_path / "ground", "--json", tmp_path / "run.json")
    assert code == 0
    assert "wetting:" in out
    made = json.loads((tmp_path / "run.json").read_text(encoding="ascii"))
    assert [one["analysis"] for one in made["not_run"]] == ["routes", "zone_requests"]
    heat = next(one for one in made["analyses"] if one["analysis"] == "heatmap")
    assert {one["grid"] for one in heat["grids"]} == {
        "share_damaged",
        "effective_stones",
        "share_clear",
        "stone_density",
    }
    assert all(one["rows_n"] > 0 and one["cell_m"] > 0 for one in heat["grids"])
    contents = (tmp_path / "ground" / "out" / "contents.txt").read_text(encoding="utf-8")
    assert "what was assumed for it stands in assumed.txt" in contents
