"""How one reader wants things shown: theme, size of text, units, signs of numbers; kept from one day to the next."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from PySide6.QtCore import QLocale
from PySide6.QtWidgets import QApplication

from gravegis.window.reading import UNITS, Reader
from gravegis.window.theme import LARGEST, STEP, THEMES, dress

if TYPE_CHECKING:
    from PySide6.QtCore import QSettings

__all__ = ["View", "dress_app", "keep", "of"]


@dataclass(frozen=True, slots=True)
class View:
    """Theme, size of text (1 usual, 2 twice as large), and the reader's units and signs."""

    theme: str = "light"
    scale: float = 1.0
    reader: Reader = field(default_factory=Reader)

    def with_theme(self, theme: str) -> View:
        """Return the same in another theme."""
        return replace(self, theme=theme)

    def with_units(self, units: str) -> View:
        """Return the same in other units."""
        return replace(self, reader=replace(self.reader, units=units))

    def larger(self, steps: int) -> View:
        """Return the same with larger (or smaller) text."""
        return replace(self, scale=min(max(self.scale + steps * STEP, 1.0), LARGEST))


def of(settings: QSettings) -> View:
    """Return what was kept, in the signs of numbers of this computer."""
    locale = QLocale()
    units, theme = str(settings.value("units", "metric")), str(settings.value("theme", "light"))
    try:
        scale = min(max(float(str(settings.value("scale", 1.0))), 1.0), LARGEST)
    except ValueError:
        scale = 1.0
    plain = locale.language() == QLocale.Language.C
    reader = Reader(
        units if units in UNITS else "metric", locale.decimalPoint(), "" if plain else locale.groupSeparator()
    )
    return View(theme if theme in THEMES else "light", scale, reader)


def keep(settings: QSettings, view: View) -> None:
    """Keep it for the next time."""
    settings.setValue("theme", view.theme)
    settings.setValue("scale", view.scale)
    settings.setValue("units", view.reader.units)


def dress_app(view: View) -> None:
    """Give the application this look."""
    app = QApplication.instance()
    if isinstance(app, QApplication):
        dress(app, view.theme, view.scale)
