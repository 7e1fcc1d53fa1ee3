"""The scene: what is drawn follows the site, exactly, and no Qt is needed for it."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import FrozenInstanceError, replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from gravegis import edits
from gravegis.science.irrigation.reach import reach
from gravegis.site import Site, SiteInfo
from gravegis.window.canvas.heads import placed, wetted_by
from gravegis.window.canvas.hold import hold_of
from gravegis.window.canvas.rings import rings_of, tiles_of
from gravegis.window.canvas.stones import Wet
from gravegis.window.scene import kinds_of, scene_of, themed

if TYPE_CHECKING:
    from gravegis.window.scene import Scene

boxes = st.lists(
    st.tuples(st.floats(-500, 500), st.floats(-500, 500), st.floats(0, 40), st.floats(0, 40)), min_size=1, max_size=60
)


def test_a_scene_needs_no_qt_and_no_charts() -> None:
    code = (
        "import sys; from gravegis.window import scene; from gravegis.window.canvas import hold, find; "
        "bad = {'PySide6', 'matplotlib'} & set(sys.modules); assert not bad, bad"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_an_empty_site_gives_a_scene_with_ground_to_look_at() -> None:
    made = scene_of(Site(SiteInfo("Nothing yet", "EPSG:7854")), theme="dark")
    west, south, east, north = made.bounds_m
    assert (len(made.stones), len(made.heads), dict(kinds_of(made))) == (0, 0, {})
    assert (east - west, north - south) == (10.0, 10.0)


def test_an_unknown_theme_is_refused(worked: Site) -> None:
    with pytest.raises(KeyError, match="neon"):
        scene_of(worked, theme="neon")


def test_a_scene_is_frozen(scene: Scene) -> None:
    with pytest.raises(FrozenInstanceError):
        scene.title = "other"  # type: ignore[misc]


def test_every_stone_head_and_state_of_the_site_is_in_its_scene(worked: Site, scene: Scene) -> None:
    assert list(scene.stones.ids) == list(worked["stones"]["stone_id"])
    assert list(scene.heads.ids) == list(worked["heads"]["head_id"])
    reached = worked["stone_wetting"].set_index("stone_id")["reached"].reindex(scene.stones.ids)
    shown = np.isin(scene.stones.wet_code, [Wet.REACHED, Wet.NEAR])
    assert list(shown) == list(reached.fillna(False).astype(bool))
    classes = worked["stone_condition"].set_index("stone_id")["overall"].reindex(scene.stones.ids)
    assert [4 if np.isnan(one) else int(one) for one in classes.astype(float)] == list(scene.stones.class_code)


def test_what_can_be_switched_has_words_and_grids_are_among_it(scene: Scene) -> None:
    kinds = kinds_of(scene)
    assert {"stones", "condition", "wetting", "heads", "plots", "paths", "grid:share_damaged"} <= set(kinds)
    assert all(kinds.values())


def test_both_themes_show_the_same_things_in_other_colours(scene: Scene) -> None:
    dark = themed(scene, "dark")
    assert [one.symbol.kind for one in dark.drawn] == [one.symbol.kind for one in scene.drawn]
    assert all(a.symbol != b.symbol for a, b in zip(dark.drawn, scene.drawn, strict=True))


@given(boxes, st.tuples(st.floats(-500, 500), st.floats(-500, 500), st.floats(0, 300), st.floats(0, 300)))
def test_tiles_find_the_rows_that_looking_at_all_of_them_finds(
    rows: list[tuple[float, float, float, float]], asked: tuple[float, float, float, float]
) -> None:
    bounds = np.array([(x, y, x + wide, y + high) for x, y, wide, high in rows])
    west, south, wide, high = asked
    expected = [
        row for row, (x1, y1, x2, y2) in enumerate(bounds.tolist())
        if x1 <= west + wide and x2 >= west and y1 <= south + high and y2 >= south
    ]  # fmt: skip
    assert tiles_of(bounds).rows_in((west, south, west + wide, south + high)).tolist() == expected


def test_rings_keep_holes_parts_and_lines_of_each_row() -> None:
    ring = shapely.Polygon([(0, 0), (4, 0), (4, 4), (0, 4)], [[(1, 1), (2, 1), (2, 2)]])
    two = shapely.MultiPolygon([shapely.box(9, 9, 10, 10), shapely.box(7, 7, 8, 8)])
    made = rings_of(
        np.array([ring, None, shapely.Point(1, 1), two, shapely.LineString([(0, 0), (5, 5)])], dtype=object)
    )
    assert np.diff(made.row_first).tolist() == [2, 0, 0, 2, 1]
    corners, begin = made.corners(made.of_rows(np.array([4, 0])))
    assert corners[0].tolist() == [0, 0]
    assert begin.tolist() == [0, 2, 7]


def moved(site: Site, head_id: str, changes: dict[str, object]) -> Site:
    return edits.apply(site, edits.change(site, "heads", head_id, changes))


def plain_state(site: Site, scene: Scene, rows: list[int]) -> list[bool]:
    """Oracle: is any head's ground within a touch of the stone, one by one with the exact overlay of all heads."""
    pairs = reach(scene.stones.footprints, scene.heads.throws)
    surveyed = [scene.heads.surveyed[row] for row in scene.heads.surveyed]
    wet = set(pairs.stone_i.tolist())
    return [
        row in wet or any(shapely.intersects(scene.stones.footprints[row], one) for one in surveyed) for row in rows
    ]


def test_a_head_in_hand_wets_what_the_exact_overlay_gives_after_the_drag_and_after_undo(
    worked: Site, scene: Scene
) -> None:
    """The state after a drag equals that of a scene made anew, and after undo that of before."""
    for name in ("H05", *scene.heads.ids[3::13].tolist()):
        hold = hold_of(scene, str(name))
        if hold is None:
            continue
        hold.drag("place", hold.now.x_m + 3.17, hold.now.y_m - 2.03)
        hold.turn(35.0)
        hold.resize(1.1)
        hold.settle()
        touched, codes = hold.touched, hold.codes
        after = moved(worked, str(name), hold.changes())
        fresh = scene_of(after, theme="light", before=scene)
        exact = reach(fresh.stones.footprints, hold.now.throws())
        if hold.surveyed is None:
            assert hold.rows.tolist() == exact.stone_i.tolist()
        is_wet = np.isin(codes, [Wet.REACHED, Wet.NEAR])
        assert is_wet.tolist() == plain_state(after, fresh, touched.tolist())
        assert np.isin(fresh.stones.wet_code[touched], [Wet.REACHED, Wet.NEAR]).tolist() == is_wet.tolist()
        back = edits.apply(after, edits.undo_of(edits.change(worked, "heads", str(name), hold.changes())))
        assert scene_of(back, theme="light", before=fresh).stones.wet_code.tolist() == scene.stones.wet_code.tolist()


def test_the_row_after_a_drag_holds_what_the_hand_held(worked: Site, scene: Scene) -> None:
    part = next(
        name for row, name in enumerate(scene.heads.ids)
        if (one := placed(scene.heads, row)) and one.sweep_deg < 360 and row not in scene.heads.surveyed
    )  # fmt: skip
    hold = hold_of(scene, str(part))
    assert hold is not None
    hold.nudge(1.25, -0.5)
    hold.turn(17.0)
    hold.settle()
    fresh = scene_of(moved(worked, str(part), hold.changes()), theme="light")
    now = placed(fresh.heads, hold.row)
    assert now is not None
    assert (now.x_m, now.y_m, now.sweep_deg, now.throw_m) == (
        hold.now.x_m,
        hold.now.y_m,
        hold.now.sweep_deg,
        hold.now.throw_m,
    )
    assert (now.from_deg - hold.now.from_deg + 180) % 360 - 180 == pytest.approx(0, abs=1e-9)


def test_a_head_not_moved_changes_nothing(scene: Scene) -> None:
    hold = hold_of(scene, str(scene.heads.ids[5]))
    assert hold is not None
    hold.settle()
    assert hold.changes() == {}


def test_a_handle_dragged_to_where_it_stands_changes_nothing_but_rounding(scene: Scene) -> None:
    for row in range(0, len(scene.heads), 7):
        hold = hold_of(scene, str(scene.heads.ids[row]))
        assert hold is not None
        for part, place in hold.handles().items():
            before = hold.now
            hold.drag(part, *place)
            for name in ("x_m", "y_m", "throw_m", "sweep_deg"):
                assert getattr(hold.now, name) == pytest.approx(getattr(before, name), abs=0.06)
            hold.hold(before)


def test_a_surveyed_outline_stays_where_it_is_when_its_head_is_moved(scene: Scene) -> None:
    row = next(iter(scene.heads.surveyed))
    hold = hold_of(scene, str(scene.heads.ids[row]))
    assert hold is not None
    before = hold.wetted_ids()
    hold.nudge(5.0, 5.0)
    assert hold.wetted_ids() == before
    assert set(hold.handles()) == {"place"}


def test_what_one_head_wets_is_found_among_near_stones_as_among_all(scene: Scene) -> None:
    for row in range(0, len(scene.heads), 9):
        one = placed(scene.heads, row)
        if one is not None and row not in scene.heads.surveyed:
            assert (
                wetted_by(scene.stones, one)[0].tolist()
                == reach(scene.stones.footprints, one.throws()).stone_i.tolist()
            )


def test_stones_that_stand_where_they_stood_are_not_made_anew(worked: Site, scene: Scene) -> None:
    hold = hold_of(scene, str(scene.heads.ids[3]))
    assert hold is not None
    hold.nudge(1.0, 0.0)
    fresh = scene_of(moved(worked, hold.head_id, hold.changes()), theme="light", before=scene)
    assert fresh.stones.rings is scene.stones.rings
    row = int(scene.stones.tiles.order[0])
    place = shapely.Point(scene.stones.x_m[row] + 1.0, scene.stones.y_m[row])
    after = edits.apply(worked, edits.change(worked, "stones", str(scene.stones.ids[row]), {"geometry": place}))
    assert scene_of(after, theme="light", before=scene).stones.rings is not scene.stones.rings


def test_a_scene_is_not_touched_by_what_is_drawn_of_another_theme(scene: Scene) -> None:
    assert replace(themed(scene, "dark"), theme="light").stones is scene.stones
