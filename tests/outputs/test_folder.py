from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from gravegis.errors import StoreError
from gravegis.outputs import folder, maps
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path


def names(path: Path) -> set[str]:
    return {one.name for one in path.iterdir()}


def test_everything_made_is_listed_and_gone_when_the_next_run_does_not_make_it(
    sample_run: Site, tmp_path: Path
) -> None:
    made = folder.write_all(sample_run, tmp_path, made_on="2026-11-25", paper="A4")
    assert names(tmp_path) == {one.path.name for one in made} | {folder.CONTENTS}
    assert all(one.words for one in made)
    few = folder.write_all(
        sample_run.without(("stops", "legs", "unplanned")), tmp_path, made_on="2026-11-25", paper="A4"
    )
    assert names(tmp_path) == {one.path.name for one in few} | {folder.CONTENTS}
    assert "crew_map.pdf" not in names(tmp_path)


def test_the_page_for_the_superintendent_is_opened_first(sample_run: Site, tmp_path: Path) -> None:
    made = folder.write_all(sample_run, tmp_path, made_on="2026-11-25", paper="Letter")
    first = [one.path.name for one in folder.open_first(made)]
    assert first[:4] == ["zones.pdf", "wetting_map.pdf", "heat_map.pdf", "crew_map.pdf"]
    assert {"crew_C1_2026-12-02.pdf", "crew_V1_2026-12-02.pdf"} <= set(first[4:])


def test_a_break_while_drawing_leaves_the_older_pages_whole(
    sample_run: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder.write_all(sample_run, tmp_path, made_on="2026-11-25", paper="A4")
    before = {one.name: one.read_bytes() for one in tmp_path.iterdir()}

    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(maps, "heat_map", stopped)
    with pytest.raises(KeyboardInterrupt):
        folder.write_all(sample_run, tmp_path, made_on="2026-11-26", paper="A4")
    assert {one.name: one.read_bytes() for one in tmp_path.iterdir()} == before


def test_a_folder_that_cannot_be_written_is_said_with_the_remedy(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    with pytest.raises(StoreError, match=r"cannot be written(.|\n)*the results themselves are saved"):
        folder.write_all(Site(SiteInfo("t", "EPSG:7854")), tmp_path / "out", made_on="", paper="A4")


def test_a_site_without_results_gives_words_and_no_empty_map(tmp_path: Path) -> None:
    made = folder.write_all(Site(SiteInfo("t", "EPSG:7854")), tmp_path, made_on="", paper="A4")
    assert folder.open_first(made) == []
    assert not [name for name in names(tmp_path) if name.endswith(".pdf")]
