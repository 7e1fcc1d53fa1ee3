"""What the tests of the window share: they are skipped where Qt cannot show a window, with the reason."""

from __future__ import annotations

import shutil
import subprocess
import sys
from functools import cache
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from pytestqt.qtbot import QtBot

    from gravegis.window.frame import Window


@cache
def why_not() -> str:
    """Return why no window can be shown here; empty where one can."""
    pytest.importorskip("PySide6.QtWidgets", reason="the extra 'window' is not installed", exc_type=ImportError)
    code = "from PySide6.QtWidgets import QApplication; QApplication([])"
    found = subprocess.run([sys.executable, "-c", code], check=False, capture_output=True, text=True, timeout=60)
    return "" if found.returncode == 0 else f"Qt shows no window here: {found.stderr.strip()[-200:]}"


@pytest.fixture(autouse=True)
def _needs_qt() -> None:
    if reason := why_not():
        pytest.skip(reason)


@pytest.fixture(scope="session")
def made_ground(small_run: object, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A saved ground with every result."""
    from gravegis import store
    from gravegis.site import Site

    assert isinstance(small_run, Site)
    folder = tmp_path_factory.mktemp("ground") / "made"
    store.save(small_run, folder)
    return folder


@pytest.fixture
def ground(made_ground: Path, tmp_path: Path) -> Path:
    """A ground of its own for one test."""
    return shutil.copytree(made_ground, tmp_path / "ground")


@pytest.fixture
def window(qtbot: QtBot, tmp_path: Path) -> Iterator[Window]:
    """The window with a map that draws nothing."""
    from PySide6.QtCore import QSettings

    from gravegis.window.frame import Window as _Window
    from tests.window.standin import PlainMap, scene_of

    made = _Window(PlainMap(), scene_of, QSettings(str(tmp_path / "look.ini"), QSettings.Format.IniFormat))
    qtbot.addWidget(made)
    made.show()
    yield made
    made.deeds.runner.finish()
    made.deeds.looker.finish()
    made.close()


@pytest.fixture
def opened(window: Window, ground: Path, settled: Callable[[], None]) -> Window:
    """The window with the ground open."""
    window.open(ground)
    settled()
    return window


@pytest.fixture
def settled(qtbot: QtBot, window: Window) -> Callable[[], None]:
    """Wait until nothing is worked out or drawn."""

    def wait() -> None:
        runners = window.deeds.runner, window.deeds.looker, window._drawer
        qtbot.waitUntil(lambda: not any(one.is_running for one in runners), timeout=300_000)

    return wait
