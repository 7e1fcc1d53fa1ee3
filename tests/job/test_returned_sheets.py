"""What a crew wrote on its sheet comes back: typed in as a table it changes the minutes of the next plan."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from gravegis import store

if TYPE_CHECKING:
    from pathlib import Path

HEAD = "stone_id,x,y,material,form,height_m,width_m,thickness_m,stability,stability_on,year,surveyed_on\n"
TOOK_MIN = (40, 44, 46, 48, 60)


@pytest.fixture
def ground(gravegis: Any, tmp_path: Path) -> Path:
    """Seven marble tablets alike with lichen, found in 2026."""
    rows = [
        f"s{n},{372000 + 3 * n},6250000,marble,tablet,0.8,0.5,0.08,firm,2026-11-01,1900,2026-11-01" for n in range(7)
    ]
    (tmp_path / "stones.csv").write_text(HEAD + "\n".join(rows) + "\n")
    found = [f"s{n},lichen,2,2026-11-01" for n in range(7)]
    (tmp_path / "findings.csv").write_text("stone_id,pattern,severity,found_on\n" + "\n".join(found) + "\n")
    folder = tmp_path / "g"
    code, out, err = gravegis(
        "new", folder, f"stones={tmp_path / 'stones.csv'}", f"findings={tmp_path / 'findings.csv'}",
        "--crs", "EPSG:7854",
    )  # fmt: skip
    assert code == 0, out + err
    return folder


def worklist_on(gravegis: Any, folder: Path, day: str) -> tuple[str, Any]:
    code, out, err = gravegis("worklist", folder, "--as-of", day)
    assert code == 0, out + err
    return out, store.load(folder)["worklist"].set_index("stone_id")


def typed_back(gravegis: Any, folder: Path, name: str, text: str) -> None:
    file = folder.parent / f"{name}.csv"
    file.write_text(text)
    more = ["--more"] if name in store.load(folder) else []
    code, out, err = gravegis("add", folder, name, file, *more)
    assert code == 0, out + err


def test_minutes_typed_back_from_a_sheet_take_the_place_of_the_table_with_count_and_spread(
    gravegis: Any, ground: Path
) -> None:
    gravegis("condition", ground)
    _, before = worklist_on(gravegis, ground, "2026-12-02")
    assert set(before["work_min"]) == {35.0}  # a tablet of moderate growth in the table
    sheet = "".join(f"s{n},cleaned,2026-12-03,{took}\n" for n, took in enumerate(TOOK_MIN))
    typed_back(gravegis, ground, "treatments", "stone_id,what,done_on,took_min\n" + sheet)
    said, after = worklist_on(gravegis, ground, "2026-12-04")
    assert set(after["work_min"]) == {46.0}
    assert "Minutes from 5 records of your own: 46 min, the middle half 44 min to 48 min." in " ".join(said.split())
    assert after.loc["s0", "hold"] == "cleaned lately"
    codes = {one["code"] for one in json.loads(after.loc["s6", "reasons"])}
    assert "own_minutes" in codes


def test_a_stone_found_clean_afterwards_still_tells_how_long_its_growth_took(gravegis: Any, ground: Path) -> None:
    sheet = "".join(f"s{n},cleaned,2026-12-03,{took}\n" for n, took in enumerate(TOOK_MIN))
    typed_back(gravegis, ground, "treatments", "stone_id,what,done_on,took_min\n" + sheet)
    clean = "".join(f"s{n},lichen,0,2027-03-01\n" for n in range(5))
    typed_back(gravegis, ground, "findings", "stone_id,pattern,severity,found_on\n" + clean)
    gravegis("condition", ground)
    _, after = worklist_on(gravegis, ground, "2027-03-02")
    assert after["work_min"].to_dict() == {"s5": 46.0, "s6": 46.0}


def test_a_way_of_working_that_the_sheet_names_is_not_mixed_with_another(gravegis: Any, ground: Path) -> None:
    sheet = "".join(f"s{n},applied and left,2026-12-03,9\n" for n in range(5))
    typed_back(gravegis, ground, "treatments", "stone_id,what,done_on,took_min\n" + sheet)
    gravegis("condition", ground)
    _, after = worklist_on(gravegis, ground, "2026-12-04")
    assert set(after["work_min"]) == {35.0}
    code, _, _ = gravegis("worklist", ground, "--as-of", "2026-12-04", "--goal", "stones a day")
    assert code == 0
    assert set(store.load(ground)["worklist"]["work_min"]) == {9.0}
