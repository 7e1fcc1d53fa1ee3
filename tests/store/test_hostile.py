"""Full disks, folders that may not be written, files held or damaged by others: said clearly, and nothing changed."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from gravegis import store
from gravegis.errors import StoreError
from gravegis.store import folder as store_folder
from tests.store.small import small, which_whole

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).resolve().parents[2]
posix = pytest.mark.skipif(os.name != "posix", reason="needs limits and users of POSIX")

# Everything is imported and used once before a limit is set or a user given up: neither is about importing.
PREPARE = """
import json, os, sys, tempfile
from pathlib import Path
from gravegis import store
from gravegis.errors import StoreError
from tests.store.small import small, which_whole
folder, said = Path(sys.argv[1]), []
with tempfile.TemporaryDirectory() as other, store.locked(Path(other), make=True):
    store.save(small("old"), Path(other)); store.load(Path(other))
sites = {"old": small("old"), "new": small("new")}
def attempt(what):
    try:
        what(); said.append("done")
    except StoreError as error:
        said.append(str(error))
def lock():
    with store.locked(folder):
        pass
"""
FULL = """
import resource
for size in json.loads(sys.argv[2]):
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))
    attempt(lambda: store.save(sites["new"], folder))
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    assert which_whole(store.load(folder)) == "old"
print(json.dumps(said))
"""
OTHER_USER = """
os.setgroups([]); os.setgid(65534); os.setuid(65534)
attempt(lock)
attempt(lambda: store.save(sites["new"], folder))
attempt(lambda: store.restore(folder, "2"))
said.append(which_whole(store.load(folder)))
print(json.dumps(said))
"""
HELD = """
import sqlite3, sys
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("BEGIN EXCLUSIVE")
print("held", flush=True)
sys.stdin.readline()
"""


def child(code: str, *arguments: str) -> list[str]:
    """Run code in a process of its own and return what it said."""
    done = subprocess.run(
        [sys.executable, "-c", PREPARE + code, *arguments], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    said: list[str] = json.loads(done.stdout.splitlines()[-1])
    return said


def content(folder: Path) -> dict[str, bytes]:
    """Return every file of the folder with what it holds."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@posix
def test_a_full_disk_is_said_wherever_it_strikes_and_changes_nothing(tmp_path: Path) -> None:
    store.save(small("new"), tmp_path / "whole")
    whole = (tmp_path / "whole" / "site.gpkg").stat().st_size
    grid = next((tmp_path / "whole" / "grids").iterdir()).stat().st_size
    store.save(small("old"), tmp_path / "ground")
    before = content(tmp_path / "ground")
    sizes = [0, 1, grid // 2, grid - 1, grid, 4096, *range(20_000, whole, 8_000), whole - 4096, whole - 1]
    said = child(FULL, str(tmp_path / "ground"), json.dumps(sizes))
    assert [words for words in said if "cannot be saved" not in words or "Check free space" not in words] == []
    assert len(said) == len(sizes)
    after = content(tmp_path / "ground")
    # a grid that did fit is there whole, named by nobody, and swept by the next save
    assert {name: after[name] for name in before} == before
    assert {Path(name).parent.name for name in set(after) - set(before)} <= {"grids"}
    store.save(small("new"), tmp_path / "ground")
    assert which_whole(store.load(tmp_path / "ground")) == "new"


def test_a_grid_that_was_cut_short_is_written_again(tmp_path: Path) -> None:
    store.save(small("old"), tmp_path)
    (grid,) = (tmp_path / "grids").iterdir()
    grid.write_bytes(grid.read_bytes()[:-20])
    store.save(small("old"), tmp_path)
    assert which_whole(store.load(tmp_path)) == "old"


@pytest.fixture
def open_to_all() -> Iterator[Path]:
    """A folder of ours that every user may enter and read; the one of pytest is closed to others."""
    if os.name != "posix" or os.getuid() != 0:
        pytest.skip("only the superuser can become another user")
    place = Path(tempfile.gettempdir()) / f"gravegis-test-{os.getpid()}"
    place.mkdir(mode=0o755)
    yield place
    shutil.rmtree(place)


def test_a_folder_that_may_only_be_read_is_read_and_a_save_says_why_not(open_to_all: Path) -> None:
    folder = open_to_all / "ground"
    store.save(small("new"), folder)
    store.save(small("old"), folder)
    before = content(folder)
    said = child(OTHER_USER, str(folder))
    for words in said[:3]:
        assert "Permission denied" in words
        assert "write permission" in words
        assert "nothing was changed" in words
    assert said[3] == "old"
    assert content(folder) == before


def test_a_site_file_that_another_program_is_writing_into_is_not_called_damaged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store_folder, "_BUSY_S", 0.2)
    store.save(small("old"), tmp_path)
    file = tmp_path / "site.gpkg"
    with subprocess.Popen(
        [sys.executable, "-c", HELD, str(file)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        with pytest.raises(StoreError, match="another program is writing into the site file"):
            store.load(tmp_path)
        other.communicate("\n", timeout=20)
    assert which_whole(store.load(tmp_path)) == "old"


def test_rows_that_went_missing_without_a_trace_are_noticed(tmp_path: Path) -> None:
    store.save(small("old"), tmp_path)
    connection = sqlite3.connect(tmp_path / "site.gpkg")
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f'DROP TRIGGER "{name}"')
    connection.execute("DELETE FROM stones WHERE stone_id = 's7'")
    connection.commit()
    connection.close()
    with pytest.raises(StoreError, match=r"damaged.*stones has 199 rows, 200 were written"):
        store.load(tmp_path)


@pytest.mark.parametrize("seed", range(4))
def test_a_page_overwritten_anywhere_is_never_read_as_another_site(tmp_path: Path, seed: int) -> None:
    store.save(small("old"), tmp_path)
    file = tmp_path / "site.gpkg"
    whole = bytearray(file.read_bytes())
    pages = len(whole) // 4096
    for page in range(seed, pages, 4):
        broken = whole.copy()
        broken[page * 4096 : page * 4096 + 4096] = b"\xa5" * 4096
        file.write_bytes(broken)
        try:
            met = which_whole(store.load(tmp_path))
        except StoreError as error:
            met = "damaged" if "damaged" in str(error) else str(error)
        assert met in ("damaged", "old")
