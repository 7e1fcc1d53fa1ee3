"""The frame of a printed map: words that fit, true scale and north, the same bytes each time."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
import pypdf
import pytest

from gravegis.errors import SettingError
from gravegis.outputs import blocks, figure, layout, maps, pages
from gravegis.outputs.blocks import Page, Rect

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from matplotlib.figure import Figure

    from gravegis.site import Site

    Draw = Callable[..., Figure]
    Faults = Callable[[Figure], list[str]]

PAGES: dict[str, Draw] = {
    "wetting": maps.wetting_map,
    "condition": maps.condition_map,
    "heat": maps.heat_map,
    "crew": maps.crew_map,
}
PAPERS = ("A4", "Letter")
each_page = pytest.mark.parametrize("draw", PAGES.values(), ids=PAGES.keys())
each_paper = pytest.mark.parametrize("paper", PAPERS)


@each_paper
@each_page
def test_long_titles_notes_and_forty_assumptions_stay_on_the_page(
    draw: Draw, paper: str, small_site: Site, text_faults: Faults, words_on: Callable[[Figure], list[str]]
) -> None:
    many = tuple(
        f"layer_{n}.column (12 rows): something long that was taken for granted, number {n}" for n in range(40)
    )
    notes = tuple(f"A long remark number {n} about what was found on this ground and what was not." for n in range(30))
    log = tuple(replace(record, assumed=many, notes=notes) for record in small_site.log)
    info = replace(small_site.info, title="A ground of a very long name " * 12, sources=("a file of a long name",) * 30)
    made = draw(replace(small_site, log=log, info=info), paper=paper, made_on="2026-11-25")
    assert text_faults(made) == []
    words = " ".join(words_on(made))
    shown = words.count("\u2013 layer_")
    left = re.search(r"and (\d+) more, see assumed\.txt", words)
    assert shown + (int(left.group(1)) if left else 0) == 40
    assert shown > 0


@each_page
def test_hostile_names_are_shown_as_they_are(
    draw: Draw, small_site: Site, text_faults: Faults, words_on: Callable[[Figure], list[str]]
) -> None:
    info = replace(small_site.info, title="$\\frac{1}{$ <b>\u5893\u77f3</b>\n100 % _x_ \u0007")
    made = draw(replace(small_site, info=info))
    assert text_faults(made) == []
    shown = words_on(made)
    assert "U+0007" not in " ".join(shown)
    assert any("$\\frac{1}{$ <b>[U+5893][U+77F3]</b> 100 % _x_" in words for words in shown)
    assert " ".join(shown).count("Some signs cannot be printed: they stand as [U+number]") == 1


def test_a_page_without_odd_signs_says_nothing_of_them(
    small_site: Site, words_on: Callable[[Figure], list[str]]
) -> None:
    assert "cannot be printed" not in " ".join(words_on(maps.wetting_map(small_site)))


def test_nothing_is_drawn_outside_the_frame_of_the_map(small_site: Site) -> None:
    # the wall of the small ground runs on for 5 km
    made = maps.wetting_map(small_site)
    made.canvas.draw()
    pixels = np.asarray(made.canvas.buffer_rgba())  # type: ignore[attr-defined]
    margin = int(blocks.MARGIN_MM / 25.4 * figure.DPI) - 3
    assert (pixels[:, :margin, :3] == 255).all()
    assert (pixels[:, -margin:, :3] == 255).all()


@each_paper
@each_page
def test_the_scale_in_figures_is_the_scale_of_the_map(
    draw: Draw, paper: str, small_site: Site, words_on: Callable[[Figure], list[str]]
) -> None:
    made = draw(small_site, paper=paper)
    ground = made.axes[0]
    corner = ground.transData.transform([(372000.0, 6250000.0), (372010.0, 6250010.0)])
    mm = (corner[1] - corner[0]) / figure.DPI * 25.4
    said = next(int(found.group(1)) for words in words_on(made) if (found := re.match(r"1 : (\d+)", words)))
    assert mm == pytest.approx([10_000 / said] * 2, rel=1e-6)


@pytest.mark.parametrize("mm_per_m", [0.02, 0.3, 1.0, 2.7, 40.0])
def test_the_scale_bar_is_as_long_as_it_says(mm_per_m: float) -> None:
    bounds = (0.0, 0.0, 100.0, 100.0)
    sheet = figure.bare_sheet(layout.picture(88.0, 70.0, bounds), bounds)
    figure.draw_bar(sheet.paper, Rect(0.0, 0.0, 80.0, 9.5), mm_per_m)
    bars = [patch for patch in sheet.paper.patches if patch.get_facecolor()[:3] == (1.0, 1.0, 1.0)]
    said = [text.get_text().split() for text in sheet.paper.texts if " " in text.get_text()]
    metres = {"m": 1.0, "ft": 0.3048}
    assert [word for _, word in said] == ["m", "ft"]
    for bar, (value, word) in zip(bars, said, strict=True):
        width = bar.get_width()  # type: ignore[attr-defined]
        assert width == pytest.approx(float(value) * metres[word] * mm_per_m)
        assert width <= 70.0


@pytest.mark.cited("sample_layers/README.md: map-grid north differs from true north by about 0.8 degrees here")
def test_the_north_arrow_says_how_far_the_grid_is_turned(
    small_site: Site, words_on: Callable[[Figure], list[str]]
) -> None:
    words = words_on(maps.wetting_map(small_site))
    assert "true north" in words
    assert "grid turned 0.8\u00b0" in words


def test_north_is_called_grid_north_where_true_north_is_not_known(
    words_on: Callable[[Figure], list[str]],
) -> None:
    bounds = (0.0, 0.0, 20.0, 20.0)
    sheet = figure.make_sheet(Page("A ground"), (), bounds, paper="A4", north_deg=float("nan"))
    assert "grid north" in words_on(sheet.figure)


def test_a_paper_nobody_knows_is_refused(small_site: Site) -> None:
    with pytest.raises(SettingError, match=r"no paper 'B5'.*\n.*A4, Letter"):
        maps.wetting_map(small_site, paper="B5")


@each_page
def test_the_same_page_gives_the_same_bytes_whatever_the_settings_of_the_reader(
    draw: Draw, small_site: Site, tmp_path: Path
) -> None:
    first = maps.save_figure(draw(small_site, made_on="2026-11-25"), tmp_path / "one")
    with mpl.rc_context({"font.size": 20, "savefig.bbox": "tight", "pdf.fonttype": 3, "axes.facecolor": "red"}):
        second = maps.save_figure(draw(small_site, made_on="2026-11-25"), tmp_path / "two")
    assert [path.suffix for path in first] == [".pdf", ".png"]
    assert [path.read_bytes() for path in first] == [path.read_bytes() for path in second]


def test_the_pdf_keeps_its_text_its_font_and_no_date(small_site: Site, tmp_path: Path) -> None:
    path, _ = maps.save_figure(maps.wetting_map(small_site, made_on="2026-11-25"), tmp_path / "a.page")
    assert path.name == "a.page.pdf"
    reader = pypdf.PdfReader(path)
    text = reader.pages[0].extract_text()
    assert "Small ground" in text
    assert "Heads to look at first" in text
    assert "Made on 2026-11-25." in text
    assert "/CreationDate" not in (reader.metadata or {})
    resources: Any = reader.pages[0]["/Resources"]
    kinds = {font.get_object()["/Subtype"] for font in resources["/Font"].values()}
    assert "/Type3" not in kinds
    assert kinds


@each_paper
def test_pages_have_the_size_of_the_paper(paper: str, small_site: Site, tmp_path: Path) -> None:
    path, _ = maps.save_figure(maps.heat_map(small_site, paper=paper), tmp_path / "page")
    box = pypdf.PdfReader(path).pages[0].mediabox
    mm = sorted(float(side) / 72 * 25.4 for side in (box.width, box.height))
    assert mm == pytest.approx(sorted(layout.PAPERS[paper]), abs=0.1)


def test_drawing_maps_needs_no_window_and_no_global_state() -> None:
    code = "import sys; import gravegis.outputs.maps; assert 'matplotlib.pyplot' not in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True)


def test_notes_lead_the_page_and_assumptions_stand_in_their_box(
    small_site: Site, words_on: Callable[[Figure], list[str]]
) -> None:
    words = words_on(maps.wetting_map(small_site))
    assert "Answer of wetting." in words
    assert "Assumed" in words
    assert "\u2013 heads, throw: 8 m" in words
    assert "Sources: made for tests." in words
    assert any(one.startswith("Data: stones 2026-09-14.") for one in words)


def test_a_page_without_assumptions_has_no_box(small_site: Site, words_on: Callable[[Figure], list[str]]) -> None:
    log = tuple(replace(record, assumed=()) for record in small_site.log)
    assert "Assumed" not in words_on(maps.wetting_map(replace(small_site, log=log)))


def test_the_foot_tells_page_and_plan(small_site: Site, words_on: Callable[[Figure], list[str]]) -> None:
    words = words_on(maps.wetting_map(small_site, plan_hash="3f2a91c0", page=(2, 5)))
    assert "plan 3f2a91c0, page 2 of 5" in words


def test_settings_of_the_run_are_read_from_the_log(small_site: Site) -> None:
    assert pages.setting(small_site, "heatmap", "least_stones_n", 10.0) == 7.0
    assert pages.setting(small_site, "heatmap", "no such setting", 10.0) == 10.0
    assert pages.setting(small_site, "never run", "least_stones_n", 10.0) == 10.0


@each_paper
def test_what_was_not_looked_at_stays_whole_when_other_notes_are_cut(
    paper: str, small_site: Site, text_faults: Faults, words_on: Callable[[Figure], list[str]]
) -> None:
    caution = "Not looked at: wind, pressure, slope; not reached is no proof that a stone stays dry."
    notes = (*(f"Remark number {n} about something on this ground that takes a line." for n in range(30)), caution)
    log = tuple(replace(record, notes=notes) for record in small_site.log)
    made = maps.wetting_map(replace(small_site, log=log), paper=paper)
    words = " ".join(words_on(made))
    assert text_faults(made) == []
    assert caution in words
    left = re.search(r"(\d+) more in answers\.txt\.", words)
    assert left is not None
    assert words.count("Remark number") + int(left.group(1)) == 30


def test_the_words_of_analyses_a_map_only_rests_on_are_not_its_answer(small_site: Site) -> None:
    about = pages.About()
    page = pages.page_of(small_site, "A title", ("wetting",), about, first=("First.",), rests_on=("condition",))
    assert page.answer == ("First.", "Answer of wetting.")
    assert page.assumed == ("heads, throw: 8 m",)


@pytest.mark.full
def test_another_process_gives_the_same_bytes(tmp_path: Path) -> None:
    code = (
        "import hashlib, pathlib, sys; from gravegis.site import Site, SiteInfo; from gravegis.outputs import maps; "
        "made = maps.save_figure(maps.heat_map(Site(SiteInfo('A ground', 'EPSG:7854'))), pathlib.Path(sys.argv[1])); "
        "print([hashlib.sha256(path.read_bytes()).hexdigest() for path in made])"
    )
    said = [
        subprocess.run(
            [sys.executable, "-c", code, str(tmp_path / seed)],
            env={**os.environ, "PYTHONHASHSEED": seed}, check=True, capture_output=True, text=True,
        ).stdout
        for seed in ("1", "2")
    ]  # fmt: skip
    assert said[0] == said[1]
    assert len(said[0]) > 128
