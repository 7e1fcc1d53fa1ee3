"""Reading a GeoPackage of stones: pyogrio, with and without Arrow, and our readers, against fiona."""

from __future__ import annotations

import importlib.util
from functools import partial
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pyogrio

from gravegis import store
from gravegis.layers.canonical import conform, content_hash
from gravegis.layers.read import read_file
from gravegis.site import Site, SiteInfo
from scripts.benches.figure import Figure, absent, check, timed
from scripts.benches.ground import ABOUT, CRS, stones_file

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from pathlib import Path

    from scripts.benches.figure import Work

BASELINE = "GeoDataFrame.from_features over fiona.open, once; seconds"
REPEATS = 3


def run(work: Work) -> Iterator[Figure]:
    """Give how many times faster each way reads the same rows."""
    if importlib.util.find_spec("fiona") is None:
        yield from (absent(f"store_read.{word}", "fiona is not installed") for word in WAYS)
        return
    small, path = (stones_file(work.folder, count, work.seed) for count in (500, work.rows(1_000_000, 2_000)))
    few = _by_fiona(small)
    library, wanted = timed(partial(_by_fiona, path), 1)
    order, total = list(wanted.columns), content_hash(wanted)
    del wanted
    for word, (way, target, note) in WAYS.items():
        if word == "arrow" and importlib.util.find_spec("pyarrow") is None:
            yield absent(f"store_read.{word}", "pyarrow is not installed")
            continue
        equal = content_hash(way(small)[list(few.columns)]) == content_hash(few)
        check(equal, f"store_read.{word} gives other rows than fiona")
        if word == "load":
            site_of(path)  # saved before the clock starts
        ours, frame = timed(partial(way, path), REPEATS)
        check(content_hash(frame[order]) == total, f"store_read.{word} gives other rows than fiona")
        yield Figure(
            name=f"store_read.{word}", **library.times(ours), unit="times faster", n=len(frame), target=target,
            data_set=f"{ABOUT}; GeoPackage", baseline_value=library.clock_s, baseline=BASELINE, repeats=REPEATS,
            note=f"ours {ours}, fiona {library}; {note}",
        )  # fmt: skip
        del frame


def _by_fiona(path: Path) -> Any:  # noqa: ANN401 - a frame, as all below
    import fiona

    with fiona.open(path, layer="stones") as rows:
        return gpd.GeoDataFrame.from_features(rows, crs=rows.crs)


def _by_pyogrio(path: Path) -> Any:  # noqa: ANN401
    return pyogrio.read_dataframe(path, layer="stones")


def _by_arrow(path: Path) -> Any:  # noqa: ANN401
    return pyogrio.read_dataframe(path, layer="stones", use_arrow=True)


def _by_reader(path: Path) -> Any:  # noqa: ANN401
    return read_file(path).frame


def _by_load(path: Path) -> Any:  # noqa: ANN401
    return store.load(site_of(path))["stones"]


def site_of(path: Path) -> Path:
    """Return the folder of a site with the stones of a file; saved once."""
    folder = path.with_suffix("")
    if not folder.exists():
        frame = conform(_by_pyogrio(path), "stones")
        store.save(Site(SiteInfo("Bench ground", CRS)).with_layers({"stones": frame}), folder)
    return folder


WAYS: Mapping[str, tuple[Callable[[Path], Any], str, str]] = {
    "pyogrio": (_by_pyogrio, ">= 8", "pyogrio without Arrow, which is what our readers stand on"),
    "arrow": (_by_arrow, "", "pyogrio with use_arrow, needs pyarrow"),
    "reader": (_by_reader, ">= 8", "our reader: every page checked, rows counted, texts stripped"),
    "load": (_by_load, "", "store.load: every page checked, rows counted, canonical form, frozen"),
}
"""Word of the figure: the way, its target, what it is."""
