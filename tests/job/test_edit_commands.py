"""Edits from the command line: what changed is said, and can be taken back as far as the last save."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from gravegis import store
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path

CRS = "EPSG:7854"
X, Y = 372000.0, 6250000.0


@pytest.fixture
def ground(tmp_path: Path) -> Path:
    stones = gpd.GeoDataFrame(
        {"stone_id": ["007", "b"], "height_m": [0.9, None], "wear": [3, 4], "remark": ["a", "b"]},
        geometry=[shapely.Point(X, Y), shapely.box(X, Y, X + 1, Y + 1)], crs=CRS,
    )  # fmt: skip
    heads = gpd.GeoDataFrame(
        {"head_id": ["H1"], "throw_m": [9.0], "zone_id": ["Z"]}, geometry=[shapely.Point(X + 3, Y)], crs=CRS
    )
    zones = pd.DataFrame({"zone_id": ["Z"]})
    site = Site(SiteInfo("g", CRS)).with_layers({"stones": stones, "heads": heads, "zones": zones})
    store.save(site, tmp_path / "g")
    return tmp_path / "g"


def stone(folder: Path, name: str = "007") -> Any:
    return store.load(folder)["stones"].set_index("stone_id").loc[name]


def test_a_cell_is_changed_in_the_unit_that_was_typed_and_the_message_says_from_what_to_what(
    gravegis: Any, ground: Path
) -> None:
    code, out, _ = gravegis("edit", ground, "heads", "H1", "throw_m=36 ft", "tag=  T 1 ")
    assert code == 0
    assert "heads H1: throw_m from 9 m to 10.9728 m" in out
    assert "heads H1: tag from not known to T 1" in out
    head = store.load(ground)["heads"].iloc[0]
    assert (head["throw_m"], head["tag"]) == (pytest.approx(36 * 0.3048), "T 1")
    assert "gravegis undo" in out


@pytest.mark.parametrize(
    ("typed", "held"),
    [("height_m=", None), ("height_m=n/a", None), ("height_m=5' 6\"", 1.6764), ("width_m=30 in", 0.762)],
)
def test_values_are_read_as_in_a_file(gravegis: Any, ground: Path, typed: str, held: float | None) -> None:
    assert gravegis("edit", ground, "stones", "007", typed)[0] == 0
    value = stone(ground)[typed.partition("=")[0]]
    assert pd.isna(value) if held is None else value == pytest.approx(held)


def test_a_point_is_moved_by_one_coordinate_and_an_outline_drawn_anew(gravegis: Any, ground: Path) -> None:
    code, out, _ = gravegis("edit", ground, "stones", "007", f"x={X + 0.25}")
    assert (code, stone(ground).geometry) == (0, shapely.Point(X + 0.25, Y))
    assert "place from 372000.000 6250000.000 to 372000.250 6250000.000" in out
    outline = shapely.box(X, Y, X + 2, Y + 1)
    assert gravegis("edit", ground, "stones", "b", f"geometry={outline.wkt}")[0] == 0
    assert stone(ground, "b").geometry == outline


def test_columns_of_somebody_else_can_be_edited_in_their_own_type(gravegis: Any, ground: Path) -> None:
    assert gravegis("edit", ground, "stones", "007", "wear=9", "remark=")[0] == 0
    assert stone(ground)["wear"] == 9
    assert pd.isna(stone(ground)["remark"])
    assert "'much' is not a whole number" in gravegis("edit", ground, "stones", "007", "wear=much")[2]


def test_rows_are_added_and_deleted_and_names_that_lead_nowhere_are_said(gravegis: Any, ground: Path) -> None:
    code, out, _ = gravegis("edit", ground, "heads", "H2", "--add", "kind=rotor", f"x={X}", f"y={Y}")
    assert code == 0
    assert "heads H2: added; it holds" in out
    assert store.load(ground)["heads"]["head_id"].tolist() == ["H1", "H2"]
    code, out, _ = gravegis("edit", ground, "zones", "Z", "--delete")
    assert code == 0
    assert "zones Z: deleted; it held" in out
    assert "heads name a zone_id that is not in zones: Z" in out
    assert store.load(ground)["zones"].empty


def test_the_first_row_of_a_layer_makes_the_layer_and_its_undo_takes_it_away(gravegis: Any, ground: Path) -> None:
    assert gravegis("edit", ground, "findings", "f1", "--add", "stone_id=007", "pattern=black crust")[0] == 0
    assert len(store.load(ground)["findings"]) == 1
    assert gravegis("undo", ground)[0] == 0
    assert "findings" not in store.load(ground)


def test_undo_and_redo_go_back_and_forth_and_say_so_and_stop_at_the_last_save(gravegis: Any, ground: Path) -> None:
    for height in ("1.1", "1.2"):
        assert gravegis("edit", ground, "stones", "007", f"height_m={height}")[0] == 0
    assert "and 2 edits since" in gravegis("versions", ground)[1]
    code, out, _ = gravegis("undo", ground)
    assert code == 0
    assert "taken back:\nstones 007: height_m from 1.2 m to 1.1 m" in out
    assert "made again:\nstones 007: height_m from 1.1 m to 1.2 m" in gravegis("redo", ground)[1]
    assert "no edit is there to be made again" in gravegis("redo", ground)[2]
    assert [gravegis("undo", ground)[0] for _ in range(3)] == [0, 0, 2]
    assert stone(ground)["height_m"] == 0.9
    assert gravegis("redo", ground)[0] == 0
    assert gravegis("set", ground, "--title", "another")[0] == 0
    code, _, err = gravegis("undo", ground)
    assert code == 2
    assert "since the last save no edit is there to be taken back" in err
    assert "gravegis restore" in err
    assert stone(ground)["height_m"] == 1.1


def test_a_run_takes_the_edits_into_the_site(gravegis: Any, ground: Path) -> None:
    assert gravegis("edit", ground, "heads", "H1", "throw_m=4")[0] == 0
    assert (ground / "journal.jsonl").is_file()
    assert gravegis("throw", ground)[0] == 0
    assert not (ground / "journal.jsonl").exists()
    site = store.load(ground)
    assert site["heads"]["throw_m"].tolist() == [4.0]
    assert site["throws_computed"]["throw_m"].tolist() == [4.0]
    assert "are those from before" in gravegis("edit", ground, "heads", "H1", "throw_m=5")[1]


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (["stones", "007", "height_m=tall"], "'tall' is not a number in m"),
        (["stones", "007", "height_m=3 psi"], "not a number in m"),
        (["stones", "007", "height_m=30"], "30 lies outside 0 to 20 m"),
        (["stones", "007", "height_m"], "'height_m' is not COLUMN=VALUE"),
        (["stones", "007", "tag=a", "tag=b"], "tag is given twice"),
        (["stones", "007", "colour=red"], "has no column 'colour'"),
        (["stones", "7", "tag=a"], "no row called 7"),
        (["graves", "7", "tag=a"], "no layer called 'graves'"),
        (["stone_wetting", "007", "reached=yes"], "is worked out, nobody edits it"),
        (["stones", "007", "stone_id=8"], "is its name and is not changed"),
        (["stones", "007"], "no value is given"),
        (["stones", "007", "--delete", "tag=x"], "--delete takes no values"),
        (["stones", "007", "x=east"], "'east' is not a number"),
        (["stones", "007", "x=6250000", "y=372000"], "km from all others of the site"),
        (["stones", "007", "geometry=POINT"], "no well-known text"),
        (["stones", "007", "x=1", "geometry=POINT (1 1)"], "a place is given twice"),
        (["stones", "b", "x=372000"], "it has an outline, not a point"),
        (["stones", "007", "geometry="], "it needs a place"),
        (["stones", "c", "--add"], "it needs a place"),
        (["stones", "c", "--add", "x=372000"], "x and y are both needed"),
        (["heads", "H1", "--add", "x=372000", "y=6250000", "throw_m=9"], "of this name already"),
        (["heads", "H1", "throw_m=9"], "nothing would change"),
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_refused_with_the_reason_and_nothing_is_written(
    gravegis: Any, ground: Path, typed: list[str], words: str
) -> None:
    code, _, err = gravegis("edit", ground, *typed)
    assert code == 2
    assert words in err
    assert not (ground / "journal.jsonl").exists()


def test_all_that_is_wrong_with_what_was_typed_is_said_at_once(gravegis: Any, ground: Path) -> None:
    err = gravegis("edit", ground, "stones", "007", "tag", "x=east", "height_m=1 ft 2 m")[2]
    assert "2 problems" in err or "3 problems" in err


def test_a_second_writer_is_refused(gravegis: Any, ground: Path) -> None:
    with store.locked(ground):
        for command in (["edit", ground, "heads", "H1", "tag=x"], ["undo", ground], ["redo", ground]):
            code, _, err = gravegis(*command)
            assert code == 2
            assert "writing to the site already" in err
