"""Writers that are killed and readers that read meanwhile, each a process of its own."""

from __future__ import annotations

import contextlib
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from gravegis import store
from tests.store.small import small, which_whole

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).resolve().parents[2]
pytestmark = pytest.mark.skipif(os.name != "posix", reason="SIGKILL and fork are asked for")


class Nursery:
    """Starts writers and knows when they are gone."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        assert process.stdin is not None
        assert process.stdout is not None
        self.said, self.ask = process.stdout, process.stdin
        assert self.said.readline() == "ready\n"

    def start(self, times: int) -> int:
        """Return the process number of a new writer."""
        self.ask.write(f"{times}\n")
        self.ask.flush()
        return int(self.said.readline())

    def ended(self) -> str:
        """Wait for the writer to end and return how."""
        return self.said.readline().strip()


@contextlib.contextmanager
def nursery(folder: Path) -> Iterator[Nursery]:
    """Give a nursery of writers to this folder, and end it."""
    command = [sys.executable, "-m", "tests.store.writer", str(folder)]
    with subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        yield Nursery(process)
        process.communicate(timeout=30)


def kill_writers(folder: Path, count: int, seed: int) -> dict[str, int]:
    """Kill writers at random moments; after each the whole site must be there. Return how often which was met."""
    rng = random.Random(seed)
    met = {"old": 0, "new": 0, "locked": 0, "half written": 0}
    store.save(small("old"), folder)
    with nursery(folder) as writers:
        # how long a save takes depends on the computer and its load; a kill may fall into the first two
        began = time.monotonic()
        writers.start(4)
        assert writers.ended() == "ended 0"
        save_s = (time.monotonic() - began) / 4
        for _ in range(count):
            pid = writers.start(1000)
            time.sleep(rng.uniform(0, 2 * save_s))
            os.kill(pid, signal.SIGKILL)
            assert writers.ended() == "gone"
            met["locked"] += (folder / "site.lock").exists()
            met["half written"] += any(folder.glob(".site-*"))
            met[which_whole(store.load(folder))] += 1
        writers.start(1)
        assert writers.ended() == "ended 0"
    assert sorted(path.name for path in folder.iterdir()) == ["grids", "site.gpkg", "versions"]
    for place, version in enumerate((folder / "versions").iterdir()):
        copy = folder.with_name(f"{folder.name}-{place}")
        shutil.copytree(folder, copy)
        store.restore(copy, version.stem)
        which_whole(store.load(copy))
    return met


def read_while_saving(folder: Path, saves: int) -> dict[str, int]:
    """Read as fast as can be while another process saves; return how often which site was met."""
    met = {"old": 0, "new": 0}
    store.save(small("old"), folder)
    with nursery(folder) as writers:
        writers.start(saves)
        os.set_blocking(writers.said.fileno(), False)
        said = ""
        while not said:
            met[which_whole(store.load(folder))] += 1
            said = writers.said.readline()
        os.set_blocking(writers.said.fileno(), True)
        assert said == "ended 0\n"
    return met


def test_ten_kills_at_random_moments_of_a_save_leave_the_old_or_the_new_site_whole(tmp_path: Path) -> None:
    met = kill_writers(tmp_path, 10, seed=1)
    assert met["locked"] >= 5, f"the kills must meet a save: {met}"


@pytest.mark.full
def test_a_hundred_kills_at_random_moments_of_a_save_leave_the_old_or_the_new_site_whole(tmp_path: Path) -> None:
    met = kill_writers(tmp_path, 100, seed=2)
    assert min(met["old"], met["new"]) >= 10, f"both sites must be met: {met}"
    assert met["half written"] >= 20, f"the kills must meet a save: {met}"


def test_a_reader_during_fifty_saves_meets_whole_sites_only(tmp_path: Path) -> None:
    met = read_while_saving(tmp_path, 50)
    assert min(met.values()) >= 5, met


@pytest.mark.full
def test_a_reader_during_two_hundred_saves_meets_whole_sites_only(tmp_path: Path) -> None:
    met = read_while_saving(tmp_path, 200)
    assert min(met.values()) >= 20, met
