"""How the window looks: two palettes of our own on the plain Fusion style, and the size of its text.

The tests hold every pair of colours to a contrast of 4.5:1 for text and 3:1 for marks (WCAG 2.2, 1.4.3 and 1.4.11).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from PySide6.QtGui import QColor, QPalette

if TYPE_CHECKING:
    from PySide6.QtWidgets import QApplication

__all__ = ["LARGEST", "THEMES", "Colours", "colours", "dress"]

LARGEST = 2.0
"""How much larger than usual text can be made."""
STEP = 0.25
USUAL_PT = 10.0


@dataclass(frozen=True, slots=True)
class Colours:
    """Colours of one theme: ground of the window, of fields, text, faint text, edges, what is chosen, warnings."""

    ground: str
    field: str
    text: str
    faint: str
    edge: str
    chosen: str
    chosen_text: str
    warn: str
    water: str
    water_text: str
    focus: str


THEMES = {
    "light": Colours("#eceae4", "#ffffff", "#1c1c1a", "#56544d", "#7c7a71", "#23504a", "#ffffff", "#8c2f0e",
                     "#2f5f7d", "#ffffff", "#b3470b"),
    "dark": Colours("#23241f", "#2e2f2a", "#f0eee6", "#b9b6aa", "#8b897f", "#a9d3c4", "#10231f", "#ffb38a",
                    "#8fc1e0", "#0d1a24", "#ffa45c"),
}  # fmt: skip


def colours(theme: str) -> Colours:
    """Return the colours of a theme, light or dark."""
    return THEMES[theme]


def dress(app: QApplication, theme: str, scale: float) -> None:
    """Give the whole application a theme and a size of text (1 is usual, 2 twice as large)."""
    one = THEMES[theme]
    app.setStyle("Fusion")
    made = QPalette()
    for role, colour in (
        (QPalette.ColorRole.Window, one.ground), (QPalette.ColorRole.WindowText, one.text),
        (QPalette.ColorRole.Base, one.field), (QPalette.ColorRole.AlternateBase, one.ground),
        (QPalette.ColorRole.Text, one.text), (QPalette.ColorRole.Button, one.ground),
        (QPalette.ColorRole.ButtonText, one.text), (QPalette.ColorRole.Highlight, one.chosen),
        (QPalette.ColorRole.HighlightedText, one.chosen_text), (QPalette.ColorRole.ToolTipBase, one.field),
        (QPalette.ColorRole.ToolTipText, one.text), (QPalette.ColorRole.PlaceholderText, one.faint),
        (QPalette.ColorRole.BrightText, one.warn), (QPalette.ColorRole.Link, one.water),
    ):  # fmt: skip
        made.setColor(role, QColor(colour))
    for role in (QPalette.ColorRole.Text, QPalette.ColorRole.ButtonText, QPalette.ColorRole.WindowText):
        made.setColor(QPalette.ColorGroup.Disabled, role, QColor(one.faint))
    app.setPalette(made)
    font = app.font()
    font.setPointSizeF(USUAL_PT * min(max(scale, 1.0), LARGEST))
    app.setFont(font)
    app.setStyleSheet(_sheet(one))


def _sheet(one: Colours) -> str:
    return f"""
    QWidget:focus {{ outline: none; }}
    QPushButton, QToolButton, QComboBox, QLineEdit {{ border: 1px solid {one.edge}; border-radius: 3px;
        padding: 3px 7px; background: {one.field}; color: {one.text}; }}
    QPushButton:checked, QToolButton:checked {{ background: {one.chosen}; color: {one.chosen_text}; }}
    QPushButton:disabled, QToolButton:disabled {{ color: {one.faint}; border-style: dashed; }}
    QPushButton:focus, QToolButton:focus, QComboBox:focus, QLineEdit:focus, QPlainTextEdit:focus, QTableView:focus,
    QListWidget:focus {{ border: 2px solid {one.focus}; padding: 2px 6px; }}
    QComboBox QAbstractItemView {{ background: {one.field}; color: {one.text}; }}
    QCheckBox:focus {{ border: 2px solid {one.focus}; }}
    QLabel[tone="title"] {{ font-weight: bold; }}
    QLabel[tone="faint"] {{ color: {one.faint}; }}
    QLabel[tone="warn"] {{ color: {one.warn}; }}
    QFrame#card {{ background: {one.field}; border: 1px solid {one.edge}; border-radius: 4px; }}
    QFrame#assumed {{ background: {one.field}; border: 1px dashed {one.edge}; }}
    QScrollArea {{ border: none; background: transparent; }}
    QScrollArea > QWidget > QWidget {{ background: transparent; }}
    QFrame#card QScrollArea > QWidget > QWidget {{ background: {one.field}; }}
    """
