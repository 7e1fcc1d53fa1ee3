"""Pictures on paper: the right one of the right stone, none without leave, none of stones that are held."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pypdf
import pytest
from PIL import Image

from gravegis import pipeline
from gravegis.outputs.pictures import newest_photos, pictures_page, thumbnail
from gravegis.outputs.worklist_pages import write_worklist_pages
from tests.outputs import pdftext

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.site import Site


def jpeg(file: Path, shade: int) -> str:
    file.parent.mkdir(exist_ok=True)
    Image.new("RGB", (900, 600), (shade, shade, shade)).save(file)
    return file.name


@pytest.fixture
def pictured(sample_run: Site, tmp_path: Path) -> tuple[Site, Path, list[str], str]:
    """The sample with pictures of two stones that may go out, one that is held, and one whose file is broken."""
    work = sample_run["worklist"]
    out = work.loc[(work["who"] == "crew") & work["hold"].isna(), "stone_id"].tolist()[:3]
    held = str(work.loc[work["hold"].notna(), "stone_id"].iloc[0])
    folder = tmp_path / "photos"
    rows: list[dict[str, Any]] = [
        {"photo_id": "a", "stone_id": out[0], "face": "front", "file": jpeg(folder / "a.jpg", 10)},
        {"photo_id": "b", "stone_id": out[0], "face": "back", "file": jpeg(folder / "b.jpg", 90)},
        {"photo_id": "c", "stone_id": out[1], "face": None, "file": jpeg(folder / "c.jpg", 200)},
        {"photo_id": "d", "stone_id": held, "face": "front", "file": jpeg(folder / "d.jpg", 30)},
        {"photo_id": "e", "stone_id": out[2], "face": "front", "file": "e.jpg"},
        {"photo_id": "f", "stone_id": None, "face": "front", "file": "a.jpg"},
    ]  # fmt: skip
    (folder / "e.jpg").write_bytes(b"\xff\xd8\xff no picture")
    return sample_run.with_layers({"photos": pd.DataFrame(rows)}), folder, out, held


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_each_stone_that_may_go_out_has_its_front_and_others_have_none(
    pictured: tuple[Site, Path, list[str], str], paper: str
) -> None:
    site, folder, out, held = pictured
    page = pictures_page(site, folder, paper=paper)
    assert page is not None
    said = " ".join(word.text for one in pdftext.pages(page) for word in one.words)
    assert out[0] in said
    assert out[1] in said
    assert out[2] not in said  # its file is no picture
    assert held not in said
    assert "never proves" in said
    images = pypdf.PdfReader(io.BytesIO(page)).pages[0].images
    shades = [np.asarray(one.image.convert("L")).mean() for one in images if one.image is not None]
    assert sorted(round(float(shade) / 10) for shade in shades) == [1, 20]
    assert all(pdftext.overlaps(one) == [] for one in pdftext.pages(page))


def test_without_leave_for_photographs_none_is_printed(pictured: tuple[Site, Path, list[str], str]) -> None:
    site, _, out, _ = pictured
    no = pd.DataFrame({"stone_id": out[:1], "kind": ["photo consent"], "status": ["refused"]})
    asked = pipeline.run(site.with_layers({"permissions": no}), ["worklist"]).site
    assert out[0] in newest_photos(site)
    assert out[0] not in newest_photos(asked)


def test_the_page_is_written_beside_the_worklist_where_there_are_pictures_only(
    pictured: tuple[Site, Path, list[str], str], sample_run: Site
) -> None:
    site, folder, _, _ = pictured
    names = {file.name for file in write_worklist_pages(site, folder.parent / "out")}
    assert {"worklist.pdf", "pictures.pdf"} <= names
    assert "pictures.pdf" not in {file.name for file in write_worklist_pages(sample_run, folder.parent / "out")}


def test_a_thumbnail_keeps_its_shape_within_the_room_and_a_file_that_is_gone_gives_none(tmp_path: Path) -> None:
    jpeg(tmp_path / "p" / "x.jpg", 50)
    made = thumbnail(tmp_path / "p" / "x.jpg", 100.0, 100.0)
    assert made is not None
    assert made.drawWidth == pytest.approx(100.0)
    assert made.drawHeight == pytest.approx(100.0 * 600 / 900, rel=0.01)
    assert thumbnail(tmp_path / "p" / "gone.jpg", 100.0, 100.0) is None
