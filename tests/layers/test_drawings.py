"""Drawings as programs write them: ends rounded each for itself, gaps, blocks in blocks."""

from __future__ import annotations

import math
import random
import time
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest
import shapely
from ezdxf.enums import InsertUnits
from ezdxf.filemanagement import new as new_drawing

from gravegis.errors import LayerError
from gravegis.layers.bring import bring_in
from gravegis.layers.read import read_file
from gravegis.layers.read.outlines import outlines_of
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path

    from ezdxf.document import Drawing


def drawing(unit: InsertUnits = InsertUnits.Meters) -> Drawing:
    document = new_drawing("R2010")
    document.units = unit
    return document


def arc_plots(path: Path, digits: int, origin: tuple[float, float], *, count: int = 40) -> None:
    """Plots 4 m apart, each an arc and two lines to its middle, with ends rounded as a program exports them."""
    rng, document = random.Random(4), drawing()
    space = document.modelspace()
    for n in range(count):
        x, y = (
            round(start + far, digits) for start, far in zip(origin, (4 * n + rng.random(), rng.random()), strict=True)
        )
        radius, begin, sweep = round(0.5 + rng.random(), digits), rng.uniform(0, 360), rng.uniform(20, 300)
        degrees = [round(begin, 6), round(begin + sweep, 6)]
        space.add_arc((x, y), radius, degrees[0], degrees[1])
        for one in degrees:
            end = (
                round(x + radius * math.cos(math.radians(one)), digits),
                round(y + radius * math.sin(math.radians(one)), digits),
            )
            space.add_line((x, y), end)
        space.add_text(f"P{n}").set_placement(
            (
                x + radius / 2 * math.cos(math.radians(sum(degrees) / 2)),
                y + radius / 2 * math.sin(math.radians(sum(degrees) / 2)),
            )
        )
    document.saveas(path)


@pytest.mark.parametrize(("digits", "origin"), [(6, (0.0, 0.0)), (4, (636100.0, 4879000.0))])
def test_arcs_whose_ends_were_rounded_close_with_their_lines(
    tmp_path: Path, digits: int, origin: tuple[float, float]
) -> None:
    arc_plots(tmp_path / "a.dxf", digits, origin)
    raw = read_file(tmp_path / "a.dxf")
    assert sorted(raw.frame["label"]) == sorted(f"P{n}" for n in range(40))
    assert raw.warnings == ()
    assert any("ends of lines moved by up to 0.0" in words and "at most 1 mm" in words for words in raw.notes)


def corner(space: object, gap: float, at: float, *, unit_m: float = 1.0) -> None:
    places = [(at, 0.0), (at + 2, 0.0), (at + 2, 3.0), (at, 3.0), (at, gap)]
    for one, two in pairwise(places):
        space.add_line(*(tuple(x / unit_m for x in place) for place in (one, two)))  # type: ignore[attr-defined]


@pytest.mark.parametrize("unit", [InsertUnits.Meters, InsertUnits.Feet, InsertUnits.Inches])
def test_a_gap_under_a_millimetre_is_closed_and_a_wider_one_is_named(tmp_path: Path, unit: InsertUnits) -> None:
    document, unit_m = drawing(unit), {6: 1.0, 2: 0.3048, 1: 0.0254}[int(unit)]
    for n, gap in enumerate((0.0004, 0.005, 0.05, 0.3)):
        corner(document.modelspace(), gap, 10.0 * n, unit_m=unit_m)
        document.modelspace().add_text(f"Lot {n}").set_placement(((10.0 * n + 1) / unit_m, 1 / unit_m))
    document.saveas(tmp_path / "a.dxf")
    raw = read_file(tmp_path / "a.dxf")
    assert raw.frame["label"].tolist() == ["Lot 0"]
    assert raw.frame.geometry.area.tolist() == pytest.approx([6.0 / unit_m**2])
    assert any("1 end of lines moved by up to 0.4 mm" in words for words in raw.notes)
    named = next(words for words in raw.warnings if "not closed" in words)
    assert named.startswith("2 shapes not closed and left out: Lot 1 (gap of 5 mm at ")
    assert "Lot 2 (gap of 50 mm at " in named
    assert "Lot 3" not in named
    assert any("12 lines close no outline" in words for words in raw.warnings)


def test_shapes_that_do_not_close_are_named_also_where_none_does(tmp_path: Path) -> None:
    document = drawing()
    corner(document.modelspace(), 0.02, 0.0)
    document.saveas(tmp_path / "a.dxf")
    with pytest.raises(LayerError, match=r"gap of 20 mm at 0, 0"):
        bring_in(Site(SiteInfo("Test ground", "EPSG:7854")), "plots", tmp_path / "a.dxf", crs="EPSG:7854")
    raw = read_file(tmp_path / "a.dxf")
    assert set(raw.frame.geometry.geom_type) == {"LineString"}


def test_an_end_beside_the_middle_of_a_line_meets_it() -> None:
    wall = shapely.LineString([(0, 0), (10, 0.0)])
    ring = shapely.LineString([(20, 0), (22, 0), (22, 2), (20, 2), (20, 0)])
    sides = [shapely.LineString([(1, 0.0003), (1, 3), (4, 3), (4, -0.0002)]),
             shapely.LineString([(22.0004, 0.5), (24, 0.5), (24, 1.5), (21.9995, 1.5)])]  # fmt: skip
    found = outlines_of([wall, ring, *sides], 1.0)
    assert sorted(round(one.area, 2) for one in found.areas) == [2.0, 4.0, 9.0]
    assert found.moved_n == 4
    assert found.moved_most == pytest.approx(0.0005)
    assert len(found.rest) == 0


def test_small_things_in_degrees_or_unknown_units_are_not_drawn_together() -> None:
    side = 1e-5  # about a metre in degrees
    squares = [shapely.box(n * 2 * side, 0, n * 2 * side + side, side).exterior for n in range(20)]
    lines = [shapely.LineString(list(ring.coords)[k : k + 2]) for ring in squares for k in range(4)]
    for unit_m in (None, 1.0, 1000.0):
        found = outlines_of(lines, unit_m)
        assert len(found.areas) == 20
        assert found.moved_n == 0
        assert found.gaps == ()


def nested(path: Path, deep: int, times: int) -> None:
    """Blocks that hold the next one several times: times ** deep lines from a few kilobytes."""
    document = drawing()
    document.blocks.new("B0").add_line((0, 0), (1, 0))
    for level in range(1, deep + 1):
        block = document.blocks.new(f"B{level}")
        for n in range(times):
            block.add_blockref(f"B{level - 1}", (n, 0))
        block.add_line((0, 0), (0, 1))
    document.modelspace().add_blockref(f"b{deep}", (0, 0))
    document.saveas(path)


def test_blocks_in_blocks_are_counted_before_they_are_drawn(tmp_path: Path) -> None:
    nested(tmp_path / "a.dxf", deep=6, times=10)
    began = time.monotonic()
    # parts(0) = 1, parts(n) = 10 parts(n - 1) + the ten blocks themselves + one line
    with pytest.raises(LayerError, match=r"hold 2,222,221 parts, more than 100,000"):
        read_file(tmp_path / "a.dxf")
    assert time.monotonic() - began < 10.0


def test_a_block_that_holds_itself_ends(tmp_path: Path) -> None:
    document = drawing()
    block = document.blocks.new("LOOP")
    block.add_line((0, 0), (1, 0))
    block.add_line((0, 0), (0, 1))
    for n in range(5):
        block.add_blockref("LOOP", (n, 0))
    document.modelspace().add_blockref("LOOP", (0, 0))
    document.saveas(tmp_path / "a.dxf")
    with pytest.raises(LayerError, match=r"parts, more than 100,000"):
        read_file(tmp_path / "a.dxf")


def test_a_few_blocks_in_blocks_are_drawn(tmp_path: Path) -> None:
    nested(tmp_path / "a.dxf", deep=2, times=3)
    assert len(read_file(tmp_path / "a.dxf", layer="0 outlines").frame) == 4  # one of the outer block, three inside
    assert len(read_file(tmp_path / "a.dxf", layer="0 points").frame) == 9  # a block of one line is a mark
