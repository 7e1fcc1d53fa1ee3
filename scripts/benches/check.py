"""A file of stones all the way in: read, conformed, placed, checked; and a site loaded and checked."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from scripts.benches.child import in_child
from scripts.benches.figure import Figure, check
from scripts.benches.ground import ABOUT, stones_file
from scripts.benches.store_read import site_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from scripts.benches.figure import Work

ROADS = {
    "bring": "the file read by our reader, brought in (canonical form, place, outlines mended) and checked",
    "load": "the site folder loaded (every page checked, canonical form) and checked",
}


def run(work: Work) -> Iterator[Figure]:
    """Give seconds and peak of memory of both roads, each in a process of its own."""
    count = work.rows(1_000_000, 2_000)
    path = stones_file(work.folder, count, work.seed)
    for road, given in (("bring", path), ("load", site_of(path))):
        told = in_child(f"{__name__}:{road}", str(given))
        check(told["rows"] == count and not told["errors"], f"check.{road}: rows are missing or wrong")
        said: dict[str, Any] = {"n": count, "data_set": f"{ABOUT}; GeoPackage", "note": ROADS[road],
                "warm_up": "none; the imports of the libraries are within the time"}  # fmt: skip
        yield Figure(
            name=f"check.{road}",
            value=told["seconds"],
            processor_value=told["processor_s"],
            unit="s",
            target="<= 20",
            **said,
        )
        yield Figure(name=f"check.{road}_peak", value=told["peak_gb"], unit="GB", target="<= 3", **said)


def bring(path: str) -> dict[str, int]:
    """Bring a file of stones into a new site and check it."""
    from gravegis.layers.bring import bring_in
    from gravegis.layers.check import check_site
    from gravegis.site import Site, SiteInfo

    site = bring_in(Site(SiteInfo("Bench ground", "")), "stones", Path(path)).site
    found = check_site(site)
    return {"rows": len(site["stones"]), "errors": sum(one.severity == "error" for one in found)}


def load(folder: str) -> dict[str, int]:
    """Load a site and check it."""
    from gravegis import store
    from gravegis.layers.check import check_site

    site = store.load(Path(folder))
    found = check_site(site)
    return {"rows": len(site["stones"]), "errors": sum(one.severity == "error" for one in found)}
