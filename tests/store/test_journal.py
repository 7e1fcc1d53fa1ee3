"""The journal: nothing written down is lost, nothing is made twice, and what is damaged is said."""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gravegis import edits, store
from gravegis.errors import StoreError
from gravegis.layers import canonical
from gravegis.site import Site, SiteInfo
from gravegis.store import journal as journals
from gravegis.store import versions
from tests.store.editor import made_n
from tests.store.small import small

if TYPE_CHECKING:
    from collections.abc import Sequence

ROOT = Path(__file__).resolve().parents[2]
posix = pytest.mark.skipif(os.name != "posix", reason="SIGKILL, fork, limits and users are asked for")


def same(one: Site, other: Site) -> bool:
    return list(one) == list(other) and all(canonical.equal(one[name], other[name]) for name in one)


def write(folder: Path, site: Site, made: Sequence[edits.AnyEdit]) -> Site:
    """Make edits as a command does, and return the site that is in memory then."""
    with store.locked(folder):
        journal = store.journal.read(folder)
        for one in made:
            site = edits.apply(site, one)
            journal = store.journal.append(folder, journal, "edit", one)
    return site


def tags(site: Site, *values: str) -> Site:
    """Return a site after its stone was called these, one after the other."""
    for value in values:
        site = edits.apply(site, edits.change(site, "stones", "s1", {"tag": value}))
    return site


def tag_edits(site: Site, *values: str) -> list[edits.AnyEdit]:
    made: list[edits.AnyEdit] = []
    for value in values:
        made.append(edits.change(site, "stones", "s1", {"tag": value}))
        site = edits.apply(site, made[-1])
    return made


@pytest.fixture
def edited(tmp_path: Path) -> tuple[Path, Site]:
    """A folder with three edits since its save, and the site as it is in memory."""
    store.save(small("old"), tmp_path)
    site = store.load(tmp_path)
    return tmp_path, write(tmp_path, site, tag_edits(site, "a", "b", "c"))


def test_opening_makes_the_edits_since_the_last_save_again_and_a_save_empties_the_journal(
    edited: tuple[Path, Site],
) -> None:
    folder, site = edited
    assert same(store.load(folder), site)
    assert len((folder / "journal.jsonl").read_text().splitlines()) == 4
    store.save(store.load(folder), folder)
    assert not (folder / "journal.jsonl").exists()
    assert same(store.load(folder), site)


def test_results_and_grids_outlive_the_edits(edited: tuple[Path, Site]) -> None:
    again = store.load(edited[0])
    assert [one.analysis for one in again.log] == ["heatmap"]
    assert list(again.grids) == ["share"]


@pytest.mark.parametrize("when", ["after the replace", "with a torn line too"])
def test_a_kill_between_the_save_and_the_emptying_of_the_journal_makes_no_edit_twice(
    edited: tuple[Path, Site], when: str
) -> None:
    folder, site = edited
    written = (folder / "journal.jsonl").read_bytes() + (b'{"su' if when != "after the replace" else b"")
    store.save(site, folder)
    (folder / "journal.jsonl").write_bytes(written)
    assert same(store.load(folder), site)
    # the next edit begins a journal of its own
    made = write(folder, store.load(folder), tag_edits(site, "d"))
    assert same(store.load(folder), made)
    assert len((folder / "journal.jsonl").read_text().splitlines()) == 2
    assert [path.name for path in folder.glob("journal*")] == ["journal.jsonl"]


def test_the_journal_of_another_save_is_not_made_and_is_kept_aside(
    edited: tuple[Path, Site], caplog: pytest.LogCaptureFixture
) -> None:
    folder, _ = edited
    written = (folder / "journal.jsonl").read_bytes()
    store.save(store.load(folder), folder)
    store.save(small("new"), folder)
    (folder / "journal.jsonl").write_bytes(written)
    assert "tag" not in store.load(folder)["stones"].columns
    assert "belongs to another save" in caplog.text
    write(folder, store.load(folder), tag_edits(store.load(folder), "z"))
    assert store.load(folder)["stones"].set_index("stone_id").loc["s1", "tag"] == "z"
    (aside,) = (path for path in folder.glob("journal-*"))
    assert aside.read_bytes() == written


@pytest.mark.parametrize("cut", [1, 2, 40, 10_000])
def test_a_last_line_that_was_cut_off_is_dropped_and_the_next_edit_takes_its_place(
    edited: tuple[Path, Site], cut: int
) -> None:
    folder, _ = edited
    path = folder / "journal.jsonl"
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:3]) + lines[3][: -min(cut, len(lines[3]) - 1)])
    expected = tags(small("old"), "a", "b")
    assert same(store.load(folder), expected)
    made = write(folder, store.load(folder), tag_edits(expected, "instead"))
    assert same(store.load(folder), made)
    assert len(path.read_text().splitlines()) == 4


def test_a_last_line_whose_block_never_reached_the_disk_is_dropped(edited: tuple[Path, Site]) -> None:
    folder, _ = edited
    path = folder / "journal.jsonl"
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:3]) + b"\0" * 30 + lines[3][30:])
    assert same(store.load(folder), tags(small("old"), "a", "b"))


def test_a_journal_cut_at_any_byte_gives_the_edits_whose_lines_are_whole(edited: tuple[Path, Site]) -> None:
    folder, _ = edited
    path = folder / "journal.jsonl"
    raw = path.read_bytes()
    for end in range(len(raw) + 1):
        path.write_bytes(raw[:end])
        found = store.journal.read(folder)
        assert len(found.entries) == max(raw[:end].count(b"\n") - 1, 0)


@pytest.mark.parametrize("number", [1, 2, 3, 4])
def test_a_damaged_line_is_refused_with_its_number_and_the_way_out_and_nothing_is_lost(
    edited: tuple[Path, Site], number: int
) -> None:
    folder, _ = edited
    path = folder / "journal.jsonl"
    lines = path.read_bytes().splitlines(keepends=True)
    lines[number - 1] = lines[number - 1].replace(b'"', b"'", 1)
    broken = b"".join(lines)
    path.write_bytes(broken)
    for attempt in (lambda: store.load(folder), lambda: store.save(small("new"), folder)):
        with pytest.raises(StoreError, match=rf"line {number} of the edits(.|\n)*nothing was changed(.|\n)*Put back"):
            attempt()
    assert path.read_bytes() == broken
    if number > 2:  # what the message advises
        path.write_bytes(b"".join(lines[: number - 1]))
        assert same(store.load(folder), tags(small("old"), *"abc"[: number - 2]))


@pytest.mark.parametrize("change", ["a line gone", "two lines changed over", "a line twice", "a figure changed"])
def test_lines_are_bound_to_each_other(edited: tuple[Path, Site], change: str) -> None:
    folder, _ = edited
    path = folder / "journal.jsonl"
    head, one, two, three = path.read_bytes().splitlines(keepends=True)
    made = {
        "a line gone": [head, two, three], "two lines changed over": [head, two, one, three],
        "a line twice": [head, one, one, two, three],
        "a figure changed": [head, one.replace(b'"a"', b'"x"'), two, three],
    }  # fmt: skip
    path.write_bytes(b"".join(made[change]))
    with pytest.raises(StoreError, match="damaged"):
        store.load(folder)


def test_an_edit_that_does_not_fit_the_site_is_refused_with_its_line(edited: tuple[Path, Site]) -> None:
    folder, _ = edited
    with store.locked(folder):
        wrong = edits.Edit("stones", "s1", {"tag": ("nobody", "x")})
        store.journal.append(folder, store.journal.read(folder), "edit", wrong)
    with pytest.raises(StoreError, match=r"line 5 of the edits(.|\n)*it holds c now, not nobody"):
        store.load(folder)


def test_a_journal_of_another_schema_is_refused_with_the_remedy(
    edited: tuple[Path, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("gravegis.layers.schema.SCHEMA_VERSION", 3)
    with pytest.raises(StoreError, match=r"written with schema 2, this is 3(.|\n)*gravegis that wrote them"):
        store.journal.read(edited[0])


def test_undo_and_redo_follow_the_gestures_and_a_new_one_ends_the_redo(edited: tuple[Path, Site]) -> None:
    folder, _ = edited

    def step(kind: str, edit: edits.AnyEdit | None) -> str | None:
        assert edit is not None
        store.journal.append(folder, store.journal.read(folder), kind, edit)
        value: str | None = store.load(folder)["stones"].set_index("stone_id")["tag"]["s1"]
        return value

    def back() -> edits.AnyEdit:
        edit = store.journal.read(folder).undoable
        assert edit is not None
        return edits.undo_of(edit)

    assert store.journal.read(folder).redoable is None
    assert [step("undo", back()), step("undo", back())] == ["b", "a"]
    assert step("redo", store.journal.read(folder).redoable) == "b"
    assert store.journal.read(folder).standing_n == 2
    assert step("undo", back()) == "a"
    assert step("edit", edits.change(store.load(folder), "stones", "s1", {"tag": "new"})) == "new"
    assert store.journal.read(folder).redoable is None
    assert step("undo", back()) == "a"
    store.journal.append(folder, store.journal.read(folder), "undo", back())
    assert same(store.load(folder), small("old"))
    assert store.journal.read(folder).undoable is None
    assert [one.kind for one in store.journal.read(folder).entries] == [
        *["edit"] * 3, "undo", "undo", "redo", "undo", "edit", "undo", "undo",
    ]  # fmt: skip


@pytest.mark.parametrize("meanwhile", ["an edit", "a save"])
def test_what_somebody_else_wrote_since_is_never_written_over(edited: tuple[Path, Site], meanwhile: str) -> None:
    folder, site = edited
    journal = store.journal.read(folder)
    other = write(folder, site, tag_edits(site, "theirs"))
    if meanwhile == "a save":
        store.save(other, folder)
    with pytest.raises(StoreError, match=r"somebody else has edited or saved(.|\n)*Open it again"):
        store.journal.append(folder, journal, "edit", tag_edits(site, "mine")[0])
    assert same(store.load(folder), other)


def test_a_restore_keeps_the_edits_since_the_last_save_as_a_version(edited: tuple[Path, Site]) -> None:
    folder, site = edited
    store.save(site, folder)
    for _ in range(4):
        store.save(small("new"), folder)
    write(folder, store.load(folder), tag_edits(store.load(folder), "last words"))
    oldest = versions.listing(folder)[-1]
    assert (len(versions.listing(folder)), oldest.layers["stones"]) == (versions.KEPT, 200)
    # the oldest is pushed out by the version the edits become, and is put back all the same
    store.restore(folder, oldest.name)
    assert same(store.load(folder), small("old"))
    assert not (folder / "journal.jsonl").exists()
    store.restore(folder, versions.listing(folder)[0].name)
    assert store.load(folder)["stones"].set_index("stone_id")["tag"]["s1"] == "last words"


def test_a_restore_puts_a_damaged_journal_aside(edited: tuple[Path, Site]) -> None:
    folder, site = edited
    store.save(site, folder)
    write(folder, site, tag_edits(site, "x", "y"))
    path = folder / "journal.jsonl"
    broken = path.read_bytes().replace(b'"x"', b'"q"', 1)
    path.write_bytes(broken)
    store.restore(folder, next(iter((folder / "versions").iterdir())).stem)
    assert same(store.load(folder), small("old"))
    assert [one.read_bytes() for one in folder.glob("journal-*")] == [broken]


ROWS = st.sampled_from(["z1", "z2", "Z", "ö"])


@given(st.lists(st.tuples(ROWS, st.sampled_from(["change", "add", "delete", "undo", "redo"]), st.text(max_size=3))))
@settings(max_examples=15)
def test_replay_gives_what_the_same_edits_give_without_a_crash(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[str, str, str]]
) -> None:
    folder = tmp_path_factory.mktemp("ground")
    site = Site(SiteInfo("g", "EPSG:7854")).with_layers({"zones": pd.DataFrame({"zone_id": ["Z"], "notes": ["n"]})})
    store.save(site, folder)
    journal = store.journal.read(folder)
    for row, kind, text in steps:
        made: edits.AnyEdit | None = None
        try:
            if kind == "change":
                made = edits.change(site, "zones", row, {"notes": text})
            elif kind == "add":
                made = edits.add(site, "zones", row, {"source_id": text})
            elif kind == "delete":
                made = edits.delete(site, "zones", row)
            elif kind == "undo":
                made = journal.undoable and edits.undo_of(journal.undoable)
            else:
                made = journal.redoable
        except Exception:  # noqa: BLE001 - not every draw is possible
            made = None
        if made is None:
            continue
        site = edits.apply(site, made)
        journal = store.journal.append(folder, journal, kind if kind in journals.KINDS else "edit", made)
    assert same(store.load(folder), site)
    assert store.journal.read(folder) == journal


FULL = """
import json, resource, sys
from pathlib import Path
from gravegis import edits, store
from gravegis.errors import StoreError
folder, said = Path(sys.argv[1]), []
site, journal = store.load(folder), store.journal.read(folder)
for room in (0, 1, 30, 100, 180):
    edit = edits.change(site, "stones", "s1", {"tag": "a long word " * 8})
    resource.setrlimit(resource.RLIMIT_FSIZE, (journal.end + room, resource.RLIM_INFINITY))
    try:
        store.journal.append(folder, journal, "edit", edit)
        said.append("done")
    except StoreError as error:
        said.append(str(error))
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
print(json.dumps(said))
"""


@posix
@pytest.mark.parametrize("is_first", [True, False])
def test_a_full_disk_while_an_edit_is_written_down_is_said_and_changes_nothing(
    edited: tuple[Path, Site], is_first: bool
) -> None:
    folder, site = edited
    if is_first:
        store.save(site, folder)
    path = folder / "journal.jsonl"
    before = b"" if is_first else path.read_bytes()
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(folder)], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    said = json.loads(done.stdout.splitlines()[-1])
    assert len(said) == 5
    for words in said:
        assert "cannot be written down" in words
        assert "nothing was changed" in words
        assert "free space" in words
    assert (path.read_bytes() if path.exists() else b"") == before
    assert same(store.load(folder), site)
    assert same(store.load(folder), write(folder, store.load(folder), []))
    write(folder, site, tag_edits(site, "after"))
    assert store.load(folder)["stones"].set_index("stone_id")["tag"]["s1"] == "after"


OTHER = """
import json, os, sys
from pathlib import Path
from gravegis import edits, store
from gravegis.errors import StoreError
folder, said = Path(sys.argv[1]), []
site = store.load(folder)
edit = edits.change(site, "stones", "s1", {"tag": "mine"})
os.setgroups([]); os.setgid(65534); os.setuid(65534)
try:
    store.journal.append(folder, store.journal.read(folder), "edit", edit)
except StoreError as error:
    said.append(str(error))
said.append(store.load(folder)["stones"].set_index("stone_id")["tag"]["s1"])
print(json.dumps(said))
"""


@posix
@pytest.mark.skipif(os.name == "posix" and os.getuid() != 0, reason="only the superuser can become another user")
def test_an_edit_in_a_folder_that_may_only_be_read_is_refused_and_reading_goes_on(edited: tuple[Path, Site]) -> None:
    place = Path(f"/tmp/gravegis-journal-{os.getpid()}")
    shutil.copytree(edited[0], place)
    try:
        place.chmod(0o755)
        done = subprocess.run(
            [sys.executable, "-c", OTHER, str(place)], cwd=ROOT, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        refused, read = json.loads(done.stdout.splitlines()[-1])
        assert "cannot be written down (Permission denied); nothing was changed" in refused
        assert "write permission" in refused
        assert read == "c"
    finally:
        shutil.rmtree(place)


def kill_amid_edits(folder: Path, count: int, seed: int) -> dict[str, int]:
    """Kill people at work at random moments; after each nothing written down is lost, and at most one more is there."""
    rng = random.Random(seed)
    met = {"one more": 0, "amid a save": 0, "edits": 0}
    command = [sys.executable, "-m", "tests.store.editor", str(folder)]
    with subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        number = 0
        for turn in range(count + 1):
            process.stdin.write(f"{100_000 if turn < count else 20} {number}\n")
            process.stdin.flush()
            said = process.stdout.readline()
            while not said.startswith("pid"):
                number, said = int(said), process.stdout.readline()
            if turn < count:
                time.sleep(rng.uniform(0.05, 0.6))
                os.kill(int(said.split()[1]), signal.SIGKILL)
            while (said := process.stdout.readline().strip()) not in ("gone", "ended 0"):
                assert said.isdigit(), said
                number = int(said)
            assert said == ("gone" if turn < count else "ended 0")
            met["amid a save"] += any(folder.glob(".site-*"))
            there = made_n(store.load(folder))
            assert there & {number, number + 1}, f"{number} were written down, {there} are there"
            met["one more"] += number not in there
            number = number if number in there else number + 1
        met["edits"] = number
        process.communicate(timeout=30)
    return met


@posix
def test_five_kills_amid_edits_lose_at_most_the_gesture_in_hand(tmp_path: Path) -> None:
    assert kill_amid_edits(tmp_path, 5, seed=1)["edits"] > 20


@posix
@pytest.mark.full
def test_fifty_kills_amid_edits_lose_at_most_the_gesture_in_hand(tmp_path: Path) -> None:
    met = kill_amid_edits(tmp_path, 50, seed=2)
    assert met["edits"] > 50, met
    assert met["amid a save"] >= 5, met


def test_a_reader_meets_the_site_with_or_without_the_line_that_is_being_written(
    edited: tuple[Path, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, site = edited
    found: list[Any] = []
    write_all = os.write

    def half(descriptor: int, text: memoryview) -> int:
        found.append(store.load(folder)["stones"].set_index("stone_id")["tag"]["s1"])
        return write_all(descriptor, text[: max(len(text) // 2, 1)])

    monkeypatch.setattr(os, "write", half)
    write(folder, site, [edits.change(site, "stones", "s1", {"geometry": shapely.Point(1, 2), "tag": "d"})])
    monkeypatch.undo()
    assert set(found) == {"c"}
    assert len(found) > 3
    assert store.load(folder)["stones"].set_index("stone_id")["tag"]["s1"] == "d"


def test_a_site_that_was_not_read_from_a_folder_does_not_wipe_out_the_edits_there(edited: tuple[Path, Site]) -> None:
    folder, site = edited
    before = (folder / "journal.jsonl").read_bytes()
    with pytest.raises(StoreError, match="3 edits since the last save"):
        store.save(small("new"), folder)
    assert (folder / "journal.jsonl").read_bytes() == before
    assert same(store.load(folder), site)
    # what was read from it, whatever was made of it since, holds them and may be saved
    store.save(store.load(folder).with_settings("wetting", {}), folder)
    store.save(small("new"), folder)
    assert store.load(folder).info.title == "new"


def test_a_site_made_here_may_be_saved_over_its_own_edits_and_another_may_not(tmp_path: Path) -> None:
    site = small("old")
    store.save(site, tmp_path)
    site = write(tmp_path, site, tag_edits(site, "a"))
    store.save(site, tmp_path)
    site = write(tmp_path, site, tag_edits(site, "b"))
    with pytest.raises(StoreError, match="1 edit since the last save"):
        store.save(small("old"), tmp_path)
    store.save(site, tmp_path)
    assert same(store.load(tmp_path), site)


def test_the_sample_is_not_made_anew_over_edits_nobody_saved(edited: tuple[Path, Site]) -> None:
    from gravegis import sample

    folder, _ = edited
    layers = sample.find()
    titled = Site(SiteInfo(sample.read(layers).info.title, "EPSG:7854", "typed"))
    store.save(store.load(folder), folder)
    store.save(titled.with_layers({name: store.load(folder)[name] for name in ("stones",)}), folder)
    write(folder, store.load(folder), tag_edits(store.load(folder), "z"))
    with pytest.raises(StoreError, match=r"(?s)edit since the last save.*gravegis run"):
        sample.build(layers, folder)
    assert store.load(folder)["stones"].set_index("stone_id").loc["s1", "tag"] == "z"
