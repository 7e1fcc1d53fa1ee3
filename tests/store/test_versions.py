from __future__ import annotations

import datetime as dt
import os
from pathlib import Path
from typing import Any

import pytest

from gravegis import store
from gravegis.errors import StoreError
from gravegis.store import versions
from tests.store.small import ROWS, small, which_whole

START = dt.datetime(2026, 3, 1, 9, 0, tzinfo=dt.UTC)


def save_days(folder: Path, *sites: str) -> None:
    for day, which in enumerate(sites):
        store.save(small(which), folder, saved_at=START + dt.timedelta(days=day))


def damage(file: Path) -> None:
    # a new file: the old one may be linked elsewhere
    whole = bytearray(file.read_bytes())
    file.unlink()
    file.write_bytes(bytes(whole[: len(whole) // 2]))


def test_the_last_five_states_before_the_present_are_kept_by_the_time_they_were_saved(tmp_path: Path) -> None:
    save_days(tmp_path, *["old", "new"] * 4)
    listed = versions.listing(tmp_path)
    assert [one.saved_at for one in listed] == [START + dt.timedelta(days=day) for day in (6, 5, 4, 3, 2)]
    assert [one.layers["stones"] for one in listed] == [ROWS["old"], ROWS["new"]] * 2 + [ROWS["old"]]
    assert listed[0].results == ("heatmap",)
    assert listed[0].name.startswith("20260307T090000")


def test_a_version_is_a_hard_link_and_a_copy_where_links_fail(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    save_days(tmp_path, "old")
    before = (tmp_path / "site.gpkg").stat().st_ino
    save_days(tmp_path, "new")
    (kept,) = (tmp_path / "versions").iterdir()
    assert kept.stat().st_ino == before

    def refuse(*_: object) -> None:
        raise OSError(95, "no hard links here")

    monkeypatch.setattr(os, "link", refuse)
    content = (tmp_path / "site.gpkg").read_bytes()
    store.save(small("old"), tmp_path)
    assert {file.read_bytes() == content for file in (tmp_path / "versions").iterdir()} == {True, False}
    assert which_whole(store.load(tmp_path)) == "old"


def test_a_restored_version_is_the_site_again_with_its_grids_and_the_present_one_is_kept(tmp_path: Path) -> None:
    save_days(tmp_path, "old", "new", "new", "new")
    oldest = versions.listing(tmp_path)[-1].name
    assert store.restore(tmp_path, oldest) == oldest
    assert which_whole(store.load(tmp_path)) == "old"
    assert len(versions.listing(tmp_path)) == 4
    store.restore(tmp_path, versions.listing(tmp_path)[0].name)
    assert which_whole(store.load(tmp_path)) == "new"


def test_a_version_can_be_called_by_a_piece_of_its_name_that_is_only_in_it(tmp_path: Path) -> None:
    save_days(tmp_path, "old", "new", "new")
    first = versions.listing(tmp_path)[-1].name
    assert store.restore(tmp_path, first[-8:]) == first
    with pytest.raises(StoreError, match=rf"several versions are called '2026'(.|\n)*{first}"):
        store.restore(tmp_path, "2026")
    with pytest.raises(StoreError, match=rf"no version is called '1999'(.|\n)*{first}"):
        store.restore(tmp_path, "1999")
    with pytest.raises(StoreError, match="no version is called ''"):
        store.restore(tmp_path, "")


def test_a_damaged_version_is_refused_and_nothing_changes(tmp_path: Path) -> None:
    save_days(tmp_path, "old", "new")
    (kept,) = versions.listing(tmp_path)
    damage(kept.file)
    before = (tmp_path / "site.gpkg").read_bytes()
    with pytest.raises(StoreError, match="damaged"):
        store.restore(tmp_path, kept.name)
    assert (tmp_path / "site.gpkg").read_bytes() == before
    store.save(small("old"), tmp_path)
    assert which_whole(store.load(tmp_path)) == "old"


def test_a_version_that_cannot_say_which_grids_it_needs_keeps_all_of_them(tmp_path: Path) -> None:
    save_days(tmp_path, "old", "new")
    (kept,) = versions.listing(tmp_path)
    kept.file.write_bytes(b"no database at all" * 100)
    assert "not a database" in versions.listing(tmp_path)[0].damage
    before = set((tmp_path / "grids").iterdir())
    for _ in range(3):
        store.save(small("new").without_results(), tmp_path)
    assert set((tmp_path / "grids").iterdir()) == before


def test_a_damaged_site_is_mended_from_a_version_and_the_error_says_so(tmp_path: Path) -> None:
    save_days(tmp_path, "old", "new")
    damage(tmp_path / "site.gpkg")
    with pytest.raises(StoreError, match=r"gravegis restore SITE VERSION"):
        store.load(tmp_path)
    store.restore(tmp_path, versions.listing(tmp_path)[0].name)
    assert which_whole(store.load(tmp_path)) == "old"
    (tmp_path / "site.gpkg").unlink()
    with pytest.raises(StoreError, match=r"earlier versions are there(.|\n)*gravegis restore"):
        store.load(tmp_path)


def test_a_save_that_fails_makes_no_version(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    save_days(tmp_path, "old")

    def refuse(*_: object) -> None:
        raise OSError(5, "planted")

    with monkeypatch.context() as broken:
        broken.setattr(Path, "replace", refuse)
        with pytest.raises(StoreError, match="planted"):
            store.save(small("new").without_results(), tmp_path)
    assert versions.listing(tmp_path) == []
    assert which_whole(store.load(tmp_path)) == "old"


def test_files_of_a_person_in_the_folder_of_versions_are_left_alone(tmp_path: Path) -> None:
    (tmp_path / "versions").mkdir()
    (tmp_path / "versions" / "before-storm.gpkg").touch()
    save_days(tmp_path, *["old"] * 6)
    assert len(versions.listing(tmp_path)) == 5
    assert (tmp_path / "versions" / "before-storm.gpkg").exists()


def test_the_commands_list_and_restore(gravegis: Any, tmp_path: Path) -> None:
    save_days(tmp_path, "old", "new")
    code, out, _ = gravegis("versions", tmp_path)
    assert code == 0
    present, earlier, last = out.splitlines()
    assert "the present one" in present
    assert "2026-03-02 09:00:00 UTC  3 layers, 232 rows; results: heatmap" in present
    assert "2026-03-01 09:00:00 UTC  3 layers, 202 rows; results: heatmap" in earlier
    assert last.startswith("1 earlier versions")
    code, out, _ = gravegis("restore", tmp_path, earlier.split()[0])
    assert code == 0
    assert "is kept as a version" in out
    assert which_whole(store.load(tmp_path)) == "old"
    assert gravegis("set", tmp_path, "--time-zone", "Australia/Adelaide")[0] == 0
    assert "Australia/Adelaide" in gravegis("versions", tmp_path)[1].splitlines()[0]


@pytest.mark.parametrize(("command", "said"), [("versions", "no site here"), ("restore", "no site here")])
def test_the_commands_say_when_there_is_no_site(gravegis: Any, tmp_path: Path, command: str, said: str) -> None:
    code, _, err = gravegis(command, tmp_path / "nowhere", *(["x"] if command == "restore" else []))
    assert code == 2
    assert said in err
