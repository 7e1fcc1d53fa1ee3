"""The desk while the day plan is worked out: how long it stands still, how soon a stop stops, what a stop leaves."""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from scripts.benches.child import in_child
from scripts.benches.figure import Figure, check

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from gravegis.window.frame import Window
    from scripts.benches.figure import Work

TARGETS = {
    "gap_p95": ("ms, 95 of 100 gaps between two ticks while the day plan is worked out and saved", "<= 33"),
    "gap_max": ("ms, longest gap while the day plan is worked out and saved", "<= 100"),
    "still_p95": ("ms, 95 of 100 gaps while nothing runs: what the computer itself does", ""),
    "still_max": ("ms, longest gap while nothing runs", ""),
    "cancel": ("ms from Stop until the window says Stopped, longest of the stops", "<= 250"),
}
STOPS_AT_S = (0.3, 1.0, 2.0, 3.5)
TICK_MS = 16
_SETTINGS = "look.ini"


def run(work: Work) -> Iterator[Figure]:
    """Give what is felt while the day plan of the sample ground is worked out in the window."""
    told = in_child("scripts.benches.desk:measure", "quick" if work.quick else "full")
    for name, (unit, target) in TARGETS.items():
        yield Figure(
            name=f"window.plan.{name}", value=told[name], unit=unit, target=target, n=int(told["ticks"] or 0),
            data_set="the sample ground with its results; the window offscreen, a tick every 16 ms",
            repeats=len(STOPS_AT_S) if name == "cancel" else 1, warm_up="none",
        )  # fmt: skip


def measure(size: str) -> dict[str, float]:
    """Measure in this process; all values in ms."""
    os.environ["QT_QPA_PLATFORM"] = "offscreen"
    from PySide6.QtCore import QSettings
    from PySide6.QtWidgets import QApplication

    from gravegis import pipeline, sample, store
    from gravegis.window.main import SWITCH_S, make_window

    sys.setswitchinterval(SWITCH_S)
    app = QApplication.instance() or QApplication(sys.argv[:1])
    with tempfile.TemporaryDirectory() as beside:
        folder = Path(beside) / "ground"
        store.save(pipeline.run(sample.read(sample.find()), ("worklist",)).site, folder)
        window = make_window(QSettings(str(Path(beside) / _SETTINGS), QSettings.Format.IniFormat))
        window.show()
        window.open(folder)
        _wait(lambda: not window._drawer.is_running)
        still = _gaps(lambda at_s: at_s > 3.0)
        cancels = [_cancel(window, at_s) for at_s in (STOPS_AT_S[:1] if size == "quick" else STOPS_AT_S)]
        window.deeds.work_out("routes", {}, keep=False)
        gaps = _gaps(lambda at_s: not window.deeds.runner.is_running and not window._drawer.is_running)
        check(window.desk is not None and window.desk.site.has("stops"), "the day plan was not worked out")
        window.close()
    del app
    return {
        "gap_p95": float(np.percentile(gaps, 95)), "gap_max": float(gaps.max()), "ticks": float(len(gaps)),
        "still_p95": float(np.percentile(still, 95)), "still_max": float(still.max()), "cancel": max(cancels),
    }  # fmt: skip


def _gaps(done: Callable[[float], bool]) -> np.ndarray:
    """Tick until done, and return the time between each two ticks. [ms]"""
    from PySide6.QtCore import QEventLoop, Qt, QTimer

    loop, timer, at = QEventLoop(), QTimer(timerType=Qt.TimerType.PreciseTimer, interval=TICK_MS), [time.perf_counter()]

    def tick() -> None:
        at.append(time.perf_counter())
        if done(at[-1] - at[0]):
            loop.quit()

    timer.timeout.connect(tick)
    timer.start()
    loop.exec()
    timer.stop()
    return np.diff(at) * 1000


def _cancel(window: Window, after_s: float) -> float:
    """Stop the day plan some time after it began; return the ms until the window says so, and check what it left."""
    desk = window.desk
    assert desk is not None
    before, saved = desk.site, _content(window)
    window.deeds.work_out("routes", {}, keep=False)
    _gaps(lambda at_s: at_s > after_s)
    begin = time.perf_counter()
    window.deeds.runner.stop()
    _wait(lambda: not window.deeds.runner.is_running)
    spent = (time.perf_counter() - begin) * 1000
    check(desk.site is before and _content(window) == saved, "a stop changed the site")
    return spent


def _content(window: Window) -> tuple[bytes, dict[tuple[str, str], str]]:
    desk = window.desk
    assert desk is not None
    site = desk.site
    hashes = {(name, str(one)): site.column_hash(name, str(one)) for name in site for one in site[name].columns}
    return (desk.folder / "site.gpkg").read_bytes(), hashes


def _wait(done: Callable[[], bool]) -> None:
    from PySide6.QtCore import QCoreApplication

    until = time.monotonic() + 120
    while not done():
        check(time.monotonic() < until, "waited two minutes")
        QCoreApplication.processEvents()
        time.sleep(0.001)
