"""One edit of one stone among many, against writing the value and replacing the layer."""

from __future__ import annotations

import importlib.util
from functools import partial
from typing import TYPE_CHECKING, Any

from gravegis.layers import canonical
from gravegis.site import Site, SiteInfo
from scripts.benches.figure import Figure, absent, check, timed
from scripts.benches.ground import ABOUT, CRS, stones

if TYPE_CHECKING:
    from collections.abc import Iterator

    from scripts.benches.figure import Work

REPEATS = 21


def run(work: Work) -> Iterator[Figure]:
    """Give milliseconds of one edit, and how many times faster it is than replacing the layer."""
    if importlib.util.find_spec("gravegis.edits") is None:
        yield from (absent(name, "there is no gravegis.edits yet") for name in ("edit.one", "edit.replace"))
        return
    edits: Any = importlib.import_module("gravegis.edits")
    count = work.rows(1_000_000, 2_000)
    site = Site(SiteInfo("Bench ground", CRS)).with_layers({"stones": stones(count, work.seed)})
    row = count // 2
    one = edits.change(site, "stones", str(site["stones"]["stone_id"].iloc[row]), {"form": "obelisk mended"})
    wanted = _replaced(site, row)["stones"]
    check(canonical.equal(edits.apply(site, one)["stones"], wanted), "an edit gives another layer than replacing it")
    ours, _ = timed(partial(edits.apply, site, one), REPEATS)
    whole, _ = timed(partial(_replaced, site, row), 1)
    said: dict[str, Any] = {"n": count, "data_set": f"{ABOUT}; in memory", "repeats": REPEATS,
            "warm_up": "one edit, not counted", "baseline_value": whole.clock_s * 1000,
            "baseline": "the value written with .loc, the layer replaced by Site.with_layers, once; ms"}  # fmt: skip
    yield Figure(
        name="edit.one",
        value=ours.clock_s * 1000,
        processor_value=ours.processor_s * 1000,
        unit="ms",
        target="<= 20",
        **said,
    )
    yield Figure(name="edit.replace", **whole.times(ours), unit="times faster", **said)


def _replaced(site: Site, row: int) -> Site:
    frame = site["stones"]
    frame.loc[row, "form"] = "obelisk mended"
    return site.with_layers({"stones": frame})
