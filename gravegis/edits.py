"""Edits: one gesture of a person on one row of one layer, how it is applied, taken back and written as a line.

An edit says what a cell held before and what it holds after, so it is applied only where it fits, and its undo is
an edit too. Nothing here knows a window or a file.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gravegis.errors import LayerError, Problem
from gravegis.layers import schema

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from gravegis.layers.canonical import Frame
    from gravegis.site import Site

__all__ = [
    "Add", "AnyEdit", "Delete", "Edit", "add", "apply", "change", "delete", "from_body", "from_line",
    "key_of", "replay", "row_words", "to_line", "undo_of",
]  # fmt: skip

Id = str | tuple[str, ...]
"""Name of a row; several texts where several columns name it."""


@dataclass(frozen=True, slots=True)
class Edit:
    """Other values in one row: column -> (before, after), None where nothing is known.

    A move is an edit of the column `geometry`. `brings` names columns the layer does not have yet, `takes` those
    that go again when nothing stands in them; `restores` marks what puts back a state that was there before.
    """

    layer: str
    id: Id
    changes: Mapping[str, tuple[object, object]]
    brings: tuple[str, ...] = ()
    takes: tuple[str, ...] = ()
    restores: bool = False


@dataclass(frozen=True, slots=True)
class Add:
    """A new row: column -> value. `brings` as in `Edit`; with the id among them the layer itself is new."""

    layer: str
    id: Id
    row: Mapping[str, object]
    brings: tuple[str, ...] = ()
    restores: bool = False


@dataclass(frozen=True, slots=True)
class Delete:
    """A row that goes, with all it held. `takes` as in `Edit`; with the id among them an empty layer goes too."""

    layer: str
    id: Id
    row: Mapping[str, object]
    takes: tuple[str, ...] = ()
    restores: bool = False


AnyEdit = Edit | Add | Delete


def undo_of(edit: AnyEdit) -> AnyEdit:
    """Return the edit that takes this one back; the undo of an undo is the edit itself."""
    back = not edit.restores
    if isinstance(edit, Edit):
        changes = {column: (after, before) for column, (before, after) in edit.changes.items()}
        return Edit(edit.layer, edit.id, changes, brings=edit.takes, takes=edit.brings, restores=back)
    if isinstance(edit, Add):
        return Delete(edit.layer, edit.id, edit.row, takes=edit.brings, restores=back)
    return Add(edit.layer, edit.id, edit.row, brings=edit.takes, restores=back)


def apply(site: Site, edit: AnyEdit) -> Site:
    """Return a site with one edit made; the site given is never changed.

    Raises
    ------
    LayerError
        With every problem: the row is not there (or there already), a cell holds something else than the edit
        says, a value does not fit the schema.
    """
    return replay(site, [edit])


def replay(site: Site, edits: Iterable[AnyEdit]) -> Site:
    """Return a site with edits made one after the other, as `apply` would; each column is copied only once."""
    from gravegis.layers.sheet import Sheet

    sheets: dict[str, Sheet] = {}
    for edit in edits:
        sheet = sheets.get(edit.layer)
        if sheet is None:
            sheet = Sheet(_input(edit.layer), _frame(site, edit.layer), site.info.crs)
            sheets[edit.layer] = sheet
        _make(sheet, edit)
    for name, sheet in sheets.items():
        frame = sheet.done()
        site = site.without((name,)) if frame is None else site.with_canonical(name, frame)
    return site


def change(site: Site, layer: str, id: Id, values: Mapping[str, object]) -> Edit:
    """Return the edit that gives a row these values; what it holds already is left out.

    Raises LayerError where there is no such row, a value does not fit, or nothing would change.
    """
    from gravegis.layers.sheet import Sheet

    sheet = Sheet(_input(layer), _frame(site, layer), site.info.crs)
    row = sheet.row(key_of(id))
    made = sheet.conformed(values, row_words(layer, id))
    changes = {
        column: (held, value)
        for column, value in made.items()
        if not sheet.same(held := sheet.held(row, column), value)
    }
    if not changes:
        raise LayerError("nothing would change, this stands there already", where=row_words(layer, id))
    sheet.change(row, made)
    return Edit(layer, id, changes, brings=sheet.new(changes))


def add(site: Site, layer: str, id: Id, values: Mapping[str, object]) -> Add:
    """Return the edit that adds a row with these values; raises LayerError where it is there or does not fit."""
    from gravegis.layers.sheet import Sheet

    wanted = _input(layer)
    sheet = Sheet(wanted, _frame(site, layer), site.info.crs)
    made = sheet.conformed({**values, **_named(wanted, id)}, row_words(layer, id))
    row = {column: value for column, value in made.items() if value is not None}
    sheet.refuse_new(row)
    return Add(layer, id, row, brings=sheet.new(row))


def delete(site: Site, layer: str, id: Id) -> Delete:
    """Return the edit that deletes a row; raises LayerError where there is none."""
    from gravegis.layers.sheet import Sheet

    sheet = Sheet(_input(layer), _frame(site, layer), site.info.crs)
    return Delete(layer, id, sheet.whole(sheet.row(key_of(id))))


def key_of(id: Id) -> tuple[str, ...]:
    """Return the name of a row as one text for each key column."""
    return (id,) if isinstance(id, str) else tuple(id)


def row_words(layer: str, id: Id) -> str:
    """Return what a row is called in words."""
    return f"{layer} {' + '.join(key_of(id))}"


def to_line(edit: AnyEdit) -> str:
    """Return an edit as one line of JSON; places as well-known binary, so that they come back to the last bit."""
    body: dict[str, Any] = {"do": _DO[type(edit)], "layer": edit.layer, "id": edit.id}
    if isinstance(edit, Edit):
        body["changes"] = {column: [_pack(one) for one in pair] for column, pair in edit.changes.items()}
    else:
        body["row"] = {column: _pack(value) for column, value in edit.row.items()}
    for name in ("brings", "takes", "restores"):
        if getattr(edit, name, None):
            body[name] = getattr(edit, name)
    return json.dumps(body, ensure_ascii=False, separators=(",", ":"))


def from_line(line: str) -> AnyEdit:
    """Return the edit of a line; raises LayerError where it is none."""
    try:
        body = json.loads(line)
    except ValueError as error:
        raise LayerError(f"this line is no edit ({error})", where=line[:60]) from None
    return from_body(body)


def from_body(body: Any) -> AnyEdit:  # noqa: ANN401 - as JSON gives it
    """Return the edit of a line that was read as JSON already; raises LayerError where it is none."""
    try:
        kind = next(kind for kind, word in _DO.items() if word == body["do"])
        named = {name: tuple(body[name]) for name in ("brings", "takes") if name in body}
        id_ = body["id"] if isinstance(body["id"], str) else tuple(body["id"])
        held: Any = (
            {column: (_unpack(pair[0]), _unpack(pair[1])) for column, pair in body["changes"].items()}
            if kind is Edit
            else {column: _unpack(value) for column, value in body["row"].items()}
        )
        edit: AnyEdit = kind(str(body["layer"]), id_, held, **named, restores=bool(body.get("restores")))
    except (ValueError, TypeError, KeyError, IndexError, AttributeError, StopIteration) as error:
        raise LayerError(f"this line is no edit ({error})", where=str(body)[:60]) from None
    return edit


_DO: Mapping[type[AnyEdit], str] = {Edit: "change", Add: "add", Delete: "delete"}


def _input(name: str) -> schema.Layer:
    wanted = schema.layer(name)
    if wanted.role != "input":
        known = ", ".join(one.name for one in schema.layers().values() if one.role == "input")
        raise LayerError(f"layer {name} is worked out, nobody edits it", remedy=f"Edit one of: {known}.")
    return wanted


def _named(wanted: schema.Layer, id: Id) -> dict[str, object]:
    return dict(zip(wanted.key, key_of(id), strict=True))


def _frame(site: Site, layer: str) -> Frame | None:
    return site.get(layer)


def _make(sheet: Any, edit: AnyEdit) -> None:  # noqa: ANN401 - layers.sheet.Sheet, imported when needed
    where = row_words(edit.layer, edit.id)
    if isinstance(edit, Edit):
        place = sheet.row(key_of(edit.id))
        _raise([*_misfits(sheet, place, {one: pair[0] for one, pair in edit.changes.items()}, where)])
        after = {one: pair[1] for one, pair in edit.changes.items()}
        sheet.change(place, sheet.conformed(after, where, restores=edit.restores), takes=edit.takes)
    elif isinstance(edit, Add):
        row = sheet.conformed({**edit.row, **_named(sheet.wanted, edit.id)}, where, restores=edit.restores)
        sheet.refuse_new(row, restores=edit.restores)
        sheet.add(row)
    else:
        place = sheet.row(key_of(edit.id))
        whole = sheet.whole(place)
        _raise([*_misfits(sheet, place, {**dict.fromkeys(whole), **edit.row}, where)])
        sheet.delete(place, takes=edit.takes)


def _misfits(sheet: Any, row: int, before: Mapping[str, object], where: str) -> Iterable[Problem]:  # noqa: ANN401
    """Give a problem for each cell that holds something else than an edit says."""
    for column, value in before.items():
        held = sheet.held(row, column)
        if not sheet.same(held, value):
            yield Problem(
                f"it holds {_shown(held)} now, not {_shown(value)} as the edit says", f"{where}, {column}",
                "Somebody has changed it since: look at it again, then edit it anew.",
            )  # fmt: skip


def _raise(problems: list[Problem]) -> None:
    if problems:
        raise LayerError.of(problems)


def _shown(value: object) -> str:
    return "nothing" if value is None else str(value) if len(str(value)) < 60 else f"{str(value)[:57]}..."


def _pack(value: object) -> object:
    """Return a value as JSON knows it; what it does not know stands in a mapping that says what it is."""
    if value is None or isinstance(value, (str, int, float, bool)):
        return value
    import pandas as pd
    import shapely

    if isinstance(value, shapely.Geometry):
        return {"wkb": shapely.to_wkb(value, hex=True, byte_order=1)}
    if isinstance(value, pd.Timestamp):
        return {"instant": value.isoformat(), "unit": value.unit}
    if isinstance(value, bytes):
        return {"bytes": value.hex()}
    raise LayerError(f"a value of type {type(value).__name__} cannot be written into a line", where=str(value)[:60])


def _no_shape(text: str) -> object:
    raise ValueError(f"{text[:20]} is no shape")


def _unpack(value: Any) -> object:  # noqa: ANN401 - as JSON gives it
    if not isinstance(value, dict):
        return value
    import pandas as pd
    import shapely

    if "wkb" in value:
        return shapely.from_wkb(bytes.fromhex(value["wkb"]), on_invalid="ignore") or _no_shape(value["wkb"])
    if "instant" in value:
        return pd.Timestamp(value["instant"]).as_unit(value["unit"])
    return bytes.fromhex(value["bytes"])
