"""The window: stages along the top, the map in the middle, one question at the side, the day below."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QMainWindow, QSplitter, QStackedWidget, QVBoxLayout, QWidget

from gravegis.errors import GravegisError
from gravegis.window import inout, look
from gravegis.window.clock import day_of, first_day, spraying
from gravegis.window.crews import days, strips
from gravegis.window.deeds import Deeds, today
from gravegis.window.desk import Desk
from gravegis.window.evidence import card_of, flagged, on_map
from gravegis.window.keysheet import show_keys
from gravegis.window.lastview import keep_view, show_last_view
from gravegis.window.mapside import MapSide
from gravegis.window.pieces import Foot, Side, Strip
from gravegis.window.runner import Runner
from gravegis.window.stagebar import StageBar
from gravegis.window.startpage import StartPage, recent, remember
from gravegis.window.texts import content, say
from gravegis.window.wiring import bind_keys, wire

if TYPE_CHECKING:
    from collections.abc import Callable

    from PySide6.QtCore import QSettings
    from PySide6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent

__all__ = ["Window"]

SIDE_CHARACTERS = 36
"""Width of the sheet at the side in characters, so that it grows with the text. Own choice."""
STRIPS = {
    "wetting": "clock",
    "harm": "clock",
    "plan": "crews",
    "condition": "list",
    "records": "list",
    "survey": "list",
}


class Window(QMainWindow):
    """One window for one ground.

    Parameters
    ----------
    canvas
        The map.
    scene_of
        Makes what the map draws out of a site and a theme; called beside the window.
    settings
        Where theme, size of text, units and the grounds opened before are kept.
    """

    def __init__(self, canvas: Any, scene_of: Callable[..., Any], settings: QSettings) -> None:  # noqa: ANN401
        super().__init__()
        self.settings, self._scene_of = settings, scene_of
        self.view = look.of(settings)
        self.desk: Desk | None = None
        self.stage = "survey"
        self.picked: tuple[str, str] | None = None
        self.minute: float | None = None
        self.deeds = Deeds(self)
        self._drawer = Runner(self, lane="draw")
        self._redraw_again = False
        self.start, self.bar, self.map = StartPage(), StageBar(), MapSide(canvas)
        self.side, self.strip, self.foot = Side(), Strip(), Foot()
        self._lay_out()
        wire(self)
        bind_keys(self)
        self._dress()
        self.setAcceptDrops(True)
        self.setWindowTitle(say("app.name"))
        self.resize(1400, 950)
        self.start.show_recent(recent(settings))

    def _lay_out(self) -> None:
        across, down = QSplitter(Qt.Orientation.Horizontal), QSplitter(Qt.Orientation.Vertical)
        across.addWidget(self.map)
        across.addWidget(self.side)
        across.setSizes([980, 400])
        down.addWidget(across)
        down.addWidget(self.strip)
        down.setSizes([610, 260])
        for one in (across, down):
            one.setChildrenCollapsible(False)
            one.setStretchFactor(0, 1)
        desk = QWidget()
        rows = QVBoxLayout(desk)
        rows.setContentsMargins(0, 0, 0, 0)
        rows.setSpacing(2)
        rows.addWidget(self.bar)
        rows.addWidget(down, 1)
        rows.addWidget(self.foot)
        self.pages = QStackedWidget()
        self.pages.addWidget(self.start)
        self.pages.addWidget(desk)
        self.setCentralWidget(self.pages)

    def open(self, folder: Path) -> None:
        """Open a ground; what is wrong with it is said."""
        page = self.pages.currentIndex()
        self.pages.setCurrentIndex(1)
        show_last_view(self, Path(folder))
        try:
            desk = Desk(Path(folder))
        except GravegisError as error:
            self.pages.setCurrentIndex(page)
            self.refused(error)
            return
        self.desk = self.deeds.desk = desk
        self.picked = self.minute = None
        remember(self.settings, desk.folder)
        self.setWindowTitle(say("app.title", title=desk.site.info.title))
        self.map.card.hide()
        self.stage = next((one.stage for one in desk.states() if one.kind in ("open", "late")), "wetting")
        if not desk.site.has("stones"):
            self.stage = "survey"
        self.map.show_stage(self.stage)
        self.refresh()
        self.show_side()
        self.strip.turn_to(STRIPS[self.stage])
        self.foot.say(say("foot.ready"))
        self.map.canvas.setFocus()

    def open_sample(self) -> None:
        """Make the sample ground, where it is not made yet, and open it."""
        inout.open_sample(self)

    def refresh(self) -> None:
        """Show the site as it stands now: stages, map, list, clock, crews, card."""
        if self.desk is None:
            return
        site, theme = self.desk.site, self.view.theme
        self.bar.show_states(self.desk.states(), self.stage)
        self.strip.list.show_site(site)
        self.day = day_of(site, first_day(site, today()))
        self.strip.clock.show_day(self.day, theme)
        shown = next(iter(days(site)), "")
        self.strip.crews.show_strips(strips(site, shown), shown, theme)
        self.side.survey.show_site(site)
        if self.side.currentWidget() is self.side.question:
            self.side.question.show_answer()
        if self.side.currentWidget() is self.side.head_area:
            self.side.head.show_head(site, self.side.head.head, self.view.reader)
        self.flagged = flagged(site)
        if self.picked is not None:
            self._show_card(*self.picked)
        self._redraw()

    def _redraw(self) -> None:
        """Make the picture of the site beside the window; the newest state wins."""
        if self.desk is None:
            return
        site, theme, before = self.desk.site, self.view.theme, self.map.canvas.scene
        before, make = (before if getattr(before, "theme", "") == theme else None), self._scene_of
        self._redraw_again = not self._drawer.start(lambda _: make(site, theme=theme, before=before), self._drawn)

    def _drawn(self, scene: object) -> None:
        canvas = self.map.canvas
        if self._redraw_again:  # an older state: the newest is on its way
            self._redraw()
            return
        canvas.set_scene(scene)
        self.map.show_key()
        if self.picked is not None:
            canvas.set_picked(on_map(self.picked[0]), self.picked[1])
        canvas.set_minute(self.minute, self.spraying())

    def go_to_stage(self, stage: str) -> None:
        """Turn to a stage: its question at the side, its strip below."""
        if self.desk is None:
            return
        self.stage = stage
        self.map.show_stage(stage)
        self.bar.show_states(self.desk.states(), stage)
        self.strip.turn_to(STRIPS[stage])
        self.show_side()

    def show_side(self, wanted: str = "") -> None:
        """Show the sheet of the stage: the question wanted, its page where it has one, else its next question."""
        if self.desk is None:
            return
        names = next(one.analyses for one in self.desk.states() if one.stage == self.stage)
        if names:
            self.side.question.show_stage(self.desk, names, self.view.reader, wanted)
        if self.stage == "records":
            self.side.records.show_questions({one: self.desk.pool[one].question for one in names})
        plain = {"survey": self.side.survey, "records": self.side.records}
        page = None if wanted in names else plain.get(self.stage)
        self.side.setCurrentWidget(page or (self.side.question if names else self.side.empty))
        if self.map.hand.currentData() == "move_head":
            self.map.take_hand("pick")

    def pick(self, layer: str, id: str) -> None:
        """Show what is known of a thing, on the map, on its card and in the list."""
        if self.desk is None or not id:
            self.unpick()
            return
        self.picked = (layer, id)
        self.map.canvas.set_picked(on_map(layer), id)
        self.strip.list.point_to(on_map(layer), id)
        self._show_card(layer, id)
        if layer == "heads" and self.side.currentWidget() is self.side.head_area:
            self.side.head.show_head(self.desk.site, id, self.view.reader)

    def go_to(self, layer: str, id: str) -> None:
        """Pick a thing and bring it into sight."""
        self.pick(layer, id)
        self.map.canvas.go_to(on_map(layer), id)

    def unpick(self) -> None:
        """Pick nothing."""
        self.picked = None
        self.map.card.hide()
        self.map.canvas.set_picked(None)
        self.strip.list.point_to("", "")
        self.map.canvas.setFocus()

    def step(self, by: int) -> None:
        """Go to the next or the previous flagged stone."""
        if self.desk is None or not self.flagged:
            return
        here = self.picked[1] if self.picked is not None and self.picked[1] in self.flagged else ""
        at = self.flagged.index(here) + by if here else 0
        self.go_to("stones", self.flagged[at % len(self.flagged)])

    def head_by_hand(self, head: str) -> None:
        """Take a head in hand: its sheet at the side, and the hand that moves heads on the map."""
        if self.desk is None:
            return
        self.side.head.show_head(self.desk.site, head, self.view.reader)
        self.side.setCurrentWidget(self.side.head_area)
        self.map.take_hand("move_head")
        self.map.canvas.set_picked("heads", head)
        self.map.canvas.setFocus()
        self._show_card("heads", head)

    def _show_card(self, layer: str, id: str) -> None:
        if self.desk is None:
            return
        card = card_of(self.desk.site, layer, id, self.view.reader, self.desk.journal)
        in_hand = self.side.currentWidget() is self.side.head_area and layer == "heads"
        if card is None or in_hand:  # its sheet stands at the side, and the card would lie over its handles
            self.map.card.hide()
            return
        self.map.card.show_card(card, self.desk.folder, self.flagged)
        self.map.place_card()

    def pick_middle(self) -> None:
        """Pick the stone nearest to the middle of the map."""
        nearest = self.map.nearest_to_middle()
        if nearest:
            self.pick("stones", nearest)
        elif self.picked is None:
            self.step(1)

    def selected(self, ids: tuple[str, ...]) -> None:
        """Show on the list what was picked on the map, and say how many."""
        self.strip.turn_to("list")
        self.strip.list.select(ids)
        self.foot.say(say("map.selected", count=len(ids)))

    def selected_in_list(self, ids: tuple[str, ...]) -> None:
        """Show on the map what was picked on the list."""
        self.map.canvas.set_selected(ids)
        self.foot.say(say("map.selected", count=len(ids)))

    def head_moved(self, head: str, changes: dict[str, object]) -> None:
        """Write down what a head was moved to."""
        if self.deeds.change("heads", head, changes):
            self.foot.say(say("foot.saved"))

    def head_previewed(self, head: str, wetted: object) -> None:
        """Say how many stones a head wets while it is moved."""
        if self.side.head.head == head:
            self.side.head.tell_wetted(len(wetted))  # type: ignore[arg-type]

    def spraying(self) -> tuple[str, ...]:
        """Return the zones that run at the chosen minute."""
        return spraying(self.day, self.minute) if self.desk is not None else ()

    def minute_moved(self, minute: float | None) -> None:
        """Show on the map who sprays at this minute."""
        self.minute = minute
        self.map.canvas.set_minute(None if minute is None else int(minute), self.spraying())

    def stop_chosen(self, stone: str, minute: float) -> None:
        """Go to the stop of a crew, and to its time."""
        self.go_to("stops", stone)
        self.strip.clock.set_minute(minute)
        self.minute_moved(minute)

    def seek(self) -> None:
        """Go to where numbers are looked for."""
        self.strip.turn_to("list")
        self.strip.list.finder.setFocus()
        self.strip.list.finder.selectAll()

    def escape(self) -> None:
        """Stop the work, else drop the gesture."""
        if self.deeds.runner.is_running:
            self.deeds.runner.stop()
        else:
            self.map.canvas.cancel_gesture()

    def show_keys(self) -> None:
        """Show the sheet of keys."""
        show_keys(self)

    def units(self, units: str) -> None:
        """Show other units."""
        self._look(self.view.with_units(units))

    def dark(self, is_dark: bool) -> None:
        """Change the theme."""
        self._look(self.view.with_theme("dark" if is_dark else "light"))

    def larger(self, steps: int) -> None:
        """Make the text larger or smaller."""
        self._look(self.view.larger(steps))

    def _look(self, view: look.View) -> None:
        self.view = view
        look.keep(self.settings, view)
        self._dress()
        self.refresh()
        if self.desk is not None and self.side.currentWidget() is self.side.question:
            self.show_side(str(self.side.question.choose.currentData() or ""))

    def _dress(self) -> None:
        look.dress_app(self.view)
        self.map.canvas.set_theme(self.view.theme)
        self.map.canvas.set_unit(self.view.reader.unit("m"))
        self.foot.units_.blockSignals(True)
        self.foot.units_.setCurrentIndex(self.foot.units_.findData(self.view.reader.units))
        self.foot.units_.blockSignals(False)
        self.foot.dark_.setChecked(self.view.theme == "dark")
        self.side.setMinimumWidth(self.fontMetrics().averageCharWidth() * SIDE_CHARACTERS)
        self.map.fit_key()
        self.map.place_card()

    def pointer_at(self, x: float, y: float) -> None:
        """Say where the pointer is."""
        number = self.view.reader.number
        self.foot.at.setText(say("foot.at", x=number(x, 1), y=number(y, 1)))

    def worked_out(self, name: str) -> None:
        """Show the answer."""
        self.show_side(name)

    def refused(self, error: GravegisError) -> None:
        """Say what could not be done, and how to mend it, where it is looked for."""
        words = "\n".join(
            say("foot.problem", problem=content(one.problem), remedy=content(one.remedy)) for one in error.problems
        )
        self.foot.say(words)
        self.start.said.setText(words)
        if self.side.currentWidget() is self.side.head_area:
            self.side.head.show_error(error)

    def ask_about(self, file: Path) -> None:
        """Ask the questions about a file that was dropped or chosen."""
        if self.desk is not None:
            self.side.add.show_file(file)
            self.side.setCurrentWidget(self.side.add)

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:  # noqa: N802
        """Take files."""
        if event.mimeData().hasUrls():
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:  # noqa: N802
        """Open a ground that is dropped, ask about any other file."""
        files = [Path(one.toLocalFile()) for one in event.mimeData().urls() if one.isLocalFile()]
        if files and (files[0] / "site.gpkg").is_file():
            self.open(files[0])
        elif files:
            self.ask_about(files[0])

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802
        """Stop what runs and keep the view; every gesture is written down already."""
        self.deeds.runner.finish()
        self.deeds.looker.finish()
        self._drawer.finish()
        keep_view(self)
        with contextlib.suppress(AttributeError):
            self.map.canvas.finish()
        super().closeEvent(event)
