"""Texts: in one place, none in a programmer's words, none left out of a translation, none cut at twice the size."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from PySide6.QtCore import QCoreApplication, QTranslator
from PySide6.QtWidgets import QAbstractButton, QCheckBox, QComboBox, QLabel, QLineEdit, QScrollArea, QWidget

import gravegis.window
from gravegis.outputs import symbols
from gravegis.window.stages import STAGES
from gravegis.window.texts import CONTENT, CONTEXT
from gravegis.window.texts_en import TEXTS
from gravegis.window.theme import THEMES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


PROGRAMMERS = (
    "dataframe", "null", "nonetype", "exception", "traceback", "nan", "string", "boolean", "integer", "float", "thread",
    "widget", "callback", "json", "dict", "tuple", "index", "parse", "stderr", "runtime", "geometry", "polygon", "wkb",
    "wkt",
)  # fmt: skip
WORDS = re.compile(rf"\b({'|'.join(PROGRAMMERS)})\b|stone_id|head_id|zone_id", re.IGNORECASE)
SOURCES = sorted(Path(gravegis.window.__file__).parent.rglob("*.py"))


def shown(window: Any) -> Iterator[tuple[QWidget, str]]:
    """Every text that can be seen in the window just now."""
    for one in window.findChildren(QWidget):
        if one.isVisible() and isinstance(one, QLabel | QAbstractButton) and one.text().strip():
            yield one, one.text()
        elif one.isVisible() and isinstance(one, QComboBox):
            yield one, one.currentText()


def each_stage(window: Any, settled: Callable[[], None]) -> Iterator[str]:
    for stage in STAGES:
        window.go_to_stage(stage)
        settled()
        for _ in range(5):  # a layout within a layout is made anew when Qt comes to it
            QCoreApplication.processEvents()
        yield stage


def test_no_programmers_words_in_any_text() -> None:
    assert not {name: text for name, text in TEXTS.items() if WORDS.search(text)}


def test_no_programmers_words_on_screen(opened: Any, settled: Callable[[], None]) -> None:
    opened.step(1)
    for _ in each_stage(opened, settled):
        assert not [text for _, text in shown(opened) if WORDS.search(text)]


def test_every_text_is_used_and_every_text_used_is_there() -> None:
    code = "\n".join(one.read_text(encoding="utf-8") for one in SOURCES if not one.name.startswith("texts"))
    groups = "|".join(sorted({name.partition(".")[0] for name in TEXTS}))
    used = set(re.findall(rf'"(?!map\\.png)((?:{groups})\.[a-z_A-Z.{{}} ]+)"', code))
    plain = {name for name in used if "{" not in name}
    assert plain <= set(TEXTS), plain - set(TEXTS)
    starts = tuple(name.partition("{")[0] for name in used if "{" in name)
    assert not {name for name in TEXTS if name not in plain and not name.startswith(starts)}


class Pseudo(QTranslator):
    """Every text in brackets and 40 % longer."""

    def isEmpty(self) -> bool:  # noqa: N802
        return False

    def translate(self, context: str, source: str, disambiguation: str | None = None, n: int = -1) -> str:
        if context not in (CONTEXT, CONTENT):
            return ""
        text = TEXTS[source] if context == CONTEXT else source
        return f"[{text}{'~' * max(round(0.4 * len(text)), 1)}]"


@pytest.fixture
def pseudo() -> Iterator[None]:
    translator = Pseudo()
    app = QCoreApplication.instance()
    assert app is not None
    app.installTranslator(translator)
    yield
    app.removeTranslator(translator)


def is_data(text: str) -> bool:
    """Figures, names of things and units need no translation."""
    return bool(re.fullmatch(r"[\W\d]*|[A-Z]{0,2}[\d-]+|.{0,7}|A4|Letter", text.strip()))


@pytest.mark.usefixtures("pseudo")
class TestPseudo:
    """The fixture stands before the window is made, so that every text goes through it."""

    def test_no_bare_text(self, opened: Any, settled: Callable[[], None]) -> None:
        opened.step(1)
        for stage in each_stage(opened, settled):
            bare = [text for _, text in shown(opened) if "[" not in text and not is_data(text)]
            assert not bare, (stage, bare)

    def test_nothing_is_cut(self, opened: Any, settled: Callable[[], None]) -> None:
        for stage in each_stage(opened, settled):
            assert not cut(opened), stage


def cut(window: Any) -> list[tuple[str, str]]:
    """Return the texts that have less room than they need."""
    found = []
    for one, text in shown(window):
        need = one.sizeHint()
        if isinstance(one, QLabel) and one.wordWrap():
            if one.heightForWidth(one.width()) > one.height() + 1:
                found.append((type(one).__name__, text))
        elif not isinstance(one, QComboBox) and (one.width() + 2 < need.width() or one.height() + 2 < need.height()):
            found.append((type(one).__name__, text))
    areas = [one for one in window.findChildren(QScrollArea) if one.isVisible()]
    found += [
        ("wider than its place", one.accessibleName() or type(one.widget()).__name__)
        for one in areas
        if one.widget().width() > one.viewport().width() + 1
    ]
    return found


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("steps", [0, 4])
def test_nothing_is_cut_at_twice_the_size(opened: Any, settled: Callable[[], None], theme: str, steps: int) -> None:
    opened.larger(steps)
    opened.dark(theme == "dark")
    settled()
    for stage in each_stage(opened, settled):
        assert not cut(opened), stage


def test_every_control_has_a_name_and_is_reached_by_tab(opened: Any, settled: Callable[[], None]) -> None:
    from PySide6.QtCore import Qt

    opened.step(1)
    for stage in each_stage(opened, settled):
        for one in opened.findChildren(QWidget):
            if not one.isVisible() or not isinstance(one, QAbstractButton | QComboBox | QLineEdit | QCheckBox):
                continue
            if isinstance(one.parent(), QComboBox) or one.objectName().startswith("qt_"):
                continue
            if type(one).__name__ == "QTableCornerButton" or "corner" in one.metaObject().className().lower():
                continue
            name = one.accessibleName() or (one.text() if isinstance(one, QCheckBox) else "")
            assert name, (stage, type(one).__name__)
            assert one.focusPolicy() & Qt.FocusPolicy.TabFocus, (stage, name)


def test_tab_goes_through_the_window_and_comes_back(opened: Any) -> None:
    first = opened.bar.buttons["survey"]
    first.setFocus()
    seen: list[QWidget] = []
    at: QWidget | None = first
    while at is not None and at not in seen and len(seen) < 500:
        seen.append(at)
        at = at.nextInFocusChain()
    assert at is first
    for one in (opened.map.canvas, opened.side.question.run, opened.strip.which, opened.foot.units_):
        assert one in seen


@pytest.mark.parametrize("theme", THEMES)
def test_colours_can_be_told_apart(theme: str) -> None:
    one = THEMES[theme]
    for text, ground in ((one.text, one.ground), (one.text, one.field), (one.faint, one.ground), (one.faint, one.field),
                         (one.chosen_text, one.chosen), (one.warn, one.ground), (one.warn, one.field),
                         (one.water_text, one.water)):  # fmt: skip
        assert symbols.contrast(text, ground) >= 4.5, (text, ground)
    for mark, ground in ((one.edge, one.ground), (one.edge, one.field), (one.focus, one.ground), (one.focus, one.field),
                         (one.water, one.ground)):  # fmt: skip
        assert symbols.contrast(mark, ground) >= 3.0, (mark, ground)
