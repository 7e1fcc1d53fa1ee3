"""The benchmarks run, say all that belongs to a figure, and compare only what is equal; never how fast they are."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from scripts import bench
from scripts.benches import GROUPS, ground
from scripts.benches.child import in_child
from scripts.benches.figure import Figure, UnequalError, Work, as_line, check

ROOT = Path(__file__).resolve().parents[2]
SAID = {
    "name", "value", "unit", "target", "holds", "processor_value", "n", "seed", "data_set", "baseline_value",
    "baseline", "repeats", "warm_up", "note", "load_average", "cpu_count", "versions",
}  # fmt: skip


@pytest.fixture(scope="module")
def lines(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    file = tmp_path_factory.mktemp("bench") / "bench.jsonl"
    command = [sys.executable, str(ROOT / "scripts" / "bench.py"), "--quick", "--json", str(file)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout == file.read_text(encoding="utf-8")
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_each_group_prints_a_line_and_none_is_broken(lines: list[dict[str, Any]]) -> None:
    assert {line["name"].split(".")[0] for line in lines} == set(GROUPS)
    assert not [line for line in lines if "broken" in line]
    assert len({line["name"] for line in lines}) == len(lines)


def test_each_line_says_all_that_belongs_to_a_figure(lines: list[dict[str, Any]]) -> None:
    for line in lines:
        assert set(line) == SAID
        assert {"python", "numpy", "pandas", "geopandas", "shapely", "pyogrio", "fiona"} <= set(line["versions"])
        if line["value"] is None:
            assert "not available: " in line["note"]
        else:
            assert line["value"] >= 0
            assert line["unit"]
            assert line["n"] > 0
            assert line["data_set"]
            assert line["warm_up"]


def test_a_quick_figure_claims_nothing(lines: list[dict[str, Any]]) -> None:
    assert all(line["holds"] is None and "quick" in line["note"] for line in lines)


def test_the_modules_are_the_groups() -> None:
    shared = {"__init__", "figure", "ground", "lawn", "lawn_site", "desk", "child", "crewdays"}
    assert {file.stem for file in (ROOT / "scripts" / "benches").glob("*.py")} - shared == set(GROUPS)


@pytest.mark.parametrize(
    ("value", "target", "holds"),
    [(8.0, ">= 8", True), (7.9, ">= 8", False), (20.0, "<= 20", True), (20.1, "<= 20", False), (5.0, "", None),
     (None, ">= 8", None)],
)  # fmt: skip
def test_a_target_holds_on_its_limit_and_not_beyond(value: float | None, target: str, holds: bool | None) -> None:
    assert Figure(name="a", value=value, unit="s", n=1, data_set="d", target=target).holds is holds


def test_ways_that_differ_are_not_timed_but_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    with pytest.raises(UnequalError, match="other rows"):
        check(False, "other rows")
    from scripts.benches import conform

    monkeypatch.setattr(conform, "_date", lambda _: "2000-01-01")
    (line,) = bench._lines("conform", Work(tmp_path, 1, quick=True))
    assert line["broken"] == "UnequalError: conform gives another layer than one value after the other"
    assert line["value"] is None


def test_a_target_that_does_not_hold_makes_the_full_run_fail_and_not_the_quick_one(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    slow = Figure(name="wetting", value=1.0, unit="times faster", n=1, data_set="d", target=">= 8")
    monkeypatch.setattr(bench, "_lines", lambda _, work: [as_line(slow, work)])
    assert bench.main(["--only", "wetting"]) == 1
    assert bench.main(["--only", "wetting", "--quick"]) == 0
    assert [json.loads(line)["holds"] for line in capsys.readouterr().out.splitlines()] == [False, None]


def test_the_same_seed_gives_the_same_ground_and_stones_do_not_overlap() -> None:
    one, again, other = ground.stones(300, 5), ground.stones(300, 5), ground.stones(300, 6)
    pd.testing.assert_frame_equal(one, again)
    assert not one.equals(other)
    assert len(one.sindex.query(one.geometry, predicate="intersects")[0]) == 300


def test_the_peak_of_a_child_is_its_own_and_not_that_of_its_parent(tmp_path: Path) -> None:
    ballast = bytearray(600_000_000)
    ballast[::4096] = b"x" * len(ballast[::4096])
    (tmp_path / "small_child.py").write_text("def run(word):\n    return {'letters': len(word)}\n", encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PYTHONPATH", str(tmp_path))
        told = in_child("small_child:run", "seven")
    assert told["letters"] == 5
    assert told["peak_gb"] is None or told["peak_gb"] < 0.3
    assert len(ballast) == 600_000_000


def test_a_child_that_fails_says_why(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError, match="no_such_module"):
        in_child("no_such_module:run")
