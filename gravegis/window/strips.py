"""The strips below the map: zones over 24 hours with what clashes, and the day of each crew; keys walk both."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QBrush, QColor, QFontMetricsF, QPainter, QPen
from PySide6.QtWidgets import QSizePolicy, QVBoxLayout, QWidget

from gravegis.window.clock import DAY_MIN, spraying
from gravegis.window.parts import label
from gravegis.window.texts import say
from gravegis.window.theme import colours

if TYPE_CHECKING:
    from PySide6.QtGui import QKeyEvent, QMouseEvent, QPaintEvent

    from gravegis.window.clock import Clash, Day
    from gravegis.window.crews import CrewStrip

__all__ = ["ClockStrip", "CrewsStrip", "clash_words", "minute_words"]

MOST_CLASHES = 4
"""Clashes told in words below the clock; the others are counted in the first line. Own choice."""


def minute_words(minute: float) -> str:
    """Return a minute of the day as a time, such as 04:30."""
    whole = int(minute) % DAY_MIN
    return f"{whole // 60:02d}:{whole % 60:02d}"


def clash_words(clash: Clash) -> str:
    """Return a clash in words."""
    return say(f"clock.{clash.what}", time=minute_words(clash.at_min), zone=clash.zone_id, about=clash.about)


class _Rows(QWidget):
    """Rows over 24 hours; row heights follow the size of the text."""

    def __init__(self) -> None:
        super().__init__()
        self.theme = "light"
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def names(self) -> list[str]:
        """Return the names of the rows."""
        return []

    def row_px(self) -> float:
        """Return the height of a row."""
        return QFontMetricsF(self.font()).height() + 4

    def left_px(self) -> float:
        """Return where the hours begin."""
        metrics = QFontMetricsF(self.font())
        return max((metrics.horizontalAdvance(one) for one in self.names()), default=0.0) + 14

    def x_of(self, minute: float) -> float:
        """Return where a minute lies."""
        return self.left_px() + (self.width() - self.left_px() - self._right_px()) * minute / DAY_MIN

    def minute_at(self, x: float) -> float:
        """Return the minute that lies there, within the day."""
        wide = max(self.width() - self.left_px() - self._right_px(), 1.0)
        return min(max((x - self.left_px()) / wide * DAY_MIN, 0.0), DAY_MIN - 1.0)

    def sizeHint(self) -> QSize:  # noqa: N802
        """Return room for every row and the hours below."""
        return QSize(300, int((max(len(self.names()), 1) + 1) * self.row_px()) + 6)

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        """Return the same: rows are never squeezed."""
        return self.sizeHint()

    def changeEvent(self, event: QEvent) -> None:  # noqa: N802
        """Take another size of text."""
        if event.type() == QEvent.Type.FontChange:
            self.updateGeometry()
        super().changeEvent(event)

    def _right_px(self) -> float:
        return QFontMetricsF(self.font()).horizontalAdvance("24:00") / 2 + 4

    def _frame(self, painter: QPainter) -> None:
        """Draw names, hours, and the mark of focus."""
        look = colours(self.theme)
        painter.setPen(QPen(QColor(look.text)))
        high = self.row_px()
        for at, name in enumerate(self.names()):
            box = QRectF(4, at * high, self.left_px() - 8, high)
            painter.drawText(box, Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, name)
        wide = QFontMetricsF(self.font()).horizontalAdvance("00:00")
        hours = 3 if (self.x_of(180) - self.x_of(0)) > 1.4 * wide else 6
        foot = max(len(self.names()), 1) * high
        for hour in range(0, 25, hours):
            x = self.x_of(hour * 60)
            painter.setPen(QPen(QColor(look.edge), 1, Qt.PenStyle.DotLine))
            painter.drawLine(int(x), 0, int(x), int(foot))
            painter.setPen(QPen(QColor(look.text)))
            box = QRectF(x - wide, foot, 2 * wide, high)
            painter.drawText(box, Qt.AlignmentFlag.AlignCenter, f"{hour:02d}:00")
        if self.hasFocus():
            painter.setPen(QPen(QColor(look.focus), 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(self.rect().adjusted(1, 1, -1, -1))


class _ClockRows(_Rows):
    moved = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.day: Day | None = None
        self.minute: float | None = None

    def names(self) -> list[str]:
        """Return the zones."""
        return [] if self.day is None else [say("clock.zone", zone=one) for one in self.day.zones]

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Move the chosen time: 5 minutes, with Shift an hour; Home, End; Delete for no time."""
        step = 60 if event.modifiers() & Qt.KeyboardModifier.ShiftModifier else 5
        now = 0.0 if self.minute is None else self.minute
        keys = {
            Qt.Key.Key_Left: now - step, Qt.Key.Key_Right: now + step, Qt.Key.Key_Home: 0.0,
            Qt.Key.Key_End: DAY_MIN - 5.0,
        }  # fmt: skip
        if event.key() in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace):
            self.moved.emit(None)
        elif event.key() in keys:
            self.moved.emit(keys[Qt.Key(event.key())] % DAY_MIN)
        else:
            super().keyPressEvent(event)

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Choose the time under the pointer."""
        self.moved.emit(float(round(self.minute_at(event.position().x()) / 5) * 5 % DAY_MIN))

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Drag the time."""
        self.mousePressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        """Draw every run: solid and with an edge while it runs at the chosen time, hatched else."""
        del event
        painter = QPainter(self)
        self._frame(painter)
        if self.day is not None:
            self._runs(painter, self.day)
            self._clashes(painter, self.day)
        if self.minute is not None:
            painter.setPen(QPen(QColor(colours(self.theme).text), 2))
            x = int(self.x_of(self.minute))
            painter.drawLine(x, 0, x, int(len(self.names()) * self.row_px()))
        painter.end()

    def _runs(self, painter: QPainter, day: Day) -> None:
        look, on = colours(self.theme), spraying(day, self.minute)
        for one in day.spans:
            top = day.zones.index(one.zone_id) * self.row_px()
            wide = max(self.x_of(one.to_min) - self.x_of(one.from_min), 3.0)
            box = QRectF(self.x_of(one.from_min), top + 3, wide, self.row_px() - 6)
            is_on = one.zone_id in on and self.minute is not None and one.from_min <= self.minute < one.to_min
            style = Qt.BrushStyle.SolidPattern if is_on else Qt.BrushStyle.BDiagPattern
            painter.setPen(QPen(QColor(look.water), 2 if is_on else 1))
            painter.setBrush(QBrush(QColor(look.water), style))
            painter.drawRect(box)

    def _clashes(self, painter: QPainter, day: Day) -> None:
        painter.setPen(QPen(QColor(colours(self.theme).warn)))
        for one in day.clashes:
            if one.zone_id in day.zones:
                top = day.zones.index(one.zone_id) * self.row_px()
                box = QRectF(self.x_of(one.at_min) + 2, top, 60, self.row_px())
                painter.drawText(box.translated(-box.height() * 0.95, 0), Qt.AlignmentFlag.AlignVCenter, "▲")


class ClockStrip(QWidget):
    """The day's clock with its words; `moved` gives the chosen minute, or None."""

    moved = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.rows = _ClockRows()
        self.now = label(say("clock.still"))
        self.clashes = label(tone="warn")
        self.rows.moved.connect(self._moved)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(2)
        layout.addWidget(self.now)
        layout.addWidget(self.clashes)
        layout.addWidget(self.rows)
        layout.addStretch(1)

    def show_day(self, day: Day, theme: str) -> None:
        """Show a day."""
        self.rows.day, self.rows.theme = day, theme
        self.rows.setAccessibleName(say("clock.name", day=day.day.isoformat()))
        self.rows.setVisible(bool(day.zones))
        lines = [clash_words(one) for one in day.clashes[:MOST_CLASHES]]
        if len(day.clashes) > MOST_CLASHES:
            lines.append(f"+ {len(day.clashes) - MOST_CLASHES}")
        if day.unread:
            lines.append(say("clock.unread", lines="; ".join(day.unread)))
        fine = say("clock.clear") if day.spans else say("clock.empty") if not day.zones else ""
        self.clashes.setText("\n".join(lines) or fine)
        self.clashes.setProperty("tone", "warn" if lines else "faint")
        self.clashes.style().polish(self.clashes)
        self.rows.updateGeometry()
        self.rows.update()
        self._tell()

    def set_minute(self, minute: float | None) -> None:
        """Choose a time without telling it on."""
        self.rows.minute = minute
        self._tell()
        self.rows.update()

    def _moved(self, minute: float | None) -> None:
        self.set_minute(minute)
        self.moved.emit(minute)

    def _tell(self) -> None:
        minute, day = self.rows.minute, self.rows.day
        if minute is None or day is None:
            self.now.setText(say("clock.still") if day is None or day.zones else "")
            return
        on = ", ".join(say("clock.zone", zone=one) for one in spraying(day, minute))
        words = (
            say("clock.at", time=minute_words(minute), zones=on) if on else say("clock.none", time=minute_words(minute))
        )
        self.now.setText(words)
        self.rows.setAccessibleDescription(words)


class _CrewRows(_Rows):
    stopped_at = Signal(str, float)

    def __init__(self) -> None:
        super().__init__()
        self.strips: tuple[CrewStrip, ...] = ()
        self.at = (0, -1)

    def names(self) -> list[str]:
        """Return the crews."""
        return [one.name for one in self.strips]

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Walk from stop to stop, and from crew to crew."""
        steps = {Qt.Key.Key_Left: (0, -1), Qt.Key.Key_Right: (0, 1), Qt.Key.Key_Up: (-1, 0), Qt.Key.Key_Down: (1, 0)}
        if event.key() not in steps or not self.strips:
            super().keyPressEvent(event)
            return
        down, on = steps[Qt.Key(event.key())]
        crew = min(max(self.at[0] + down, 0), len(self.strips) - 1)
        self._go(crew, min(max(self.at[1] + on, 0), len(self.strips[crew].pieces) - 1))

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Go to the stop under the pointer."""
        crew = int(event.position().y() // self.row_px())
        if 0 <= crew < len(self.strips):
            minute = self.minute_at(event.position().x())
            pieces = self.strips[crew].pieces
            near = min(range(len(pieces)), key=lambda k: abs((pieces[k].from_min + pieces[k].to_min) / 2 - minute))
            self._go(crew, near)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        """Draw every stop; the chosen one is filled."""
        del event
        painter = QPainter(self)
        self._frame(painter)
        look = colours(self.theme)
        for crew, strip in enumerate(self.strips):
            for stop, piece in enumerate(strip.pieces):
                wide = max(self.x_of(piece.to_min) - self.x_of(piece.from_min), 2.0)
                box = QRectF(self.x_of(piece.from_min), crew * self.row_px() + 3, wide, self.row_px() - 6)
                is_at = (crew, stop) == self.at
                painter.setPen(QPen(QColor(look.text), 2 if is_at else 1))
                painter.setBrush(QBrush(QColor(look.chosen if is_at else look.field)))
                painter.drawRect(box)
        painter.end()

    def _go(self, crew: int, stop: int) -> None:
        self.at = (crew, stop)
        piece = self.strips[crew].pieces[stop]
        self.update()
        self.stopped_at.emit(piece.stone_id, piece.from_min)


class CrewsStrip(QWidget):
    """The crews of a day; `stopped_at` gives stone and minute of the stop that was walked to."""

    stopped_at = Signal(str, float)

    def __init__(self) -> None:
        super().__init__()
        self.rows = _CrewRows()
        self.rows.setAccessibleName(say("crews.name"))
        self.now = label(say("crews.empty"))
        self.rows.stopped_at.connect(self._stopped)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(2)
        layout.addWidget(self.now)
        layout.addWidget(self.rows)
        layout.addStretch(1)

    def show_strips(self, found: tuple[CrewStrip, ...], day: str, theme: str) -> None:
        """Show the crews of a day."""
        self.rows.strips, self.rows.theme, self.rows.at = found, theme, (0, -1)
        self.rows.setVisible(bool(found))
        self.now.setText(say("crews.day", day=day) if found else say("crews.empty"))
        self.rows.updateGeometry()
        self.rows.update()

    def _stopped(self, stone: str, minute: float) -> None:
        crew = self.rows.strips[self.rows.at[0]].name
        words = say("crews.stop", crew=crew, time=minute_words(minute), stone=stone)
        self.now.setText(words)
        self.rows.setAccessibleDescription(words)
        self.stopped_at.emit(stone, minute)
