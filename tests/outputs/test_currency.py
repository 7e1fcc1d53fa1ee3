"""The mark of results that no longer hold: on every page that shows one, readable, on both papers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from matplotlib.patches import Rectangle

from gravegis import registry, staleness
from gravegis.outputs import crew_sheet, currency, folder, maps, not_today, worklist_pages, zone_pages
from gravegis.outputs.days import crew_days
from tests.outputs import pdftext

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from matplotlib.figure import Figure

    from gravegis.site import Site

each_paper = pytest.mark.parametrize("paper", ["A4", "Letter"])
MARGIN_PT = 10 / 25.4 * 72


@pytest.fixture(scope="module")
def late(sample_run: Site) -> Site:
    """The sample ground after many changes: every result of it is out of date, with many reasons."""
    stones, heads = sample_run["stones"], sample_run["heads"]
    return sample_run.with_layers(
        {
            "stones": stones.assign(height_m=0.5, material="granite", lean_deg=3.0, position_error_m=0.2, section="Q"),
            "heads": heads.assign(throw_m=3.0, kind="rotor", zone_id="Z9", fault="misting"),
            "findings": sample_run["findings"].assign(severity=1, pattern="moss", extent_frac=0.5),
            "paths": sample_run["paths"].iloc[:1],
        }
    ).with_settings("worklist", {"as_of": "2026-12-24"})


MAPS = {
    "wetting_map": maps.wetting_map, "condition_map": maps.condition_map, "heat_map": maps.heat_map,
    "crew_map": maps.crew_map,
}  # fmt: skip


@each_paper
@pytest.mark.parametrize("name", MAPS)
def test_a_map_of_a_stale_result_carries_the_mark_in_a_thick_frame_and_nothing_overlaps(
    name: str, paper: str, late: Site, text_faults: Callable[[Figure], list[str]], words_on: Any
) -> None:
    made = MAPS[name](late, paper=paper)
    said = " ".join(words_on(made))
    assert "OUT OF DATE: " in said
    assert "Run again before use." in said
    assert text_faults(made) == []
    frames = [one for one in made.findobj(Rectangle) if isinstance(one, Rectangle) and one.get_linewidth() == 2.5]
    [frame] = frames
    assert frame.get_edgecolor()[:3] == pytest.approx((0.1, 0.1, 0.1), abs=0.11)


def test_a_map_whose_results_hold_carries_no_mark(sample_run: Site, words_on: Any) -> None:
    for draw in MAPS.values():
        assert "OUT OF DATE" not in " ".join(words_on(draw(sample_run)))


@each_paper
def test_every_page_of_sheets_for_crews_desk_and_grounds_carries_the_mark(paper: str, late: Site) -> None:
    day = next(one for one in crew_days(late) if one.stops)
    made = {
        "crew": crew_sheet.crew_sheet(late, day, paper=paper),
        "desk": not_today.not_today(late, paper=paper),
        "grounds": zone_pages.zone_pages(late, paper=paper),
    }
    for name, pdf in made.items():
        for page in pdftext.pages(pdf):
            said = " ".join(page.text.split())
            assert "OUT OF DATE: " in said, name
            assert ("do not start work by this sheet, ask for a new one." in said) == (name == "crew")
            assert not pdftext.overlaps(page), name
            assert not pdftext.outside(page, MARGIN_PT), name


def test_the_mark_names_what_changed_at_the_root_and_counts_the_rest(late: Site, sample_run: Site) -> None:
    said = currency.mark(late, ("routes", "worklist"))
    # worklist and all it was built on read these changed columns of the stones: one of them is only counted
    read = {column for name in ("routes", "worklist") for column in registry.load(name).reads()["stones"]}
    more_n = len(read & {"height_m", "material", "lean_deg", "position_error_m", "section"}) - 3
    assert more_n > 0
    assert said.startswith(
        "OUT OF DATE: Day plan of the crews, Worklist were worked out before changes "
        f"(paths: {len(sample_run['paths'])} rows then, 1 now; stones: material, height above ground, "
        f"lean from upright and {more_n} more changed since; "
        "findings: what was found, severity, share of the face changed since; and "
    )
    assert said.endswith("more, see answers.txt). Run again before use.")
    assert currency.mark(late, ("no such analysis",)) == ""


@each_paper
def test_worklist_and_leave_to_ask_for_carry_the_mark(paper: str, late: Site, sample_run: Site) -> None:
    for make in (worklist_pages.worklist_page, worklist_pages.to_ask):
        made, current = make(late, paper=paper), make(sample_run, paper=paper)
        assert made is not None
        assert current is not None
        assert all("OUT OF DATE" in page.text for page in pdftext.pages(made))
        assert not any("OUT OF DATE" in page.text for page in pdftext.pages(current))
        assert all(pdftext.overlaps(page) == [] for page in pdftext.pages(made))


def test_lists_of_words_and_tables_name_every_stale_result(late: Site, tmp_path: Path) -> None:
    folder.write_all(late, tmp_path, made_on="2026-12-24", paper="A4")
    named = [one.analysis for one in staleness.stale(late)]
    assert named == [
        "throw",
        "wetting",
        "condition",
        "clusters",
        "heatmap",
        "worklist",
        "routes",
        "zone_requests",
        "season_plan",
    ]
    for file in ("answers.txt", "assumed.txt", "contents.txt"):
        text = (tmp_path / file).read_text(encoding="utf-8")
        assert [name for name in named if f"({name}): " not in text] == [], file
    folder.remove_last_run(tmp_path)
    assert list(tmp_path.iterdir()) == []
