"""The form of every analysis: the same settings as the command line and as JSON, whatever is typed."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

import pytest
from PySide6.QtWidgets import QWidget

from gravegis import registry
from gravegis.errors import SettingError
from gravegis.kinds import Choice, Flag, Number
from gravegis.window.form import Form
from gravegis.window.reading import Reader
from gravegis.window.stages import STAGES, stage_of

READERS = {
    "metric": Reader(),
    "us": Reader("us"),
    "comma": Reader("metric", ",", "."),
}


def another(kind: Any, default: object) -> str:
    """Return another value for a setting, as typed on the command line."""
    if isinstance(kind, Number):
        value = kind.low if kind.low != default else kind.high
        return str(int(value)) if kind.is_whole else repr(float(value))
    if isinstance(kind, Choice):
        return next((one for one in kind.options if one != default), str(default))
    if isinstance(kind, Flag):
        return "no" if default else "yes"
    return str(default)


@pytest.mark.parametrize("reader", READERS.values(), ids=READERS)
@pytest.mark.parametrize("name", registry.names())
def test_untouched_the_form_gives_what_the_command_line_gives(name: str, reader: Reader, qtbot: Any) -> None:
    analysis = registry.load(name)
    form = Form(analysis, {}, reader)
    qtbot.addWidget(form)
    assert form.typed() == {}
    assert form.values() == analysis.read({}) == analysis.settings()
    assert analysis.read({}, json.loads(json.dumps(asdict(form.values())))) == form.values()


@pytest.mark.parametrize("name", registry.names())
def test_form_command_line_and_json_agree_on_other_values(name: str, qtbot: Any) -> None:
    analysis = registry.load(name)
    typed = {one: another(kind, default) for one, (default, kind) in analysis.kinds().items()}
    form = Form(analysis, {}, Reader())
    qtbot.addWidget(form)
    for one, text in typed.items():
        form.fields[one].put(text)
    assert form.values() == analysis.read(typed)
    assert analysis.read({}, json.loads(json.dumps(asdict(form.values())))) == form.values()


def test_a_reader_of_feet_types_feet(qtbot: Any) -> None:
    form = Form(registry.load("wetting"), {}, Reader("us"))
    qtbot.addWidget(form)
    form.fields["near_m"].put("6")
    assert form.values().near_m == pytest.approx(1.8288)  # international foot, exact
    form.fields["near_m"].put("2 m")
    assert form.values().near_m == 2.0


def test_a_value_out_of_range_is_said_below_its_field(qtbot: Any) -> None:
    form = Form(registry.load("wetting"), {}, Reader())
    qtbot.addWidget(form)
    form.fields["near_m"].put("5000")
    assert "outside" in form.fields["near_m"].error.text()
    assert form.fields["near_m"].error.text().startswith("▲")
    with pytest.raises(SettingError, match="outside"):
        form.values()
    form.fields["near_m"].reset()
    assert not form.fields["near_m"].error.text()
    assert form.values() == registry.load("wetting").settings()


@pytest.mark.parametrize("name", registry.names())
def test_every_field_has_a_name_a_meaning_and_a_reason(name: str, qtbot: Any) -> None:
    form = Form(registry.load(name), {}, Reader())
    qtbot.addWidget(form)
    for setting, field in form.fields.items():
        kind = registry.load(name).kinds()[setting][1]
        assert isinstance(field.box, QWidget)
        assert field.box.accessibleName()
        assert kind.help in field.box.accessibleDescription()
        assert kind.source in field.why.text()


def test_every_analysis_has_a_stage_and_a_stranger_stands_by_what_it_reads() -> None:
    pool = dict(registry.analyses()[0])
    assert {stage_of(name, pool) for name in pool} <= set(STAGES)

    class Shade:
        gives: Any = {"shade_of_a_plugin": {}}  # noqa: RUF012

        @staticmethod
        def reads() -> dict[str, tuple[str, ...]]:
            return {"stones": ("stone_id",), "worklist": ("stone_id",)}

    assert stage_of("shade", {**pool, "shade": Shade()}) == "plan"  # type: ignore[dict-item]
