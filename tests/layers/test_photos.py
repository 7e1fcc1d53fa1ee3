"""Folders of photos: what is not read is named, half a position is none, declinations are looked at."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from PIL import Image

from gravegis.errors import LayerError
from gravegis.layers.bring import bring_in
from gravegis.layers.read import read_file
from gravegis.site import Site, SiteInfo
from tests.layers import every_kind

if TYPE_CHECKING:
    from pathlib import Path

HEIC = b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00"


def new() -> Site:
    return Site(SiteInfo("Test ground", ""))


def test_files_of_a_folder_that_are_not_read_are_named(tmp_path: Path) -> None:
    folder = tmp_path / "photos"
    (folder / "more").mkdir(parents=True)
    every_kind.photo(folder / "S1.jpg")
    (folder / "more" / "IMG1.HEIC").write_bytes(HEIC)
    (folder / "i.png").write_bytes(b"\x89PNG")
    (folder / ".hidden").write_bytes(b"x")
    (folder / "Thumbs.db").write_bytes(b"x")
    raw = read_file(folder)
    said = next(words for words in raw.warnings if "left behind" in words)
    assert said.startswith("2 files of the folder not read and left behind: i.png, more/IMG1.HEIC (a photo in HEIC); ")
    assert len(raw.frame) == 1


def test_a_folder_without_a_jpeg_says_what_is_in_it(tmp_path: Path) -> None:
    (tmp_path / "IMG1.HEIC").write_bytes(HEIC)
    with pytest.raises(LayerError, match=r"holds 0 photos \(JPEG\); not read: IMG1.HEIC \(a photo in HEIC\)"):
        read_file(tmp_path)


@pytest.mark.parametrize("lost", [(1,), (3,), (1, 3)])
def test_a_position_without_its_letters_counts_as_none_and_is_said(tmp_path: Path, lost: tuple[int, ...]) -> None:
    letters = {1: "N", 3: "W"}
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({2: (44.0, 3.0, 0.3), 4: (121.0, 18.0, 0.0)}
                                | {tag: word for tag, word in letters.items() if tag not in lost})  # fmt: skip
    Image.new("RGB", (8, 8)).save(tmp_path / "e.jpg", exif=exif)
    raw = read_file(tmp_path / "e.jpg")
    assert raw.frame.geometry[0] is None
    assert any("1 photo with degrees of latitude and longitude but not the letters" in one for one in raw.warnings)
    assert "half" not in raw.frame.columns


def test_the_remedy_for_magnetic_bearings_names_no_figure(tmp_path: Path) -> None:
    every_kind.photo(tmp_path / "S1.jpg", north="M")
    with pytest.raises(LayerError, match="--bearings magnetic --declination DEGREES"):
        bring_in(new(), "photos", tmp_path)
    with pytest.raises(LayerError, match="95 is no declination"):
        bring_in(new(), "photos", tmp_path, bearings="magnetic", declination_deg=95.0)
    far = bring_in(new(), "photos", tmp_path, bearings="magnetic", declination_deg=-45.0)
    assert any("declination of -45 degrees is more than the 30" in words for words in far.warnings)
    near = bring_in(new(), "photos", tmp_path, bearings="magnetic", declination_deg=-20.0)
    assert not any("declination" in words for words in near.warnings)
