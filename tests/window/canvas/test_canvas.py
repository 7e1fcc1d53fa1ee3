"""The canvas as a person uses it: look, pick, select, measure, move heads by mouse and by keys; nothing lost."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QColor, QImage

from gravegis import edits
from gravegis.outputs import symbols
from gravegis.store.backdrops import Picture
from gravegis.window.canvas import MapCanvas, Tool
from gravegis.window.canvas.furniture import bar_length, length_words
from gravegis.window.canvas.inks import pen_of
from gravegis.window.canvas.last import keep_picture, last_picture
from gravegis.window.canvas.view import View, fitting
from gravegis.window.scene import kinds_of, scene_of, themed

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from pytestqt.qtbot import QtBot

    from gravegis.site import Site
    from gravegis.window.scene import Scene

LEFT = Qt.MouseButton.LeftButton


def at(canvas: MapCanvas, x_m: float, y_m: float) -> QPoint:
    return QPointF(*canvas.view.to_screen(x_m, y_m)).toPoint()


def click(qtbot: QtBot, canvas: MapCanvas, place: QPoint) -> None:
    mouse: Any = qtbot  # its mouse has no types
    mouse.mouseClick(canvas, LEFT, pos=place)


def drag(qtbot: QtBot, canvas: MapCanvas, places: list[QPoint]) -> None:
    mouse: Any = qtbot
    mouse.mousePress(canvas, LEFT, pos=places[0])
    for place in places[1:]:
        mouse.mouseMove(canvas, place)
    mouse.mouseRelease(canvas, LEFT, pos=places[-1])


def sharp(qtbot: QtBot, canvas: MapCanvas, does: Callable[[], object]) -> QImage:
    with qtbot.waitSignal(canvas.ready, timeout=20_000):
        does()
    return canvas.grab().toImage()


def inks(image: QImage) -> set[int]:
    view = np.frombuffer(image.convertToFormat(QImage.Format.Format_RGB32).constBits(), dtype=np.uint32)
    return set(np.unique(view).tolist())


def rgb(colour: str) -> int:
    return int(QColor(colour).rgb())


def test_ground_and_screen_turn_into_each_other() -> None:
    view = View(371_990.5, 6_249_990.25, 7.3, 801, 603).zoomed(1.7, (100, 50)).moved(13, -7)
    assert view.to_screen(*view.to_ground(222, 333)) == pytest.approx((222, 333))
    before = View(0, 0, 5, 800, 600)
    assert before.zoomed(2, (10, 20)).to_ground(10, 20) == pytest.approx(before.to_ground(10, 20))
    assert fitting((0, 0, 100, 10), 800, 600).px_per_m == 8


def test_a_click_on_any_stone_picks_that_stone(qtbot: QtBot, canvas: MapCanvas, scene: Scene) -> None:
    rows = np.random.default_rng(4).integers(0, len(scene.stones), 25)
    canvas.set_shown(frozenset(["stones"]))
    for row in rows.tolist():
        name = str(scene.stones.ids[row])
        canvas.go_to("stones", name)
        with qtbot.waitSignal(canvas.picked) as told:
            click(qtbot, canvas, at(canvas, scene.stones.x_m[row], scene.stones.y_m[row]))
        assert told.args == ["stones", name]


def test_a_click_a_few_pixels_beside_a_lone_head_picks_it_and_bare_ground_picks_nothing(
    qtbot: QtBot, canvas: MapCanvas, scene: Scene
) -> None:
    name = str(scene.heads.ids[0])
    canvas.go_to("heads", name)
    place = at(canvas, scene.heads.x_m[0], scene.heads.y_m[0])
    with qtbot.waitSignal(canvas.picked) as told:
        click(qtbot, canvas, place + QPoint(6, 4))
    assert told.args == ["heads", name]
    west, south, _, _ = scene.bounds_m
    canvas.look_at(View(west - 900, south - 900, 8, 900, 640))
    with qtbot.waitSignal(canvas.picked) as told:
        click(qtbot, canvas, QPoint(300, 300))
    assert told.args == ["", ""]


def test_a_drag_pans_and_is_no_click_and_the_wheel_keeps_the_place_under_it(qtbot: QtBot, canvas: MapCanvas) -> None:
    before = canvas.view
    with qtbot.assertNotEmitted(canvas.picked):
        drag(qtbot, canvas, [QPoint(300, 300), QPoint(320, 310), QPoint(350, 330)])
    assert canvas.view.to_ground(350, 330) == pytest.approx(before.to_ground(300, 300))
    stays = canvas.view.to_ground(100, 80)
    canvas.zoom_by(1.44, (100, 80))
    assert canvas.view.to_ground(100, 80) == pytest.approx(stays)


def test_a_frame_and_a_loop_select_the_stones_whose_middle_they_hold(
    qtbot: QtBot, canvas: MapCanvas, scene: Scene
) -> None:
    one, other = QPoint(220, 100), QPoint(520, 430)
    (x1, y1), (x2, y2) = canvas.view.to_ground(220, 100), canvas.view.to_ground(520, 430)
    stones = scene.stones
    within = (stones.x_m >= x1) & (stones.x_m <= x2) & (stones.y_m <= y1) & (stones.y_m >= y2)
    expected = tuple(stones.ids[within].tolist())
    assert len(expected) > 10
    canvas.set_tool(Tool.BOX)
    with qtbot.waitSignal(canvas.selected) as told:
        drag(qtbot, canvas, [one, other])
    assert told.args == [expected]
    canvas.set_tool(Tool.LASSO)
    corners = [one, QPoint(other.x(), one.y()), other, QPoint(one.x(), other.y())]
    with qtbot.waitSignal(canvas.selected) as told:
        drag(qtbot, canvas, corners)
    assert told.args == [expected]


def test_the_measured_line_tells_its_length_on_the_map(qtbot: QtBot, canvas: MapCanvas) -> None:
    canvas.set_tool(Tool.MEASURE)
    bare = canvas.grab().toImage()
    for place in (QPoint(200, 200), QPoint(500, 200)):
        click(qtbot, canvas, place)
    assert canvas._hands._measure.length_m() == pytest.approx(300 / canvas.view.px_per_m)
    assert canvas.grab().toImage() != bare
    canvas.cancel_gesture()
    assert canvas.grab().toImage() == bare


def full_circle(scene: Scene) -> int:
    return next(
        row for row in range(len(scene.heads))
        if scene.heads.throws.sweep_deg[scene.heads.throw_row[row]] == 360 and row not in scene.heads.surveyed
        and scene.heads.throws.strip_side[scene.heads.throw_row[row]] == 0
    )  # fmt: skip


def test_a_head_dragged_by_hand_wets_live_and_the_row_that_follows_wets_the_same(
    qtbot: QtBot, canvas: MapCanvas, worked: Site, scene: Scene
) -> None:
    row = full_circle(scene)
    name = str(scene.heads.ids[row])
    canvas.go_to("heads", name)
    canvas.set_tool(Tool.MOVE_HEAD)
    begin = at(canvas, scene.heads.x_m[row], scene.heads.y_m[row])
    previews: list[tuple[str, ...]] = []
    canvas.head_previewed.connect(lambda _, ids: previews.append(ids))
    with qtbot.waitSignal(canvas.head_moved) as told:
        drag(qtbot, canvas, [begin, begin + QPoint(20, 5), begin + QPoint(60, 15)])
    head, changes = told.args
    assert head == name
    assert set(changes) == {"geometry"}
    assert len(previews) >= 2
    after = edits.apply(worked, edits.change(worked, "heads", name, changes))
    fresh = scene_of(after, theme="light", before=scene)
    hold = canvas.hold
    assert hold is not None
    assert fresh.heads.x_m[row] == hold.now.x_m
    with qtbot.waitSignal(canvas.ready, timeout=20_000):
        canvas.set_scene(fresh)
    assert canvas.hold is None


def test_arrow_keys_move_turn_and_resize_a_head_as_one_gesture(qtbot: QtBot, canvas: MapCanvas, scene: Scene) -> None:
    row = next(
        row for row in range(len(scene.heads))
        if scene.heads.throws.sweep_deg[scene.heads.throw_row[row]] < 360 and row not in scene.heads.surveyed
    )  # fmt: skip
    canvas.set_tool(Tool.MOVE_HEAD)
    canvas.set_picked("heads", str(scene.heads.ids[row]))
    moves: list[dict[str, object]] = []
    canvas.head_moved.connect(lambda _, changes: moves.append(changes))
    with qtbot.waitSignal(canvas.head_moved, timeout=5000):
        canvas.nudge_head(0.1, 0.0)
        canvas.nudge_head(0.1, 0.0)
        canvas.turn_head(5.0)
        canvas.resize_head(0.1)
    assert len(moves) == 1
    assert set(moves[0]) == {"geometry", "arc_from_deg", "throw_m"}
    assert moves[0]["geometry"].x == pytest.approx(scene.heads.x_m[row] + 0.2, abs=0.0011)  # type: ignore[attr-defined]


def test_escape_puts_a_head_back_and_nothing_is_told(qtbot: QtBot, canvas: MapCanvas, scene: Scene) -> None:
    canvas.set_tool(Tool.MOVE_HEAD)
    canvas.set_picked("heads", str(scene.heads.ids[3]))
    before = sharp(qtbot, canvas, canvas.refresh)
    with qtbot.assertNotEmitted(canvas.head_moved):
        canvas.nudge_head(4.0, 4.0)
        changed = canvas.grab().toImage()
        canvas.cancel_gesture()
    assert changed != before
    assert sharp(qtbot, canvas, canvas.refresh) == before


def test_heads_are_never_moved_by_accident_with_another_tool(qtbot: QtBot, canvas: MapCanvas, scene: Scene) -> None:
    row = full_circle(scene)
    canvas.go_to("heads", str(scene.heads.ids[row]))
    place = at(canvas, scene.heads.x_m[row], scene.heads.y_m[row])
    with qtbot.assertNotEmitted(canvas.head_moved):
        drag(qtbot, canvas, [place, place + QPoint(30, 10), place + QPoint(50, 30)])


def test_every_switch_changes_the_picture(qtbot: QtBot, canvas: MapCanvas, scene: Scene) -> None:
    """Looked at where all kinds lie; condition is judged with stones switched on."""
    every = frozenset(kinds_of(scene))
    whole = sharp(qtbot, canvas, lambda: canvas.set_shown(every))
    for kind in sorted(every):
        grids = {one for one in every if one.startswith("grid:")}
        kept = every - grids | ({kind} if kind in grids else set())
        base = whole if kind not in grids else sharp(qtbot, canvas, partial(canvas.set_shown, frozenset(kept)))
        without = sharp(qtbot, canvas, partial(canvas.set_shown, frozenset(kept - {kind})))
        assert without != base, kind


def test_each_switch_has_samples_with_words_for_the_key(canvas: MapCanvas) -> None:
    for kind in canvas.kinds():
        if kind in ("names", "backdrop"):
            continue
        samples = canvas.samples(kind)
        assert samples, kind
        assert all(words and not picture.isNull() for picture, words in samples)


def test_the_minute_shows_what_sprays_by_hatch_and_line_not_colour_alone(
    qtbot: QtBot, canvas: MapCanvas, scene: Scene
) -> None:
    zone = str(next(one for one in scene.heads.zones if one))
    quiet = sharp(qtbot, canvas, lambda: canvas.set_minute(300, ()))
    sprayed = sharp(qtbot, canvas, lambda: canvas.set_minute(300, (zone,)))
    drawn = symbols.symbol("spraying")
    assert {rgb(drawn.fill), rgb(drawn.line)} <= inks(sprayed)
    assert rgb(drawn.fill) not in inks(quiet)
    assert drawn.hatch
    assert sharp(qtbot, canvas, lambda: canvas.set_minute(None)) == quiet


def test_in_the_dark_the_paper_is_dark_and_nothing_white_is_left_of_the_light_theme(
    qtbot: QtBot, canvas: MapCanvas
) -> None:
    dark = sharp(qtbot, canvas, lambda: canvas.set_theme("dark"))
    assert QColor(dark.pixel(3, 3)).name() == symbols.PAPERS["dark"]
    assert rgb(symbols.symbol("wetted", "light").fill) not in inks(dark)


def test_a_gesture_shows_at_once_the_picture_at_hand_then_a_sharp_one(qtbot: QtBot, canvas: MapCanvas) -> None:
    shapes = sharp(qtbot, canvas, lambda: canvas.zoom_by(2.0))
    canvas.pan_by(40, 0)
    moved = canvas.grab().toImage()
    part = (100, 150, 600, 300)
    left = moved.copy(part[0] + 40, *part[1:])
    # bar and north stand still and are outside this part
    assert left == shapes.copy(*part)
    assert sharp(qtbot, canvas, canvas.refresh).size() == moved.size()


def test_a_picture_that_is_out_of_date_is_never_shown(qtbot: QtBot, canvas: MapCanvas) -> None:
    seen: list[View] = []
    canvas.ready.connect(lambda: seen.append(canvas.view))
    with qtbot.waitSignal(canvas.ready, timeout=20_000):
        for _ in range(6):
            canvas.zoom_by(1.3)
            canvas._redraw()
    assert len(seen) == 1
    assert canvas.picture() == canvas.grab().toImage()


def test_a_picture_for_saving_is_as_dense_as_asked(canvas: MapCanvas) -> None:
    image = canvas.picture(density=2.0)
    assert (image.width(), image.height()) == (1800, 1280)


def test_the_last_picture_is_shown_with_its_day_until_the_ground_is_drawn(
    qtbot: QtBot, canvas: MapCanvas, scene: Scene, tmp_path: Path
) -> None:
    file = tmp_path / "last.png"
    assert keep_picture(canvas, file, kept_on="2026-11-24")
    kept = last_picture(file)
    assert kept is not None
    assert kept.kept_on == "2026-11-24"
    assert kept.bounds_m == pytest.approx(canvas.view.box_m)
    fresh = MapCanvas()
    fresh.resize(900, 640)
    qtbot.addWidget(fresh, before_close_func=MapCanvas.finish)
    bare = fresh.grab().toImage()
    fresh.show_last_picture(kept.image, kept.bounds_m, "2026-11-24")
    early = fresh.grab().toImage()
    assert len(inks(early)) > len(inks(bare))
    with qtbot.waitSignal(fresh.ready, timeout=20_000):
        fresh.set_scene(scene)
    assert fresh.grab().toImage() == canvas.grab().toImage()
    assert last_picture(tmp_path / "none.png") is None


@pytest.mark.parametrize(
    ("px_per_m", "unit", "words", "px"),
    [
        (1.0, "metric", "100 m", 100),
        (8.0, "metric", "10 m", 80),
        (8.0, "us", "50 ft", 121.92),
        (200, "metric", "0.5 m", 100),
    ],
)
def test_the_bar_has_a_round_length_in_the_units_of_the_reader(
    px_per_m: float, unit: str, words: str, px: float
) -> None:
    long_px, said = bar_length(px_per_m, unit)
    assert said == words
    assert long_px == pytest.approx(px)


@pytest.mark.cited("the international foot is 0.3048 m by definition")
def test_lengths_are_written_in_feet_for_us_readers() -> None:
    assert length_words(3.048, "us") == "10.00 ft"
    assert length_words(3.048, "metric") == "3.05 m"


def test_themes_keep_dashes_widths_and_marks_so_that_only_colours_differ(scene: Scene) -> None:
    for one, other in zip(scene.drawn, themed(scene, "dark").drawn, strict=True):
        assert pen_of(one.symbol).dashPattern() == pen_of(other.symbol).dashPattern()
        assert pen_of(one.symbol).widthF() == pen_of(other.symbol).widthF()


def test_a_backdrop_lies_under_all_where_it_belongs(qtbot: QtBot, canvas: MapCanvas, scene: Scene) -> None:
    west, south, east, north = scene.bounds_m
    rgba = np.zeros((20, 20, 4), dtype=np.uint8)
    rgba[:10], rgba[10:] = (200, 10, 10, 255), (10, 10, 200, 255)
    shown = replace(scene, backdrops=(Picture(rgba, (west, south, east, north)),))
    canvas.set_shown(frozenset(["backdrop"]))
    image = sharp(qtbot, canvas, lambda: canvas.set_scene(shown))
    assert "backdrop" in canvas.kinds()
    upper, lower = (at(canvas, west + 1, north - 1 - down) for down in (0, (north - south) * 0.75))
    assert QColor(image.pixel(upper)).name() == "#c80a0a"
    assert QColor(image.pixel(lower)).name() == "#0a0ac8"
    canvas.set_shown(frozenset(["backdrop", "stones"]))
    over = sharp(qtbot, canvas, canvas.refresh)
    assert over != image
