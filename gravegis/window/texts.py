"""Texts as the reader sees them: every one goes through Qt's translators, so another language is one table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QCoreApplication, QTranslator

from gravegis.window.texts_en import TEXTS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from PySide6.QtCore import QObject

__all__ = ["CONTENT", "CONTEXT", "TableTranslator", "content", "say"]

CONTEXT = "window"
CONTENT = "content"


def say(name: str, /, **values: object) -> str:
    """Return a text of the window by its name, with values put in; raises KeyError for a name there is not."""
    told = QCoreApplication.translate(CONTEXT, name)
    return (TEXTS[name] if told == name else told).format(**values)


def content(text: str, /) -> str:
    """Return a text of an analysis or of the schema in the language of the reader; as it is where nobody translated."""
    return QCoreApplication.translate(CONTENT, text) if text else ""


class TableTranslator(QTranslator):
    """A language held as a table: names of texts (or texts of analyses) to what the reader sees."""

    def __init__(self, table: Mapping[str, str], parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._table = table

    def isEmpty(self) -> bool:  # noqa: N802 - Qt's name
        """Whether there is nothing in the table."""
        return False

    def translate(self, context: str, source: str, disambiguation: str | None = None, n: int = -1) -> str:
        """Return the text of the table; empty for what it does not hold, so that the English one is shown."""
        del context, disambiguation, n
        return self._table.get(source, "")
