"""One application without a screen, a small ground worked out once, and a canvas that shows it."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
pytest.importorskip("PySide6", reason="the window is an extra: pip install .[window]")

from gravegis.window.canvas import MapCanvas
from gravegis.window.scene import scene_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pytestqt.qtbot import QtBot

    from gravegis.site import Site
    from gravegis.window.scene import Scene


@pytest.fixture(scope="session")
def worked(small_run: Site) -> Site:
    """A ground with every result."""
    return small_run


@pytest.fixture(scope="session")
def scene(worked: Site) -> Scene:
    return scene_of(worked, theme="light")


@pytest.fixture
def canvas(qtbot: QtBot, scene: Scene) -> Iterator[MapCanvas]:
    """A canvas that shows the ground sharply."""
    made = MapCanvas()
    made.resize(900, 640)
    qtbot.addWidget(made, before_close_func=MapCanvas.finish)
    with qtbot.waitSignal(made.ready, timeout=20_000):
        made.show()
        made.set_scene(scene)
    yield made
    made.finish()
