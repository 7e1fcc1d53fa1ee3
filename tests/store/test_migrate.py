"""A site of an older schema keeps all its inputs; what is dropped is listed."""

from __future__ import annotations

import gzip
import json
import math
import shutil
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from gravegis import cli, edits, store
from gravegis.errors import StoreError
from gravegis.layers import canonical, schema
from gravegis.store import journal, migrate, versions
from tests.store.small import small

FROZEN = Path(__file__).parent / "frozen"
OLD = [int(path.name.removeprefix("schema_")) for path in sorted(FROZEN.iterdir())]


def unpacked(version: int, folder: Path) -> tuple[Path, dict[str, Any]]:
    """Put a frozen site where it can be opened; return its folder and what was given to it."""
    frozen = FROZEN / f"schema_{version}"
    (folder / "site.gpkg").write_bytes(gzip.decompress((frozen / "site.gpkg.gz").read_bytes()))
    shutil.copytree(frozen / "grids", folder / "grids")
    expected: dict[str, Any] = json.loads((frozen / "expected.json").read_text(encoding="utf-8"))
    return folder, expected


def plain(value: Any) -> Any:
    if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return None
    return value.wkt if hasattr(value, "wkt") else value


def test_every_older_schema_has_a_frozen_site_and_a_step() -> None:
    assert list(range(1, schema.SCHEMA_VERSION)) == OLD
    assert list(migrate.STEPS) == OLD


@pytest.mark.parametrize("version", OLD)
def test_an_older_site_gives_exactly_its_inputs_and_lists_the_results_it_drops(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, version: int
) -> None:
    folder, expected = unpacked(version, tmp_path)
    site = store.load(folder)
    facts = {name: tuple(one) if isinstance(one, list) else one for name, one in expected["info"].items()}
    assert {name: getattr(site.info, name) for name in facts} == facts
    assert dict(site.settings) == expected["settings"]
    held = {name: {str(c): [plain(one) for one in site[name][c]] for c in site[name].columns} for name in site}
    assert held == {name: in_order(rows, name) for name, rows in expected["layers"].items()}
    assert site.log == ()
    assert dict(site.grids) == {}
    (said,) = (record.getMessage() for record in caplog.records)
    assert f"schema {version}" in said
    assert all(one in said for one in expected["dropped"])


def in_order(rows: dict[str, list[Any]], layer: str) -> dict[str, list[Any]]:
    """Return the rows as given, sorted by their name as all layers are."""
    key = schema.layer(layer).key[0]
    order = sorted(range(len(rows[key])), key=lambda row: str(rows[key][row]))
    return {column: [values[row] for row in order] for column, values in rows.items()}


@pytest.mark.parametrize("version", OLD)
def test_the_next_save_writes_the_present_schema_and_keeps_the_old_file_as_it_was(tmp_path: Path, version: int) -> None:
    folder, _ = unpacked(version, tmp_path)
    before = (folder / "site.gpkg").read_bytes()
    site = store.load(folder)
    store.save(site, folder)
    again = store.load(folder)
    assert [name for name in site if not canonical.equal(site[name], again[name])] == []
    assert versions._ask(folder / "site.gpkg", "SELECT value FROM site WHERE fact = 'schema_version'") == [("2",)]
    (kept,) = versions.listing(folder)
    assert kept.file.read_bytes() == before
    assert [path.name for path in (folder / "grids").iterdir()] == ["share-59415caff6d8.tif"]
    store.restore(folder, kept.name)
    assert (folder / "site.gpkg").read_bytes() == before
    back = store.load(folder)
    assert [name for name in site if not canonical.equal(site[name], back[name])] == []


def test_a_site_of_schema_1_takes_no_journal_before_it_is_saved(tmp_path: Path) -> None:
    folder, _ = unpacked(1, tmp_path)
    site = store.load(folder)
    edit = edits.change(site, "stones", "007", {"tag": "x"})
    with pytest.raises(StoreError, match="Save the site first"):
        journal.append(folder, journal.read(folder), "edit", edit)


def test_the_command_line_lists_what_is_dropped_and_an_edit_saves_the_site_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, _ = unpacked(1, tmp_path)
    for arguments in (["layers"], ["edit", "stones", "007", "tag=T 9"], ["layers"]):
        with pytest.raises(SystemExit) as left:
            cli.main([arguments[0], str(folder), *arguments[1:]])
        caught = capsys.readouterr()
        assert left.value.code == 0, caught.err
        if not (folder / "versions").exists():
            assert "the results of condition, clusters, heatmap are dropped" in caught.err
            assert "all inputs are there" in caught.err
    assert caught.err == ""
    assert store.load(folder)["stones"].set_index("stone_id")["tag"]["007"] == "T 9"


def test_steps_are_taken_one_after_the_other_and_a_missing_one_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    frame = pd.DataFrame({"zone_id": ["Z"]})
    monkeypatch.setattr(schema, "SCHEMA_VERSION", 4)
    monkeypatch.setattr(
        migrate, "STEPS", {2: lambda frames: {"valves": frames["zones"]}, 3: lambda frames: {"zones": frames["valves"]}}
    )
    assert migrate.forward({"zones": frame}, 2, tmp_path)["zones"] is frame
    with pytest.raises(StoreError, match=r"nothing here brings schema 1 forward(.|\n)*newer gravegis"):
        migrate.forward({"zones": frame}, 1, tmp_path)


@pytest.mark.parametrize("version", ["3", "0", "true", '"2"', "null"])
def test_a_schema_that_is_newer_or_none_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, version: str
) -> None:
    with monkeypatch.context() as other:
        other.setattr(schema, "SCHEMA_VERSION", json.loads(version))
        store.save(small("old"), tmp_path / "new")
    with pytest.raises(StoreError, match=r"this gravegis reads 2(.|\n)*or a newer one"):
        store.load(tmp_path / "new")
