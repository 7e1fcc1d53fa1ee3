"""How well hot spots find patches of harm planted on the stones of the sample ground, and what chance alone brings.

    python scripts/hot_spots.py

prints a table: width of the patch, stones in it, share of its stones called hot, share of the hot stones outside it.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from gravegis import sample
from gravegis.layers.stones import places_m
from gravegis.science.condition.hotspots import HOT, choose_band, find_hot_spots

if TYPE_CHECKING:
    from numpy.typing import NDArray

SAMPLE = Path(__file__).resolve().parents[1] / "sample_layers" / "emberfield_rise"
WIDTHS_M = (8, 12, 16, 18, 20, 24, 30, 40)
MAPS, SEED = 60, 20261125
HARMED, AROUND = ((0.9, 0.1), (1.0, 0.05)), (1, 4)
"""Share of stones harmed in a patch and elsewhere; grades of the harmed, from and up to."""


def planted(
    xy: NDArray[np.float64], width_m: float, shares: tuple[float, float], rng: np.random.Generator
) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Return the stones of two round patches around stones taken by chance, and grades."""
    first = second = xy[rng.integers(len(xy))]
    while np.hypot(*(second - first)) < 2 * width_m:
        second = xy[rng.integers(len(xy))]
    patch = (np.hypot(*(xy - first).T) <= width_m / 2) | (np.hypot(*(xy - second).T) <= width_m / 2)
    harmed = rng.random(len(xy)) < np.where(patch, *shares)
    return patch, np.where(harmed, rng.integers(*AROUND, len(xy)), 0)


def found(xy: NDArray[np.float64], width_m: float, shares: tuple[float, float], *, maps: int, seed: int) -> list[float]:
    """Return stones in a patch, share of them found and share of the hot outside, over some maps."""
    rng, band_m = np.random.default_rng([seed, int(10 * width_m)]), choose_band(xy)
    stones, recall, hot_n, outside_n = list[float](), list[float](), 0, 0
    for _ in range(maps):
        patch, grade = planted(xy, width_m, shares, rng)
        hot = find_hot_spots(xy, grade, band_m=band_m).state == HOT
        stones.append(patch.sum() / 2)
        recall.append(float((hot & patch).sum() / patch.sum()))
        hot_n, outside_n = hot_n + int(hot.sum()), outside_n + int((hot & ~patch).sum())
    return [float(np.mean(stones)), float(np.mean(recall)), outside_n / max(hot_n, 1)]


def main() -> None:
    """Print the table."""
    xy = places_m(sample.read(SAMPLE)["stones"])
    print(f"{len(xy)} stones, band {choose_band(xy):g} m, {MAPS} maps of two patches each")
    for shares in HARMED:
        print(f"harmed: {shares[0]:.0%} in the patch, {shares[1]:.0%} elsewhere\nwidth m  stones  found  outside")
        for width_m in WIDTHS_M:
            stones, recall, outside = found(xy, width_m, shares, maps=MAPS, seed=SEED)
            print(f"{width_m:7}  {stones:6.0f}  {recall:5.2f}  {outside:7.2f}")


if __name__ == "__main__":
    main()
