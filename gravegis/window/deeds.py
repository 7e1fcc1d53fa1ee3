"""What can be done at the desk: work out, edit, observe, bring in, print. The frame shows what came of it."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject, Signal

from gravegis.errors import GravegisError
from gravegis.layers.naming import column_in_words
from gravegis.layers.read.raw import shown
from gravegis.window.aside import work_aside
from gravegis.window.runner import Runner
from gravegis.window.texts import content, say

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from gravegis.edits import AnyEdit
    from gravegis.window.desk import Desk
    from gravegis.window.job import Work

__all__ = ["Deeds"]


class Deeds(QObject):
    """Does things to the site on the desk; `site_changed` says that it is another one, `told` what happened."""

    site_changed = Signal()
    told = Signal(str)
    refused = Signal(object)
    worked_out = Signal(str)
    brought = Signal()
    bring_refused = Signal(object)
    looked = Signal(object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.desk: Desk | None = None
        self.runner = Runner(self)
        self.runner.changed.connect(self._busy)
        self.runner.stopped.connect(lambda: self.told.emit(say("sheet.stopped")))
        self.runner.refused.connect(self._work_refused)
        self.runner.broke.connect(lambda words: self.told.emit(say("foot.bug", problem=words)))
        self._is_bringing = False
        self.looker = Runner(self, lane="look")
        self.looker.refused.connect(self.bring_refused)
        self.looker.broke.connect(lambda words: self.told.emit(say("foot.bug", problem=words)))
        self._look_next: Callable[[], None] | None = None

    def work_out(self, name: str, typed: Mapping[str, str], *, keep: bool) -> None:
        """Work one analysis out beside the window and save what it gives; a stop changes nothing."""
        desk = self.desk
        if desk is None:
            return
        started = desk.site

        def task(work: Work) -> None:
            saved = started.settings.get(name, {})
            site = started.with_settings(name, {**saved, **typed}) if keep and typed else started
            desk.take(work_aside(site, desk.folder, name, typed)(work), started)
            desk.late()

        self.runner.start(task, lambda _: self._worked_out(name))

    def change(self, layer: str, id: str, values: Mapping[str, object]) -> bool:
        """Make one gesture; False where it was refused."""
        return self._edit(lambda desk: desk.change(layer, id, values))

    def put_head(self, head: str, texts: Mapping[str, str]) -> None:
        """Give a head what was typed, with units and signs as the command line reads them."""
        from gravegis.cli import row

        if self.desk is None:
            return
        try:
            values = row.typed(self.desk.site, "heads", head, [f"{name}={text}" for name, text in texts.items()])
        except GravegisError as error:
            self.refused.emit(error)
            return
        if self.change("heads", head, values):
            columns = ", ".join(_name("heads", one) for one in values)
            self.told.emit(say("head.done", id=head, columns=columns))

    def saw(self, stone: str, seen: str, zones: tuple[str, ...]) -> None:
        """Write down what was seen on a stone today; the zone too, where the clock shows exactly one running."""
        if self.desk is None:
            return
        row = self.desk.next_id("observations", "O")
        values: dict[str, object] = {"stone_id": stone, "seen": seen, "seen_on": today().isoformat()}
        if len(zones) == 1:
            values["zone_id"] = zones[0]
        if self._edit(lambda desk: desk.add("observations", row, values)):
            self.told.emit(say("card.saw.done", id=stone, seen=say(f"card.{seen}"), row=row))

    def undo(self) -> None:
        """Take the last gesture back."""
        self._again("undo")

    def redo(self) -> None:
        """Make again what was taken back."""
        self._again("redo")

    def look(self, layer: str, file: Path, encoding: str | None) -> None:
        """Look at a file beside the window, to ask about it; the newest wish wins."""
        from gravegis.window.addlook import look_task

        if self.desk is None:
            return
        site = self.desk.site

        def begin() -> None:
            self._look_next = None
            self.looker.start(look_task(site, layer, file, encoding), self._looked)

        if self.looker.is_running:
            self._look_next = begin
        else:
            begin()

    def _looked(self, found: object) -> None:
        if self._look_next is not None:
            self._look_next()
        else:
            self.looked.emit(found)

    def bring(self, layer: str, file: Path, how: Mapping[str, Any]) -> None:
        """Bring a file in beside the window and save the site with it."""
        from gravegis.window.addsheet import bring_task

        desk = self.desk
        if desk is None:
            return
        started = desk.site

        def task(work: Work) -> tuple[str, int, tuple[str, ...]]:
            done = bring_task(started, layer, file, **how)(work)
            missing = desk.take(done.site, started, pictures=(layer, file if file.is_dir() else file.parent))
            desk.late()
            told = [say("add.missing", count=len(missing), names=shown(missing))] if missing else []
            return layer, done.site.rows_n(layer), (*told, *done.warnings, *done.notes)

        self._is_bringing = self.runner.start(task, lambda found: self._brought(found, file))

    def pages(self, paper: str) -> None:
        """Write every page and table of the results there are into the folder of the site."""
        desk = self.desk
        if desk is None:
            return

        def task(work: Work) -> object:
            from gravegis import store
            from gravegis.outputs import folder

            work.tell(0.05, say("print.making"))
            with store.locked(desk.folder):
                return folder.write_all(desk.site, desk.folder / "out", made_on=today().isoformat(), paper=paper)

        where = desk.folder / "out"
        self.runner.start(task, lambda made: self.told.emit(say("print.done", count=len(made), folder=where)))

    def _edit(self, does: Callable[[Desk], AnyEdit]) -> bool:
        if self.desk is None:
            return False
        try:
            does(self.desk)
        except GravegisError as error:
            self.refused.emit(error)
            self.site_changed.emit()  # the map goes back to what stands
            return False
        self.site_changed.emit()
        return True

    def _again(self, kind: str) -> None:
        if self.desk is None:
            return
        try:
            made = self.desk.undo() if kind == "undo" else self.desk.redo()
        except GravegisError as error:
            self.refused.emit(error)
            return
        if made is None:
            self.told.emit(say(f"foot.{kind}.none"))
            return
        self.site_changed.emit()
        columns = ", ".join(
            _name(made.layer, one) for one in (getattr(made, "changes", None) or getattr(made, "row", {}))
        )
        self.told.emit(say(f"foot.{kind}", what=f"{made.id}, {columns}"))

    def _busy(self, is_busy: bool) -> None:
        if self.desk is not None:
            self.desk.is_busy = is_busy

    def _worked_out(self, name: str) -> None:
        self.site_changed.emit()
        self.worked_out.emit(name)
        self.told.emit(say("foot.saved"))

    def _brought(self, found: tuple[str, int, tuple[str, ...]], file: Path) -> None:
        from gravegis.layers.naming import layer_in_words

        self._is_bringing = False
        layer, count, said = found
        self.site_changed.emit()
        self.brought.emit()
        words = say("add.done", name=content(layer_in_words(layer)), count=count, file=file.name)
        self.told.emit("\n".join([words, *(content(one) for one in said[:3])]))

    def _work_refused(self, error: GravegisError) -> None:
        if self._is_bringing:
            self._is_bringing = False
            self.bring_refused.emit(error)
        else:
            self.refused.emit(error)


def today() -> dt.date:
    """Return the day here."""
    return dt.datetime.now().astimezone().date()


def _name(layer: str, column: str) -> str:
    return content("place" if column == "geometry" else column_in_words(layer, column))
