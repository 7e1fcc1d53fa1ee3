"""Compiled loops: where their code is kept, what happens without numba, and that importing gravegis loads none."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from gravegis.science import compiled
from gravegis.science.irrigation.pairs import KERNELS
from gravegis.science.spread import spread


def run(code: str, **environment: str) -> str:
    kept = {name: value for name, value in os.environ.items() if name != "NUMBA_CACHE_DIR"}
    done = subprocess.run(
        [sys.executable, "-c", code], env=kept | environment, capture_output=True, text=True, check=True, timeout=300
    )
    return done.stdout.strip()


def test_place_of_compiled_code_is_set_before_numba_loads(tmp_path: Path) -> None:
    code = f"""
import os, sys
from gravegis.science import compiled
assert "numba" not in sys.modules
compiled.load({KERNELS!r})
import numba
print(numba.config.CACHE_DIR)
"""
    found = Path(run(code, XDG_CACHE_HOME=str(tmp_path), LOCALAPPDATA=str(tmp_path), HOME=str(tmp_path)))
    assert found.name == compiled.cache_folder().name
    assert tmp_path in found.parents


def test_a_place_given_from_outside_is_kept(tmp_path: Path) -> None:
    code = f"""
from gravegis.science import compiled
compiled.load({KERNELS!r})
import numba
print(numba.config.CACHE_DIR)
"""
    assert run(code, NUMBA_CACHE_DIR=str(tmp_path)) == str(tmp_path)


def test_where_nothing_can_be_kept_a_folder_of_this_run_serves(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way of the folder")
    place = str(tmp_path / "file")
    code = f"""
import os, stat
from gravegis.science import compiled
assert compiled.load({KERNELS!r}) is not None
assert os.name != "posix" or stat.S_IMODE(os.stat(os.environ["NUMBA_CACHE_DIR"]).st_mode) == 0o700
print(os.environ["NUMBA_CACHE_DIR"])
"""
    found = run(code, XDG_CACHE_HOME=place, LOCALAPPDATA=place, HOME=place)
    assert "gravegis-compiled-" in found
    assert not Path(found).exists()


@pytest.mark.parametrize("name", ["kernels.py", "bundles.py"])
def test_folder_changes_with_any_loop(name: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "part").mkdir()
    loops = tmp_path / "part" / name
    loops.write_text("one")
    monkeypatch.setattr(compiled, "__file__", str(tmp_path / "compiled.py"))
    before = compiled.cache_folder()
    loops.write_text("two")
    assert compiled.cache_folder() != before


@pytest.mark.parametrize("name", ["kernels", "rays.kernels", "rain.kernels"])
def test_loops_load_here(name: str) -> None:
    """A numba that lacks an option we use would leave the slow way in place without a word."""
    assert compiled.load(f"gravegis.science.irrigation.{name}") is not None


def test_without_numba_the_same_pairs_are_found() -> None:
    code = """
import sys
sys.modules["numba"] = None
import numpy as np, shapely
from gravegis.science.irrigation.pairs import find_pairs
from gravegis.science.irrigation.throw import make_throws
pairs = find_pairs(np.array([shapely.Point(3, 4)], dtype=object), make_throws([0.0], [0.0], 10.0))
print(pairs.margin_m.tolist())
"""
    assert run(code) == "[5.0]"


def test_importing_the_science_loads_no_numba() -> None:
    code = """
import sys
import gravegis.science.irrigation.pairs, gravegis.science.irrigation.coverage, gravegis.science.irrigation.rays.water
print("numba" in sys.modules)
"""
    assert run(code) == "False"


def test_portions_come_back_in_order_whatever_the_threads() -> None:
    def work(first: int, last: int) -> tuple[int, int]:
        time.sleep(0.001 * (first % 3))
        return first, last

    expected = [(0, 4), (4, 8), (8, 10)]
    for threads in (1, 2, 9):
        assert spread(work, 10, portion=4, threads=threads) == expected
    assert spread(work, 0, portion=4) == []


def test_error_in_one_portion_is_raised() -> None:
    names: set[str] = set()

    def work(first: int, last: int) -> None:
        names.add(threading.current_thread().name)
        if first == 2:
            raise ValueError("the third row")

    with pytest.raises(ValueError, match="the third row"):
        spread(work, 5, portion=1, threads=3)
