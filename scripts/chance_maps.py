"""Draw the picture of the help page of hot spots: maps of pure chance under exact p-values and under simulated ones.

    python scripts/chance_maps.py [FILE]

Six maps of 1,500 stones on which one in twenty is harmed, dealt out by chance alone. Above: the exact p-values of
gravegis; below: the simulated p-values of esda (a development extra) taken as they come. In both the share of false
discoveries is held at 5 % over all stones, so at most about one map in twenty should carry any colour.
"""

from __future__ import annotations

import sys
import warnings
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from PIL import Image

from gravegis.science.condition.hotspots import COLD, HOT, find_hot_spots

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

PICTURE = Path(__file__).resolve().parents[1] / "gravegis" / "outputs" / "data" / "hotspots_chance.png"
STONES_N, PER_STONE_M2, HARMED, BAND_M, MAPS, SEED = 1500, 3.2, 0.05, 6.0, 6, 19
FALSE_SHARE = 0.05


def ours(xy: Floats, harmed: Floats) -> Flags:
    """Return the stones gravegis calls hot or cold."""
    return np.asarray(np.isin(find_hot_spots(xy, harmed, band_m=BAND_M).state, (HOT, COLD)), dtype=np.bool_)


def simulated(xy: Floats, harmed: Floats) -> Flags:
    """Return the stones whose simulated p-values of esda, as they come, pass the same correction."""
    from esda.getisord import G_Local
    from libpysal.weights import DistanceBand

    weights = DistanceBand(xy, BAND_M, binary=True, silence_warnings=True)
    with warnings.catch_warnings():
        # 2.9 announces that its p will double in the next release
        warnings.simplefilter("ignore", DeprecationWarning)
        made = G_Local(harmed, weights, transform="B", star=True, permutations=999, seed=1, keep_simulations=False)
    p = np.asarray(made.p_sim)
    limits = FALSE_SHARE * np.arange(1, len(p) + 1) / len(p)
    passed = np.flatnonzero(np.sort(p) <= limits)
    return np.asarray(p <= (np.sort(p)[passed[-1]] if passed.size else -1.0), dtype=np.bool_)


def draw(ax: Axes, xy: Floats, harmed: Floats, found: Flags) -> None:
    """Draw one map: stones as dots, the harmed ones dark, those called hot or cold ringed."""
    sound = harmed == 0
    ax.scatter(xy[sound, 0], xy[sound, 1], s=0.6, c="#b8b8b8", linewidths=0)
    ax.scatter(xy[~sound, 0], xy[~sound, 1], s=2.5, c="#000000", linewidths=0)
    ax.scatter(xy[found, 0], xy[found, 1], s=16, facecolors="none", edgecolors="#b03000", linewidths=0.5)
    ax.set(xticks=[], yticks=[], aspect="equal", title=f"{int(found.sum())} stones called hot or cold")
    ax.title.set_fontsize(7)


def smaller(file: Path) -> None:
    """Keep a picture in 16 colours: it travels with the package."""
    with Image.open(file) as opened:
        made = opened.convert("RGB").quantize(16)
    made.save(file, optimize=True)


def main(file: Path) -> None:
    """Write the picture and print how many maps carry colour."""
    rng, side = np.random.default_rng(SEED), float(np.sqrt(STONES_N * PER_STONE_M2))
    figure = Figure(figsize=(9.6, 3.9), layout="constrained")
    axes = figure.subplots(2, MAPS)
    counts = [0, 0]
    for place in range(MAPS):
        xy = rng.uniform(0, side, (STONES_N, 2))
        harmed = (rng.random(STONES_N) < HARMED).astype(np.float64)
        for row, way in enumerate((ours, simulated)):
            found = way(xy, harmed)
            counts[row] += bool(found.any())
            draw(axes[row, place], xy, harmed, found)
    for row, words in enumerate(("exact p (gravegis)", "simulated p, as they come")):
        axes[row, 0].set_ylabel(words, fontsize=8)
    file.parent.mkdir(parents=True, exist_ok=True)
    figure.savefig(file, dpi=110, metadata={"Software": None})
    smaller(file)
    print(f"maps of chance with any hot or cold stone: exact {counts[0]} of {MAPS}, simulated {counts[1]} of {MAPS}")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else PICTURE)
