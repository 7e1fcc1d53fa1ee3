"""The tables of a site beside its layers: `site`, `settings`, `results_log`."""

from __future__ import annotations

import json
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import pandas as pd

from gravegis.errors import StoreError
from gravegis.layers import schema
from gravegis.site import ResultRecord, SiteInfo, settings_text

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from gravegis.layers.canonical import Frame
    from gravegis.site import Site

__all__ = ["NAMES", "SaveId", "pack", "unpack", "version_of"]

NAMES = ("site", "settings", "results_log", "grids")
_OF_THE_SAVE = ("schema_version", "save_id", "previous_save")
_LISTS = ("grids", "notes", "assumed", "typed")
_MAPS = ("settings", "inputs", "gives", "tables", "facts")


@dataclass(frozen=True, slots=True)
class SaveId:
    """What one save is known by, and the one whose journal went into it; empty where there is none."""

    this: str = ""
    previous: str = ""


def pack(site: Site, save: SaveId) -> dict[str, Frame]:
    """Return the tables of a site."""
    facts = {one.name: getattr(site.info, one.name) for one in fields(SiteInfo)}
    facts["schema_version"] = schema.SCHEMA_VERSION
    facts["save_id"], facts["previous_save"] = save.this, save.previous
    return {
        "site": _frame(
            [{"fact": name, "value": json.dumps(value)} for name, value in facts.items()], ("fact", "value")
        ),
        "settings": _frame(
            [{"analysis": name, "settings": settings_text(values)} for name, values in sorted(site.settings.items())],
            ("analysis", "settings"),
        ),
        "results_log": _frame([_line(record) for record in site.log], tuple(one.name for one in fields(ResultRecord))),
    }


def unpack(
    meta: Mapping[str, Frame],
) -> tuple[SiteInfo, dict[str, dict[str, object]], tuple[ResultRecord, ...]]:
    """Return facts, settings and log of a site whose version was looked at."""
    facts = {row["fact"]: json.loads(row["value"]) for row in _rows(meta, "site")}
    facts = {name: value for name, value in facts.items() if name not in _OF_THE_SAVE}
    for name in ("sources", "assumed"):
        facts[name] = tuple(facts.get(name, ()))
    settings = {row["analysis"]: json.loads(row["settings"]) for row in _rows(meta, "settings")}
    log = tuple(_record(row) for row in _rows(meta, "results_log"))
    return SiteInfo(**facts), settings, log


def version_of(meta: Mapping[str, Frame], path: Path) -> int:
    """Return the schema a site was written with; raises StoreError for a file that is no site or of a newer schema."""
    if "site" not in meta:
        raise StoreError(
            "this GeoPackage is not a gravegis site", where=str(path),
            remedy="Make a site with `gravegis new` and bring the file in with `gravegis add`.",
        )  # fmt: skip
    version = next((json.loads(row["value"]) for row in _rows(meta, "site") if row["fact"] == "schema_version"), None)
    if type(version) is not int or not 1 <= version <= schema.SCHEMA_VERSION:
        raise StoreError(
            f"the site has schema {version}, this gravegis reads {schema.SCHEMA_VERSION}", where=str(path),
            remedy="Install the gravegis that wrote it, or a newer one.",
        )  # fmt: skip
    return version


def _rows(meta: Mapping[str, Frame], name: str) -> list[dict[str, Any]]:
    if name not in meta:
        return []
    columns: dict[str, list[Any]] = {str(column): list(meta[name][column]) for column in meta[name].columns}
    return [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]


def _frame(rows: list[dict[str, Any]], columns: tuple[str, ...]) -> Frame:
    return pd.DataFrame(rows, columns=list(columns)).astype("str")


def _line(record: ResultRecord) -> dict[str, Any]:
    return {
        one.name: json.dumps(getattr(record, one.name), sort_keys=True, default=dict)
        if one.name in (*_LISTS, *_MAPS)
        else getattr(record, one.name)
        for one in fields(ResultRecord)
    }


def _record(row: Mapping[str, Any]) -> ResultRecord:
    values = dict(row)
    # a log written before a column came in does without it
    for name in (one for one in _LISTS if one in values):
        values[name] = tuple(json.loads(values[name]))
    for name in (one for one in _MAPS if one in values):
        values[name] = json.loads(values[name])
    return ResultRecord(**{**values, "version": int(values["version"]), "seed": int(values["seed"])})
