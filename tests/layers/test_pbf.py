"""Map extracts in PBF tell which ways were dropped, as those in XML do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gravegis.layers.read import pbf, read_file
from tests.layers import every_kind

if TYPE_CHECKING:
    from pathlib import Path


def test_ways_that_the_reader_drops_are_named(tmp_path: Path) -> None:
    every_kind.pbf(tmp_path / "a.osm.pbf", cut_ways=2)
    raw = read_file(tmp_path / "a.osm.pbf")
    assert raw.frame["osm_id"].tolist() == ["10"]
    assert raw.warnings == ("2 ways with tags dropped by the reader (too few points in the extract): 11, 12",)


def test_a_whole_extract_names_none(tmp_path: Path) -> None:
    every_kind.pbf(tmp_path / "a.osm.pbf")
    assert read_file(tmp_path / "a.osm.pbf").warnings == ()


def test_points_of_ways_are_counted(tmp_path: Path) -> None:
    every_kind.pbf(tmp_path / "a.osm.pbf", cut_ways=1)
    assert pbf.tagged_ways(pbf.blocks(tmp_path / "a.osm.pbf")) == {"10": 2, "11": 1}


def test_bytes_that_are_no_block_end(tmp_path: Path) -> None:
    assert pbf.tagged_ways([b"\xff" * 400, b"", b"\x12\xff\x01abc", bytes(range(256))]) == {}
