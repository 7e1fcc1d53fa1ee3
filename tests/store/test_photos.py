"""Pictures: kept under the hash of what they show, swept when nobody names them, never one that is not ours."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

from gravegis import edits, store
from gravegis.errors import StoreError
from gravegis.site import Site, SiteInfo
from gravegis.store import photos as kept_photos

ROOT = Path(__file__).resolve().parents[2]
SITE = Site(SiteInfo("Test ground", "EPSG:7854"))


def picture(folder: Path, name: str = "IMG 1.JPG", content: bytes = b"\xff\xd8 a stone") -> Path:
    file = folder.with_name(f"{folder.name}-taken") / name
    file.parent.mkdir(exist_ok=True)
    file.write_bytes(content)
    return file


def with_photo(site: Site, name: str) -> Site:
    return site.with_layers({"photos": pd.DataFrame({"photo_id": ["p"], "stone_id": ["1"], "file": [name]})})


def there(folder: Path) -> list[str]:
    return sorted(path.name for path in (folder / "photos").iterdir())


def test_a_picture_is_kept_by_its_content_once_and_the_site_names_it(tmp_path: Path) -> None:
    store.save(SITE, tmp_path)
    file = picture(tmp_path)
    name = store.photos.keep(tmp_path, file)
    assert store.photos.keep(tmp_path, picture(tmp_path, "again.jpg")) == name
    assert there(tmp_path) == [name]
    assert name.startswith("photo-")
    assert name.endswith(".jpg")
    assert (tmp_path / "photos" / name).read_bytes() == file.read_bytes()
    store.save(with_photo(SITE, name), tmp_path)
    assert there(tmp_path) == [name]
    assert store.load(tmp_path)["photos"]["file"].tolist() == [name]


@pytest.mark.parametrize("name", ["no suffix", "odd.j p g", "x.tar.gz", "Ä.PNG", ".hidden"])
def test_any_file_name_serves(tmp_path: Path, name: str) -> None:
    store.save(SITE, tmp_path)
    kept = store.photos.keep(tmp_path, picture(tmp_path, name))
    store.save(with_photo(SITE, kept), tmp_path)
    store.save(SITE, tmp_path)
    assert there(tmp_path) == [kept]


def test_a_picture_goes_when_neither_the_site_nor_a_version_names_it_and_one_of_a_stranger_stays(
    tmp_path: Path,
) -> None:
    store.save(SITE, tmp_path)
    name = store.photos.keep(tmp_path, picture(tmp_path))
    strangers = ["IMG_2.jpg", "photo-0123456789abcdef.jpg", "photo-of-mine.jpg", f"{name}.bak"]
    for one in strangers:
        (tmp_path / "photos" / one).write_bytes(b"not ours")
    store.save(with_photo(SITE, name), tmp_path)
    for _ in range(5):
        store.save(SITE, tmp_path)
        assert name in there(tmp_path)
    store.save(SITE, tmp_path)
    assert there(tmp_path) == sorted(strangers)


def test_a_restored_version_has_its_pictures(tmp_path: Path) -> None:
    store.save(SITE, tmp_path)
    name = store.photos.keep(tmp_path, picture(tmp_path))
    store.save(with_photo(SITE, name), tmp_path)
    store.save(SITE, tmp_path)
    from gravegis.store import versions

    store.restore(tmp_path, versions.listing(tmp_path)[0].name)
    assert store.load(tmp_path)["photos"]["file"].tolist() == [name]
    assert there(tmp_path) == [name]


def test_an_edit_that_names_a_picture_keeps_it_over_the_next_save(tmp_path: Path) -> None:
    store.save(SITE, tmp_path)
    with store.locked(tmp_path):
        name = store.photos.keep(tmp_path, picture(tmp_path))
        edit = edits.add(store.load(tmp_path), "photos", "p", {"file": name})
        store.journal.append(tmp_path, store.journal.read(tmp_path), "edit", edit)
    with store.locked(tmp_path):
        store.save(store.load(tmp_path), tmp_path)
    assert there(tmp_path) == [name]


KILLED = """
import os, signal, sys
from pathlib import Path
from gravegis import store
from gravegis.store import photos
folder, when = Path(sys.argv[1]), sys.argv[3]
def kill(*_):
    os.kill(os.getpid(), signal.SIGKILL)
if when == "while it is copied":
    photos.flush = kill
with store.locked(folder):
    store.photos.keep(folder, Path(sys.argv[2]))
    kill()
"""


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is asked for")
@pytest.mark.parametrize("when", ["while it is copied", "before the save"])
def test_a_kill_between_picture_and_save_leaves_the_site_whole_and_nothing_behind(tmp_path: Path, when: str) -> None:
    store.save(SITE, tmp_path)
    command = [sys.executable, "-c", KILLED, str(tmp_path), str(picture(tmp_path)), when]
    assert subprocess.run(command, cwd=ROOT, check=False).returncode == -signal.SIGKILL
    assert len(there(tmp_path)) == 1
    assert list(store.load(tmp_path)) == []
    with store.locked(tmp_path):
        store.save(store.load(tmp_path), tmp_path)
    assert there(tmp_path) == []


def test_a_picture_that_was_cut_short_in_the_folder_is_written_again(tmp_path: Path) -> None:
    store.save(SITE, tmp_path)
    file = picture(tmp_path)
    name = store.photos.keep(tmp_path, file)
    (tmp_path / "photos" / name).write_bytes(b"\xff")
    assert store.photos.keep(tmp_path, file) == name
    assert (tmp_path / "photos" / name).read_bytes() == file.read_bytes()


def test_a_picture_that_is_not_there_or_a_full_disk_is_said_and_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.save(SITE, tmp_path)
    with pytest.raises(StoreError, match=r"cannot be kept \(No such file(.|\n)*Check its name"):
        store.photos.keep(tmp_path, tmp_path / "nowhere.jpg")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(kept_photos, "flush", full)
    with pytest.raises(StoreError, match="No space left on device"):
        store.photos.keep(tmp_path, picture(tmp_path))
    assert there(tmp_path) == []


def test_a_version_that_cannot_be_read_keeps_all_pictures(tmp_path: Path) -> None:
    store.save(SITE, tmp_path)
    name = store.photos.keep(tmp_path, picture(tmp_path))
    store.save(with_photo(SITE, name), tmp_path)
    store.save(SITE, tmp_path)
    for file in (tmp_path / "versions").iterdir():
        content = file.read_bytes()
        file.unlink()
        file.write_bytes(content[:3000])
    store.save(SITE, tmp_path)
    assert there(tmp_path) == [name]
