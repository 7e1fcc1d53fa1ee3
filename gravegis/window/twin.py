"""The list twin of the map: everything that can be picked there can be picked here, by the same selection."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from PySide6.QtCore import (
    QAbstractTableModel,
    QEvent,
    QItemSelection,
    QItemSelectionModel,
    QModelIndex,
    QPersistentModelIndex,
    Qt,
    Signal,
)
from PySide6.QtWidgets import (
    QAbstractItemView,
    QComboBox,
    QHBoxLayout,
    QHeaderView,
    QLineEdit,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from gravegis.window.evidence import flagged
from gravegis.window.parts import button, label
from gravegis.window.texts import content, say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from PySide6.QtGui import QFocusEvent

    from gravegis.site import Site

__all__ = ["ListTwin", "rows_for"]

WHATS = ("flagged", "stones", "heads", "zones")


def rows_for(site: Site, what: str) -> tuple[str, list[list[str]]]:
    """Return the layer of a list and its rows: name, spray, condition, where; those of heads name their zone."""
    if what in ("heads", "zones"):
        if what not in site:
            return what, []
        frame = site[what]
        key, other = ("head_id", "zone_id") if what == "heads" else ("zone_id", "notes")
        where = frame[other] if other in frame.columns else frame[key]
        return what, [[str(one), "", "", _text(at)] for one, at in zip(frame[key], where, strict=True)]
    if "stones" not in site:
        return "stones", []
    stones = site["stones"]
    wet = _spray(site)
    overall = _column(site, "stone_condition", "overall")
    row = stones["row"] if "row" in stones.columns else stones["stone_id"]
    places: dict[Any, Any] = dict(zip(stones["stone_id"], row, strict=True))
    names: Sequence[Any] = flagged(site) if what == "flagged" else list(stones["stone_id"])
    return "stones", [[str(one), wet.get(one, ""), _text(overall.get(one)), _text(places.get(one))] for one in names]


def _spray(site: Site) -> Mapping[Any, str]:
    """Return what the spray does to each stone: its state, else whether it is reached."""
    if site.has("stone_wetting", "state"):
        frame = site["stone_wetting"][["stone_id", "state"]].dropna()
        return dict(zip(frame["stone_id"], frame["state"].astype("str"), strict=True))
    words = {True: say("list.reached"), False: say("list.not_reached")}
    return {stone: words[bool(value)] for stone, value in _column(site, "stone_wetting", "reached").items()}


def _column(site: Site, layer: str, column: str) -> Mapping[Any, Any]:
    if not site.has(layer, column):
        return {}
    frame = site[layer][["stone_id", column]].dropna()
    kind = bool if column == "reached" else int
    return {stone: kind(value) for stone, value in zip(frame["stone_id"], frame[column], strict=True)}


def _text(value: Any) -> str:  # noqa: ANN401 - whatever a cell holds
    return "" if value is None or value != value else str(value)


_SELECT = QItemSelectionModel.SelectionFlag.Select
Index = QModelIndex | QPersistentModelIndex


class _Rows(QAbstractTableModel):
    def __init__(self) -> None:
        super().__init__()
        self.rows: list[list[str]] = []

    def rowCount(self, parent: Index | None = None) -> int:  # noqa: N802
        """Return the number of rows."""
        return 0 if parent is not None and parent.isValid() else len(self.rows)

    def columnCount(self, parent: Index | None = None) -> int:  # noqa: N802
        """Return the number of columns."""
        return 0 if parent is not None and parent.isValid() else 4

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> str | None:
        """Return what a cell says, to eyes and to readers aloud."""
        if role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.AccessibleTextRole):
            return content(self.rows[index.row()][index.column()])
        return None

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = 0) -> str | None:  # noqa: N802
        """Return the heads of the columns."""
        if role == Qt.ItemDataRole.DisplayRole and orientation == Qt.Orientation.Horizontal:
            return say(("list.id", "list.wet", "list.class", "list.where")[section])
        return None

    def put(self, rows: list[list[str]]) -> None:
        """Show other rows."""
        self.beginResetModel()
        self.rows = rows
        self.endResetModel()


class _Table(QTableView):
    """A table that picks nothing merely because the keys come to it."""

    is_entered = False

    def focusInEvent(self, event: QFocusEvent) -> None:  # noqa: N802
        """Take the keys; Qt makes the first row the current one, which nobody chose."""
        self.is_entered = True
        super().focusInEvent(event)
        self.is_entered = False


class ListTwin(QWidget):
    """List of stones, flagged stones, heads or zones; `picked` gives layer and name of the row chosen.

    `selected` gives the names of several stones chosen together.
    """

    picked = Signal(str, str)
    selected = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.layer = "stones"
        self._site: Site | None = None
        self._made: tuple[Site, str] | None = None
        self.what = QComboBox()
        self.what.setAccessibleName(say("list.what"))
        for one in WHATS:
            self.what.addItem(say(f"list.{one}"), one)
        self.what.currentIndexChanged.connect(lambda _: self._fill())
        self.finder = QLineEdit()
        self.finder.setAccessibleName(say("list.find").replace("&", ""))
        self.finder.setPlaceholderText(say("list.find.hint"))
        self.finder.returnPressed.connect(self._find)
        self.said = label(tone="faint")
        self._rows = _Rows()
        self.table = _Table()
        self.table.setAccessibleName(say("list.name"))
        self.table.setModel(self._rows)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setTabKeyNavigation(False)
        self.table.verticalHeader().hide()
        self.table.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        self.table.selectionModel().currentRowChanged.connect(self._row_changed)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.table.selectionModel().selectionChanged.connect(lambda *_: self._selection_changed())
        self.table.activated.connect(lambda now: self.picked.emit(self.layer, self._rows.rows[now.row()][0]))
        self._lay_out()

    def _lay_out(self) -> None:
        line = QHBoxLayout()
        title = label(say("list.find"), wraps=False)
        title.setBuddy(self.finder)
        line.addWidget(self.what)
        line.addWidget(title)
        line.addWidget(self.finder, 1)
        line.addWidget(button("↵", self._find, name=say("list.find").replace("&", "")))
        line.addWidget(self.said, 1)
        rows = QVBoxLayout(self)
        rows.setContentsMargins(0, 0, 0, 0)
        rows.addLayout(line)
        rows.addWidget(self.table, 1)

    def show_site(self, site: Site) -> None:
        """Show the things of a site; rows are made when the list is looked at."""
        self._site = site
        if self.isVisible():
            self._fill()

    def showEvent(self, event: Any) -> None:  # noqa: ANN401, N802 - Qt's event
        """Fill the list when it comes into sight."""
        super().showEvent(event)
        self._fill()

    def point_to(self, layer: str, id: str) -> None:
        """Mark the row of what was picked on the map, where it is in this list."""
        self._fill()
        if layer and layer != self.layer:
            return
        at = next((k for k, row in enumerate(self._rows.rows) if row[0] == id), -1)
        model = self.table.selectionModel()
        model.blockSignals(True)
        self.table.clearSelection()
        if at >= 0:
            flags = QItemSelectionModel.SelectionFlag.ClearAndSelect | QItemSelectionModel.SelectionFlag.Rows
            model.setCurrentIndex(self._rows.index(at, 0), flags)
            self.table.scrollTo(self._rows.index(at, 0))
        model.blockSignals(False)
        self.table.viewport().update()

    def select(self, ids: tuple[str, ...]) -> None:
        """Mark the rows of stones that were picked together on the map; all stones are listed for that."""
        self.what.setCurrentIndex(self.what.findData("stones"))
        self._fill()
        wanted, chosen = set(ids), QItemSelection()
        for at, row in enumerate(self._rows.rows):
            if row[0] in wanted:
                chosen.merge(QItemSelection(self._rows.index(at, 0), self._rows.index(at, 3)), _SELECT)
        model = self.table.selectionModel()
        model.blockSignals(True)
        model.select(chosen, QItemSelectionModel.SelectionFlag.ClearAndSelect)
        model.blockSignals(False)
        if chosen:
            self.table.scrollTo(chosen.indexes()[0])
        self.table.viewport().update()

    def _selection_changed(self) -> None:
        rows = self.table.selectionModel().selectedRows()
        if self.layer == "stones" and len(rows) > 1:
            self.selected.emit(tuple(self._rows.rows[one.row()][0] for one in rows))

    def _fill(self) -> None:
        what = str(self.what.currentData())
        if self._site is None or (self._made is not None and self._made[0] is self._site and self._made[1] == what):
            return
        self._made = (self._site, what)
        self.layer, rows = rows_for(self._site, what)
        self._rows.put(rows)
        self.said.setText(say("list.count", count=len(rows)))
        self._fit_rows()

    def changeEvent(self, event: QEvent) -> None:  # noqa: N802
        """Take another size of text."""
        super().changeEvent(event)
        if event.type() in (QEvent.Type.FontChange, QEvent.Type.ApplicationFontChange, QEvent.Type.StyleChange):
            self._fit_rows()

    def _fit_rows(self) -> None:
        if hasattr(self, "table"):
            self.table.verticalHeader().setDefaultSectionSize(self.table.fontMetrics().height() + 6)

    def _row_changed(self, now: QModelIndex, before: QModelIndex) -> None:
        del before
        if now.isValid() and not self.table.is_entered:
            self.picked.emit(self.layer, self._rows.rows[now.row()][0])

    def _find(self) -> None:
        """Go to a stone, else a head, by its name, its tag, or the number in it."""
        text = self.finder.text().strip()
        found = _named(self._site, text) if text and self._site is not None else None
        if found is None:
            self.said.setText(say("list.none", text=text) if text else "")
        else:
            self.said.setText("")
            self.picked.emit(*found)


def _named(site: Site | None, text: str) -> tuple[str, str] | None:
    for layer, key in (("stones", "stone_id"), ("heads", "head_id"), ("zones", "zone_id"), ("plots", "plot_id")):
        if site is None or layer not in site:
            continue
        frame = site[layer]
        names = frame[key].astype("str")
        same = names.str.lower() == text.lower()
        if not same.any() and "tag" in frame.columns:
            same = frame["tag"].astype("str").str.lower() == text.lower()
        if not same.any() and text.isdigit():
            same = names.str.extract(r"(\d+)$", expand=False).str.lstrip("0") == text.lstrip("0")
        if same.any():
            return layer, str(names[same].iloc[0])
    return None
