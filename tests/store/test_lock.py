from __future__ import annotations

import json
import logging
import os
import platform
import subprocess
import sys
import threading
from typing import TYPE_CHECKING, Any

import pytest

from gravegis import cli, store
from gravegis.errors import StoreError
from gravegis.site import SiteInfo
from gravegis.store import lock

if TYPE_CHECKING:
    from pathlib import Path

HOLD = """
import sys
from pathlib import Path
from gravegis import store
with store.locked(Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.readline()
"""


KILLED = """
import os, signal, sys
from pathlib import Path
from gravegis import store

folder, left = Path(sys.argv[1]), int(sys.argv[2])

def count(event, arguments):
    global left
    if event in ("open", "os.link", "os.rename", "os.remove"):
        left -= 1
        if left < 0:
            os.kill(os.getpid(), signal.SIGKILL)

sys.addaudithook(count)
with store.locked(folder):
    os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    store.create(tmp_path / "ground", SiteInfo("Ground", "EPSG:7854"))
    return tmp_path / "ground"


def write_lock(folder: Path, **changes: object) -> None:
    said = {"user": "sexton", "host": platform.node(), "pid": os.getpid(), "time": "2026-11-25T06:00:00+00:00"}
    (folder / "site.lock").write_text(json.dumps({**said, **changes}))


def gone_pid() -> int:
    with subprocess.Popen([sys.executable, "-c", ""]) as child:
        child.wait()
    return child.pid


def test_a_second_writer_in_another_process_is_refused_by_name_and_readers_go_on(folder: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == "held\n"
        said = json.loads((folder / "site.lock").read_text())
        assert set(said) == {"user", "host", "pid", "time"}
        assert said["pid"] == child.pid
        words = rf"{said['user']} on {said['host']} \(process {child.pid}\)(.|\n)*Wait until"
        with pytest.raises(StoreError, match=words), store.locked(folder):
            pytest.fail("two writers")
        assert store.load(folder).info.title == "Ground"
        child.communicate("\n", timeout=20)
    assert not (folder / "site.lock").exists()
    with store.locked(folder):
        assert (folder / "site.lock").exists()


@pytest.mark.parametrize("error", [KeyboardInterrupt, ValueError, StoreError])
def test_the_lock_goes_on_errors_and_on_ctrl_c(folder: Path, error: type[BaseException]) -> None:
    with pytest.raises(error), store.locked(folder):
        raise error("planted")
    assert not (folder / "site.lock").exists()


def test_the_lock_of_a_process_that_is_gone_is_taken_over_and_said(
    folder: Path, caplog: pytest.LogCaptureFixture
) -> None:
    write_lock(folder, pid=gone_pid())
    with caplog.at_level(logging.WARNING, logger="gravegis"), store.locked(folder):
        assert json.loads((folder / "site.lock").read_text())["pid"] == os.getpid()
    assert "sexton" in caplog.text
    assert "taken over" in caplog.text
    assert [path.name for path in folder.iterdir() if "lock" in path.name] == []


def test_of_many_that_find_a_stale_lock_one_at_a_time_gets_it(folder: Path) -> None:
    write_lock(folder, pid=gone_pid())
    inside, most, counted = 0, 0, threading.Lock()

    def write() -> None:
        nonlocal inside, most
        try:
            with store.locked(folder):
                with counted:
                    inside += 1
                    most = max(most, inside)
                ready.wait(0.2)
                with counted:
                    inside -= 1
        except StoreError:
            pass

    ready = threading.Event()
    threads = [threading.Thread(target=write) for _ in range(12)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert most == 1
    assert not (folder / "site.lock").exists()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"host": "another-computer", "pid": 2**30}, "sexton on another-computer"),
        ({"pid": os.getppid()}, "sexton on"),
        ({"pid": -1}, "who does not stand in the lock"),
        ({"pid": 10**30}, "sexton on"),
        ({"pid": "x"}, "who does not stand in the lock"),
    ],
)
def test_a_lock_that_may_be_in_use_is_refused_with_a_remedy_and_left(
    folder: Path, monkeypatch: pytest.MonkeyPatch, changes: dict[str, Any], said: str
) -> None:
    monkeypatch.setattr(lock, "_PAUSE_S", 0.0)
    write_lock(folder, **changes)
    before = (folder / "site.lock").read_bytes()
    with pytest.raises(StoreError, match=rf"{said}(.|\n)*delete this file"), store.locked(folder):
        pytest.fail("two writers")
    assert (folder / "site.lock").read_bytes() == before


def test_an_empty_lock_is_refused_with_a_remedy(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lock, "_PAUSE_S", 0.0)
    (folder / "site.lock").touch()
    with pytest.raises(StoreError, match=r"delete this file"), store.locked(folder):
        pytest.fail("two writers")


def test_a_folder_without_a_site_is_not_locked_and_nothing_is_left_of_a_failed_new(tmp_path: Path) -> None:
    (tmp_path / ".site-mine.gpkg").touch()
    with pytest.raises(StoreError, match="no site here"), store.locked(tmp_path):
        pytest.fail("no site")
    with pytest.raises(ValueError, match="planted"), store.locked(tmp_path / "a" / "b", make=True):
        raise ValueError("planted")
    assert [path.name for path in tmp_path.iterdir()] == [".site-mine.gpkg"]


def test_what_a_killed_writer_left_is_removed_by_the_next(folder: Path) -> None:
    (folder / "grids").mkdir()
    left = [folder / ".site-abc.gpkg", folder / ".site-abc.gpkg-journal", folder / "grids" / "share-1.part.tif"]
    for one in left:
        one.touch()
    with store.locked(folder):
        assert [one for one in left if one.exists()] == []


@pytest.mark.parametrize(
    "arguments",
    [("add", "SITE", "crews", "crews.csv"), ("set", "SITE", "--seed", "2"), ("run", "SITE"), ("throw", "SITE"),
     ("demo", "SITE"), ("restore", "SITE", "2026")],
)  # fmt: skip
def test_every_command_that_writes_is_refused_while_another_writes(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...]
) -> None:
    monkeypatch.chdir(folder)
    (folder / "crews.csv").write_text("crew_id,shift_from,shift_to\nX,08:00,12:00\n")
    write_lock(folder, host="another-computer")
    before = (folder / "site.gpkg").read_bytes()
    with pytest.raises(SystemExit) as left:
        cli.main([str(folder) if one == "SITE" else one for one in arguments])
    assert left.value.code == 2
    assert "sexton on another-computer" in capsys.readouterr().err
    assert (folder / "site.gpkg").read_bytes() == before


@pytest.mark.parametrize("command", ["check", "layers", "set", "versions"])
def test_commands_that_only_read_go_on_while_another_writes(
    folder: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    write_lock(folder, host="another-computer")
    with pytest.raises(SystemExit) as left:
        cli.main([command, str(folder)])
    assert left.value.code == 0, capsys.readouterr().err


@pytest.mark.skipif(sys.platform == "win32", reason="processes are killed by a signal")
@pytest.mark.parametrize("calls_n", range(6))
def test_a_writer_killed_at_any_step_of_taking_the_lock_stops_nobody(folder: Path, calls_n: int) -> None:
    killed = subprocess.run([sys.executable, "-c", KILLED, str(folder), str(calls_n)], check=False)
    assert killed.returncode == -9
    with store.locked(folder):
        pass
    assert sorted(one.name for one in folder.iterdir() if "lock" in one.name) == []
