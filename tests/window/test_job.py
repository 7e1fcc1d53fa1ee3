"""The whole job on the sample ground with the true map: by mouse alone, by keys alone, and killed in the middle."""

from __future__ import annotations

import datetime as dt
import math
import os
import signal
import subprocess
import sys
from typing import TYPE_CHECKING, Any

import pytest
from PySide6.QtCore import QSettings, Qt
from PySide6.QtWidgets import QApplication, QFileDialog

from gravegis import store
from gravegis.window import inout, lastview
from gravegis.window.canvas.heads import placed, wetted_by
from gravegis.window.canvas.stones import Wet
from gravegis.window.lastview import show_last_view
from gravegis.window.main import make_window
from tests.window.people import Keys, Mouse

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

STAGED = ("wetting", "harm", "condition", "plan")


class Desk:
    """The window with its true map, as it is opened by the command; it can be closed and opened again."""

    def __init__(self, qtbot: Any, folder: Path) -> None:
        self._qtbot, self._ini = qtbot, str(folder / "look.ini")
        self.window: Any = None

    def open(self) -> Any:
        self.window = make_window(QSettings(self._ini, QSettings.Format.IniFormat))
        self.window.resize(1400, 950)
        self.window.show()
        self.window.activateWindow()
        self._qtbot.waitUntil(lambda: QApplication.activeWindow() is self.window)
        return self.window

    def settled(self) -> None:
        """Wait until nothing is worked out, no key is waited for, and the map is sharp."""
        window, canvas = self.window, self.window.map.canvas

        runners = window.deeds.runner, window.deeds.looker, window._drawer

        def is_calm() -> bool:
            waits = window._redraw_again or canvas._keys.isActive() or canvas.is_dropped
            return not waits and not any(one.is_running for one in runners)

        self._qtbot.waitUntil(is_calm, timeout=180_000)
        for _ in range(5):  # a layout within a layout is made anew when Qt comes to it
            QApplication.processEvents()
        self._qtbot.waitUntil(is_calm, timeout=180_000)

    def close(self) -> None:
        self.window.close()
        self.window.deleteLater()
        QApplication.processEvents()


@pytest.fixture
def desk(qtbot: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    (tmp_path / "treatments.csv").write_text(
        "treatment_id,stone_id,done_on\nT1,S0075,2026-05-01\nT2,S0091,2026-05-02\n", encoding="utf-8"
    )
    chosen = str(tmp_path / "treatments.csv"), ""
    monkeypatch.setattr(QFileDialog, "getOpenFileName", staticmethod(lambda *_: chosen))
    monkeypatch.setattr(lastview, "view_file", lambda folder: tmp_path / "views" / f"{folder.name}.png")
    monkeypatch.setattr(inout, "sample_folder", lambda: tmp_path / "ground")
    made = Desk(qtbot, tmp_path)
    made.open()
    yield made
    made.close()


def wettest(window: Any) -> tuple[str, list[str]]:
    """A stone that a stream strikes and the fewest heads reach, in still air as in the wind, and those heads."""
    site, scene = window.desk.site, window.map.canvas.scene
    states = dict(zip(site["stone_wetting"]["stone_id"], site["stone_wetting"]["state"], strict=True))
    heads: dict[str, set[str]] = {}
    for one in site["wetting_links"].to_dict("records"):
        if states[one["stone_id"]] == "struck":
            heads.setdefault(one["stone_id"], set()).add(one["head_id"])
    still: dict[str, set[str]] = {}
    for row in range(len(scene.heads)):
        held = placed(scene.heads, row)
        rows: Any = wetted_by(scene.stones, held)[0] if held is not None else []
        for stone in scene.stones.ids[rows]:
            still.setdefault(stone, set()).add(scene.heads.ids[row])
    fit = {one: mine for one, mine in heads.items() if still.get(one, set()) <= mine}
    stone = min(fit, key=lambda one: (len(fit[one]), one))
    return stone, sorted(fit[stone])


def on_map(window: Any, stone: str) -> int:
    """The state the map shows for a stone."""
    stones = window.map.canvas.scene.stones
    return int(stones.wet_code[list(stones.ids).index(stone)])


def is_reached(window: Any, stone: str) -> bool:
    frame = window.desk.site["stone_wetting"]
    return bool(frame.loc[frame["stone_id"] == stone, "reached"].iloc[0])


def place_of(window: Any, layer: str, key: str, name: str) -> tuple[float, float]:
    shape = window.desk.site[layer].set_index(key).loc[name, "geometry"].centroid
    return shape.x, shape.y


def hashes(site: Any) -> dict[tuple[str, str], str]:
    return {(name, str(column)): site.column_hash(name, str(column)) for name in site for column in site[name].columns}


def stages(window: Any) -> Iterator[tuple[int, str, tuple[str, ...]]]:
    for number, stage in enumerate(("survey", *STAGED, "records"), 1):
        yield number, stage, next(one.analyses for one in window.desk.states() if one.stage == stage)


def is_all_there(window: Any, kept: dict[tuple[str, str], str]) -> None:
    assert hashes(window.desk.site) == kept
    assert {one.analysis for one in window.desk.site.log} == set(window.desk.pool)
    assert list((window.desk.folder / "out").glob("crew_*.pdf"))


@pytest.mark.full
def test_the_whole_job_by_mouse(desk: Desk) -> None:
    window = desk.window
    mouse = Mouse(window, desk.settled)
    mouse.click("sample ground")
    mouse.click("Stage 1")
    mouse.click("Add a file")
    mouse.click("Add it")
    assert window.desk.site.rows_n("treatments") == 2
    for number, _, names in stages(window):
        mouse.click(f"Stage {number}")
        for name in names:
            work_out_by_mouse(mouse, name)
    stone, heads = wettest(window)
    mouse.take(window.strip.which, "list")
    mouse.row(window.strip.list.table, stone)
    assert on_map(window, stone) in (Wet.NEAR, Wet.REACHED)
    for head in heads:
        turn_away_by_mouse(mouse, stone, head)
    assert on_map(window, stone) == Wet.NOT_REACHED
    mouse.click("Undo")
    assert on_map(window, stone) != Wet.NOT_REACHED
    mouse.click("Redo")
    mouse.click("Stage 2")
    work_out_by_mouse(mouse, "wetting")
    assert not is_reached(window, stone)
    mouse.click("Stage 5")
    work_out_by_mouse(mouse, "routes")
    assert len(window.strip.crews.rows.strips) > 1
    mouse.click("Stage 6")
    mouse.click("Pages and tables")
    kept = hashes(window.desk.site)
    desk.close()
    window = desk.open()
    Mouse(window, desk.settled).click(str(window.settings.value("recent")[0]))
    is_all_there(window, kept)
    assert not is_reached(window, stone)


def work_out_by_mouse(mouse: Mouse, name: str) -> None:
    window = mouse.window
    if window.side.currentWidget() is window.side.records:
        mouse.click(window.desk.pool[name].question)
    if window.side.question.choose.isVisible():
        mouse.take(window.side.question.choose, name)
    mouse.click("Work it out")
    assert name in {one.analysis for one in window.desk.site.log}, window.foot.said.text()


def turn_away_by_mouse(mouse: Mouse, stone: str, head: str) -> None:
    """From the card of the stone to the head, into the hand, a quarter of a turn away from the stone."""
    window, canvas = mouse.window, mouse.window.map.canvas
    window.go_to("stones", stone)
    mouse.settled()
    middle = mouse.at(*place_of(window, "stones", "stone_id", stone))
    from PySide6.QtTest import QTest

    QTest.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=middle)
    assert window.picked == ("stones", stone)
    mouse.click(f"head {head}:")
    mouse.click("Set by hand")
    x_m, y_m = place_of(window, "heads", "head_id", head)
    stone_x, stone_y = place_of(window, "stones", "stone_id", stone)
    away = math.atan2(x_m - stone_x, y_m - stone_y)
    far_m = canvas.hold.now.throw_m
    begin = math.radians(canvas.hold.now.from_deg)
    quarter = begin + math.pi / 2
    mouse.drag("sweep", x_m + far_m * math.sin(quarter), y_m + far_m * math.cos(quarter))
    begin = away - math.pi / 4
    mouse.drag("turn", x_m + far_m * math.sin(begin), y_m + far_m * math.cos(begin))
    mouse.click("Back to the question")


@pytest.mark.full
def test_the_whole_job_by_keyboard_alone(desk: Desk) -> None:
    window = desk.window
    keys = Keys(window, desk.settled)
    keys.push("sample ground")
    keys.control(Qt.Key.Key_1)
    keys.push("Add a file")
    keys.push("Add it")
    assert window.desk.site.rows_n("treatments") == 2
    for number, stage, names in stages(window):
        keys.control(Qt.Key(Qt.Key.Key_0 + number))
        assert window.stage == stage
        for name in names:
            work_out_by_keys(keys, name)
    stone, heads = wettest(window)
    keys.control(Qt.Key.Key_F)
    keys.type(stone)
    keys.press(Qt.Key.Key_Return)
    assert window.picked == ("stones", stone)
    assert on_map(window, stone) in (Wet.NEAR, Wet.REACHED)
    for head in heads:
        turn_away_by_keys(keys, stone, head)
    assert on_map(window, stone) == Wet.NOT_REACHED
    keys.control(Qt.Key.Key_Z)
    assert on_map(window, stone) != Wet.NOT_REACHED
    keys.control(Qt.Key.Key_Z, shift=True)
    keys.control(Qt.Key.Key_2)
    work_out_by_keys(keys, "wetting")
    assert not is_reached(window, stone)
    keys.control(Qt.Key.Key_5)
    work_out_by_keys(keys, "routes")
    keys.control(Qt.Key.Key_6)
    keys.control(Qt.Key.Key_P)
    kept = hashes(window.desk.site)
    keys.control(Qt.Key.Key_Q)
    assert not window.isVisible()
    desk.close()
    window = desk.open()
    Keys(window, desk.settled).push(str(window.settings.value("recent")[0]))
    is_all_there(window, kept)


def work_out_by_keys(keys: Keys, name: str) -> None:
    window = keys.window
    if window.side.currentWidget() is window.side.records:
        keys.push(window.desk.pool[name].question)
    if window.side.question.choose.isVisible():
        keys.take("Question", name)
    keys.control(Qt.Key.Key_Return)
    assert name in {one.analysis for one in window.desk.site.log}, window.foot.said.text()


def turn_away_by_keys(keys: Keys, stone: str, head: str) -> None:
    """Find the head, take it in hand, write its turn into the sheet."""
    window = keys.window
    keys.control(Qt.Key.Key_F)
    keys.type(head)
    keys.press(Qt.Key.Key_Return)
    keys.push("Set by hand")
    x_m, y_m = place_of(window, "heads", "head_id", head)
    stone_x, stone_y = place_of(window, "stones", "stone_id", stone)
    away_deg = math.degrees(math.atan2(x_m - stone_x, y_m - stone_y))
    keys.write("Turn starts at", f"{(away_deg - 45) % 360:.0f}")
    keys.write("Turns by", "90")
    keys.press(Qt.Key.Key_Return)
    keys.push("Back to the question")


def test_what_was_seen_last_is_shown_with_its_day_until_the_ground_is_read(ground: Path, desk: Desk) -> None:
    window = desk.window
    assert not show_last_view(window, ground)
    window.open(ground)
    desk.settled()
    desk.close()
    window = desk.open()
    assert show_last_view(window, ground)
    note = window.map.canvas._hands.note
    assert dt.datetime.now().astimezone().date().isoformat() in note
    window.open(ground)
    desk.settled()
    desk._qtbot.waitUntil(lambda: not window.map.canvas._hands.note, timeout=60_000)


KILLED = """
import sys, time
from pathlib import Path
from PySide6.QtCore import QSettings, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from gravegis.window.lastview import show_last_view
from gravegis.window.main import make_window
app = QApplication([])
window = make_window(QSettings(sys.argv[2], QSettings.Format.IniFormat))
window.show()
window.open(Path(sys.argv[1]))
canvas = window.map.canvas
def calm():
    while window._drawer.is_running or window._redraw_again or canvas._keys.isActive():
        app.processEvents()
        time.sleep(0.005)
calm()
head = str(window.desk.site["heads"]["head_id"].iloc[0])
window.pick("heads", head)
for key in (Qt.Key.Key_M, Qt.Key.Key_Right, Qt.Key.Key_Right, Qt.Key.Key_Right):
    QTest.keyClick(canvas, key)
calm()
print("made", flush=True)
sys.stdin.read()
"""


def test_a_window_killed_after_a_gesture_is_opened_with_it(ground: Path, tmp_path: Path, desk: Desk) -> None:
    before = store.load(ground)["heads"]["geometry"].iloc[0]
    child = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(ground), str(tmp_path / "other.ini")], stdin=subprocess.PIPE,
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert child.stdout is not None
    assert child.stdin is not None
    assert child.stdout.readline().strip() == "made"
    os.kill(child.pid, signal.SIGKILL)
    child.wait()
    child.stdin.close()
    child.stdout.close()
    window = desk.window
    window.open(ground)
    desk.settled()
    assert window.desk.site["heads"]["geometry"].iloc[0].x == pytest.approx(before.x + 0.3)
    Keys(window, desk.settled).control(Qt.Key.Key_Z)
    assert window.desk.site["heads"]["geometry"].iloc[0].equals(before)
