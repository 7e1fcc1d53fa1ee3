"""Canonical form and content hash of stones against the same, one value after the other."""

from __future__ import annotations

import datetime as dt
import hashlib
import unicodedata
from functools import partial
from typing import TYPE_CHECKING, Any

import pandas as pd
import shapely

from gravegis.layers import canonical, schema
from scripts.benches.figure import Figure, check, timed
from scripts.benches.ground import ABOUT, stones

if TYPE_CHECKING:
    from collections.abc import Iterator

    from scripts.benches.figure import Work

REPEATS = 3
BASELINE = "pandas: Series.map with one function per value, then sort_values, once; seconds"
BASELINE_HASH = "hashlib over the text or the well-known binary of each value, once; seconds"


def run(work: Work) -> Iterator[Figure]:
    """Give how many times faster a layer gets its form, again, and its sum."""
    small, frame = (stones(count, work.seed) for count in (500, work.rows(1_000_000, 2_000)))
    equal = canonical.equal(canonical.conform(small, "stones"), _one_by_one(small))
    check(equal, "conform gives another layer than one value after the other")
    plain, wanted = timed(partial(_one_by_one, frame), 1)
    ours, made = timed(partial(canonical.conform, frame, "stones"), REPEATS)
    check(canonical.equal(made, wanted), "conform gives another layer than one value after the other")
    said: dict[str, Any] = {"unit": "times faster", "n": len(frame), "data_set": f"{ABOUT}; in memory"}
    yield Figure(name="conform.first", **plain.times(ours), baseline_value=plain.clock_s,
                 baseline=BASELINE, repeats=REPEATS, note=f"ours {ours}", **said)  # fmt: skip
    once_more, again = timed(partial(canonical.conform, made, "stones"), REPEATS)
    check(canonical.equal(again, made), "conform of a canonical layer changes it")
    yield Figure(name="conform.again", **plain.times(once_more), baseline_value=plain.clock_s,
                 baseline=BASELINE, repeats=REPEATS, note=f"ours {once_more}, it has its form", **said)  # fmt: skip
    slow, _ = timed(partial(_sum, made), 1)
    fast, one = timed(partial(canonical.content_hash, made), REPEATS)
    check(one == canonical.content_hash(again), "equal layers have other sums")
    yield Figure(name="conform.hash", **slow.times(fast), baseline_value=slow.clock_s,
                 baseline=BASELINE_HASH, repeats=REPEATS, note=f"ours {fast}", **said)  # fmt: skip


def _one_by_one(frame: pd.DataFrame) -> pd.DataFrame:
    made = frame.copy(deep=False)
    for name, column in schema.layer("stones").columns.items():
        if name in made and column.kind in ("id", "text", "date"):
            change = _date if column.kind == "date" else _word
            made[name] = made[name].map(change, na_action="ignore").astype("str")
        elif name in made:
            made[name] = made[name].astype("Int64" if column.kind == "whole" else "float64")
    return made.sort_values("stone_id", kind="stable").reset_index(drop=True)


def _word(value: str) -> str | None:
    return unicodedata.normalize("NFC", value).strip() or None


def _date(value: str) -> str:
    return dt.date.fromisoformat(value[:10]).isoformat()


def _sum(frame: Any) -> str:  # noqa: ANN401 - a frame
    digest = hashlib.sha256()
    for name in frame.columns:
        for value in frame[name]:
            piece = shapely.to_wkb(value) if name == "geometry" else b"" if pd.isna(value) else str(value).encode()
            digest.update(b"%d:%b" % (len(piece), piece))
    return digest.hexdigest()
