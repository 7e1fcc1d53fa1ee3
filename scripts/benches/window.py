"""The map canvas without a screen: gestures, sharp pictures, a head dragged, picks, and how soon a ground is seen.

Everything runs on Qt's offscreen platform in a process of its own, so that memory is that of one window.
"""

from __future__ import annotations

import importlib.util
import os
import sys
import time
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from scripts.benches import desk
from scripts.benches.child import in_child
from scripts.benches.figure import Figure, absent, check
from scripts.benches.ground import ABOUT, CRS, heads, stones

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from gravegis.site import Site
    from gravegis.window.canvas import MapCanvas
    from gravegis.window.scene import Scene
    from scripts.benches.figure import Work

N = 20
SIZE_PX = (1200, 800)
SCALES = {"far": 1.5, "middle": 6.0, "near": 20.0}
TARGETS = {
    "gesture": ("ms, median of a frame", "<= 8"), "gesture_p95": ("ms, 95 of 100 frames", "<= 16"),
    "sharp": ("ms from the last event to a sharp picture, worst of three scales", "<= 150"),
    "drag": ("ms, median of a frame with wetting", "<= 16"), "drag_first": ("ms, first frame", "<= 50"),
    "pick": ("ms, median", "<= 5"), "first_map": ("s from the site in memory to the first sharp picture", "<= 4"),
    "outline": ("s to the last picture with its date", "<= 1.5"), "memory": ("MB at the peak", "<= 650"),
}  # fmt: skip
LARGE = {
    "opens": ("s from the site in memory to the first sharp picture", "<= 15"), "memory": ("MB at the peak", "<= 3000"),
    "gesture": ("ms, median of a frame", "<= 16"), "gesture_p95": ("ms, 95 of 100 frames", ""),
    "sharp": ("ms from the last event to a sharp picture, worst of three scales", ""),
}  # fmt: skip


def run(work: Work) -> Iterator[Figure]:
    """Give what is felt at the map: on 100,000 stones with 2,000 heads, and on a million."""
    if importlib.util.find_spec("PySide6") is None:
        yield absent("window", "PySide6 is not installed: pip install gravegis[window]")
        return
    yield from desk.run(work)
    for label, table, count, heads_n in (
        ("100k", TARGETS, work.rows(100_000, 2_000), work.rows(2_000, 60)),
        ("million", LARGE, work.rows(1_000_000, 4_000), work.rows(2_000, 60)),
    ):
        file = work.folder / f"picture-{label}.png"
        told = in_child("scripts.benches.window:measure", str(count), str(heads_n), str(work.seed), str(file))
        told["memory"] = None if told["peak_gb"] is None else told["peak_gb"] * 1000
        for name, (unit, target) in table.items():
            yield Figure(
                name=f"window.{label}.{name}", value=told[name], processor_value=told.get(f"{name}_processor"),
                unit=unit, target=target, n=count,
                data_set=f"{ABOUT}; {heads_n} heads; {SIZE_PX[0]} by {SIZE_PX[1]} px, offscreen",
                repeats=1 if name in ("memory", "first_map", "opens", "outline") else N,
                warm_up="one picture of each scale, not counted" if name == "sharp" else "none",
            )  # fmt: skip


def measure(count: str, heads_n: str, seed: str, file: str) -> dict[str, float]:
    """Measure one ground in this process; all values in ms but those of opening, in s."""
    os.environ["QT_QPA_PLATFORM"] = "offscreen"
    from PySide6.QtWidgets import QApplication

    from gravegis.window.canvas import MapCanvas
    from gravegis.window.scene import scene_of

    site = _site(int(count), int(heads_n), int(seed))
    app = QApplication.instance() or QApplication(sys.argv[:1])
    begin = time.perf_counter()
    scene = scene_of(site, theme="light")
    canvas = MapCanvas()
    canvas.resize(*SIZE_PX)
    canvas.show()
    canvas.set_scene(scene)
    _until(canvas, "sharpened")
    opened_s = time.perf_counter() - begin
    _until(canvas, "ready", canvas.refresh)  # the one under way may be over already
    told = {"first_map": opened_s, "opens": opened_s, "outline": _outline_s(canvas, Path(file))}
    frames = np.array([one for scale in SCALES.values() for one in _gestures(canvas, scale)])
    for ending, column in (("", 0), ("_processor", 1)):
        told[f"gesture{ending}"] = float(np.median(frames[:, column]))
        told[f"gesture_p95{ending}"] = float(np.percentile(frames[:, column], 95))
    told["sharp"], told["sharp_processor"] = max(_sharp(canvas, scale) for scale in SCALES.values())
    told["pick"] = _picks(canvas, scene, int(seed))
    drags = np.array(_drag(canvas, site))
    for ending, column in (("", 0), ("_processor", 1)):
        told[f"drag_first{ending}"] = float(drags[0, column])
        told[f"drag{ending}"] = float(np.median(drags[1:, column]))
    canvas.finish()
    del app
    return told


def _site(count: int, heads_n: int, seed: int) -> Site:
    """Return stones in classes and reached ones, under heads; results as if they had been worked out."""
    import geopandas as gpd
    import pandas as pd

    from gravegis.site import Site, SiteInfo

    layer, throws = stones(count, seed), heads(heads_n * 20, seed)
    west, south, east, north = layer.total_bounds
    chance = np.random.default_rng(seed)
    places = gpd.points_from_xy(chance.uniform(west, east, heads_n), chance.uniform(south, north, heads_n))
    sprinklers = gpd.GeoDataFrame(
        {
            "head_id": [f"H{n:05d}" for n in range(heads_n)], "zone_id": [str(n % 12 + 1) for n in range(heads_n)],
            "throw_m": throws.throw_m, "arc_from_deg": throws.from_deg.round(1), "arc_sweep_deg": throws.sweep_deg,
        },
        geometry=places, crs=CRS,
    )  # fmt: skip
    ids = layer["stone_id"]
    reached = chance.random(count) < 0.4
    wetting = pd.DataFrame({"stone_id": ids, "reached": reached, "nearest_head_m": chance.uniform(0, 12, count)})
    condition = pd.DataFrame({"stone_id": ids, "overall": chance.integers(0, 4, count)})
    site = Site(SiteInfo("Bench ground", CRS)).with_layers({"stones": layer, "heads": sprinklers})
    return site.with_layers({"stone_wetting": wetting, "stone_condition": condition})


def _until(canvas: MapCanvas, signal: str, after: Callable[[], object] = lambda: None) -> float:
    """Do something, wait for a signal of the canvas, and return the ms between; raises TimeoutError after 60 s."""
    from PySide6.QtCore import QEventLoop, QTimer

    loop, heard = QEventLoop(), list[float]()

    def hear() -> None:
        heard.append(time.perf_counter())
        loop.quit()

    getattr(canvas, signal).connect(hear)
    QTimer.singleShot(60_000, loop.quit)
    begin = time.perf_counter()
    after()
    loop.exec()
    getattr(canvas, signal).disconnect(hear)
    if not heard:
        raise TimeoutError(f"{signal} did not come within 60 s")
    return (heard[0] - begin) * 1000


def _frame(canvas: MapCanvas, change: Callable[[], Any]) -> tuple[float, float]:
    """Return the ms of one change with the frame that shows it, by the clock and of the processor."""
    begin = time.perf_counter(), time.process_time()
    change()
    canvas.repaint()
    return (time.perf_counter() - begin[0]) * 1000, (time.process_time() - begin[1]) * 1000


def _look(canvas: MapCanvas, scale: float) -> None:
    canvas.whole_ground()
    canvas.zoom_by(scale / canvas.view.px_per_m)


def _gestures(canvas: MapCanvas, scale: float) -> list[tuple[float, float]]:
    _until(canvas, "ready", lambda: _look(canvas, scale))
    spent = [_frame(canvas, lambda: canvas.pan_by(7, -5)) for _ in range(N)]
    return spent + [_frame(canvas, partial(canvas.zoom_by, 1.1 if step % 2 else 0.9)) for step in range(N)]


def _sharp(canvas: MapCanvas, scale: float) -> tuple[float, float]:
    _until(canvas, "ready", lambda: _look(canvas, scale))
    spent = []
    for _ in range(N):
        begin = time.process_time()
        clock = _until(canvas, "sharpened", lambda: canvas.pan_by(40, 25))
        spent.append((clock, (time.process_time() - begin) * 1000))
    clock, processor = np.median(np.array(spent), axis=0).tolist()
    return clock, processor


def _picks(canvas: MapCanvas, scene: Scene, seed: int) -> float:
    """Pick stones at their middle and check that each is found."""
    from gravegis.window.canvas.find import found_at

    rows = np.random.default_rng(seed).integers(0, len(scene.stones), 10 * N)
    spent = []
    for row in rows.tolist():
        x_m, y_m = float(scene.stones.x_m[row]), float(scene.stones.y_m[row])
        begin = time.perf_counter()
        found = found_at(scene, x_m, y_m, px_per_m=canvas.view.px_per_m, shown=frozenset(["stones"]))
        spent.append((time.perf_counter() - begin) * 1000)
        check(found == ("stones", scene.stones.ids[row]), "a pick finds another stone")
    return float(np.median(spent))


def _drag(canvas: MapCanvas, site: Site) -> list[tuple[float, float]]:
    """Drag a head over stones; what it wets in the end must be what the exact overlay gives."""
    from gravegis.science.irrigation.reach import reach
    from gravegis.window.canvas import Tool
    from gravegis.window.scene import scene_of

    scene = scene_of(site, theme="light")
    _until(canvas, "ready", lambda: canvas.set_scene(scene))
    middle = scene.bounds_m[0] / 2 + scene.bounds_m[2] / 2, scene.bounds_m[1] / 2 + scene.bounds_m[3] / 2
    row = int(np.hypot(scene.heads.x_m - middle[0], scene.heads.y_m - middle[1]).argmin())
    name = str(scene.heads.ids[row])
    canvas.set_tool(Tool.MOVE_HEAD)
    canvas.set_picked("heads", name)
    _until(canvas, "ready", lambda: _look(canvas, 6.0))
    _until(canvas, "ready", partial(canvas.go_to, "heads", name))
    spent = [_frame(canvas, lambda: canvas.nudge_head(0.25, 0.1)) for _ in range(N + 1)]
    hold = canvas.hold
    check(hold is not None, "no head is in the hand")
    if hold is not None:
        canvas.let_go()
        exact = reach(scene.stones.footprints, hold.now.throws())
        check(bool(np.array_equal(hold.rows, exact.stone_i)), "the head in the hand wets other stones than the overlay")
    return spent


def _outline_s(canvas: MapCanvas, file: Path) -> float:
    """Return the seconds from nothing to the last picture on the screen, as it was kept beside the site."""
    from gravegis.window.canvas import MapCanvas
    from gravegis.window.canvas.last import keep_picture, last_picture

    keep_picture(canvas, file)
    begin = time.perf_counter()
    kept = last_picture(file)
    check(kept is not None, "no picture was kept")
    fresh = MapCanvas()
    fresh.resize(*SIZE_PX)
    if kept is not None:
        fresh.show_last_picture(kept.image, kept.bounds_m, kept.kept_on)
    fresh.grab()
    spent = time.perf_counter() - begin
    fresh.finish()
    return spent
