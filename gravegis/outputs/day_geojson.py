"""The day of a crew as GeoJSON for map programs on phones: stops, spare stones, the leader's post, base, the way."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from gravegis.outputs import currency, words
from gravegis.outputs.days import crew_days, crew_files, point_of
from gravegis.outputs.gpx import COMPARE, SHOWS, to_degrees

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import pyproj

    from gravegis.outputs.days import CrewDay, StopLine
    from gravegis.site import Site

__all__ = ["write_day_geojson"]

DECIMALS = 8  # about a millimetre, as in the tracks


def write_day_geojson(site: Site, folder: Path, *, with_names: bool = False) -> list[Path]:
    """Write a GeoJSON file (RFC 7946: WGS 84, longitude first) per crew and day that has stops; return the files.

    A phone is metres out, stones stand about a metre apart: a point leads near a stone, the sheet says which.

    Parameters
    ----------
    with_names
        Include ``find_me``, the short inscriptions.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = crew_files(crew_days(site), folder, ".geojson")
    for day, file in written:
        made = _collection(site, day, to_degrees(site.info.crs), with_names=with_names)
        text = json.dumps(made, ensure_ascii=False, indent=1)
        file.write_text(text + "\n", encoding="utf-8", newline="\n")
    return [file for _, file in written]


def _collection(site: Site, day: CrewDay, degrees: pyproj.Transformer, *, with_names: bool) -> dict[str, Any]:
    stale = currency.mark(site, SHOWS)
    late = f"{currency.OUT_OF_DATE}: " if stale else ""
    features = [
        {"type": "Feature", "geometry": shapely.geometry.mapping(shape), "properties": _without_gaps(said)}
        for shape, said in _things(site, day, degrees, with_names=with_names)
    ]
    plan = f"plan {words.plan_hash(site)}; {COMPARE}"
    return {
        "type": "FeatureCollection",
        "name": words.one_line(f"{late}{site.info.title}, {words.crew_name(day.crew_id)}, {day.day}"),
        "description": f"{stale} {plan}" if stale else plan,
        "features": features,
    }


def _things(
    site: Site, day: CrewDay, degrees: pyproj.Transformer, *, with_names: bool
) -> Iterator[tuple[Any, dict[str, object]]]:  # fmt: skip
    for stop in day.listed:
        if stop.at is not None:
            yield _placed(shapely.Point(stop.at), degrees), _of_stop(day, stop, with_names=with_names)
    beside = next((row for row in words.records(site, "stones") if row["stone_id"] == day.facts.get("post_by")), None)
    for kind, shape in (("leader's post", (beside or {}).get("geometry")), ("base", day.base.get("geometry"))):
        at = point_of(shape)
        if at is not None:
            yield _placed(shapely.Point(at), degrees), {"kind": kind, "crew": day.crew_id}
    legs = [leg for leg in day.legs if leg.length > 0]
    if legs:
        lines = shapely.MultiLineString([part for leg in legs for part in shapely.get_parts(leg)])
        yield _placed(lines, degrees), {"kind": "way", "crew": day.crew_id, "length_m": round(lines.length)}


def _placed(shape: Any, degrees: pyproj.Transformer) -> Any:  # noqa: ANN401 - any shapely geometry
    """Return a geometry in degrees, rounded."""
    return shapely.transform(
        shape, lambda xy: np.round(np.column_stack(degrees.transform(xy[:, 0], xy[:, 1])), DECIMALS)
    )


def _of_stop(day: CrewDay, stop: StopLine, *, with_names: bool) -> dict[str, object]:
    return {
        "kind": "spare" if stop.spare else "stop", "crew": day.crew_id, "name": f"{stop.label} {stop.stone_id}",
        "seq": stop.seq, "stone_id": stop.stone_id,
        "find_me": stop.stone.get("find_me") if with_names else None,
        "place": words.place(stop.stone), "looks": words.looks(stop.stone, short=True),
        "arrive_at": words.clock(stop.stop.get("arrive_at")), "soak_end_at": words.clock(stop.stop.get("soak_end_at")),
        "leave_at": words.clock(stop.stop.get("leave_at")),
        "first_step": stop.work.get("first_step"), "treatment": stop.work.get("treatment"),
    }  # fmt: skip


def _without_gaps(said: dict[str, object]) -> dict[str, object]:
    return {
        name: words.one_line(value) if isinstance(value, str) else value
        for name, value in said.items() if value not in (None, "")
    }  # fmt: skip
