"""The walk of a crew as a track for phones and hand-held receivers."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from typing import TYPE_CHECKING

from gravegis.outputs import currency, words
from gravegis.outputs.days import crew_days, crew_files

if TYPE_CHECKING:
    from pathlib import Path

    import pyproj

    from gravegis.outputs.days import XY, CrewDay
    from gravegis.site import Site

__all__ = ["write_gpx"]

GPX = "http://www.topografix.com/GPX/1/1"  # namespace of GPX 1.1, an open standard
COMPARE = "compare each stone with the sheet before work"
SHOWS = ("routes", "worklist")
"""Analyses whose results a track shows."""


def write_gpx(site: Site, folder: Path, *, with_names: bool = False) -> list[Path]:
    """Write a GPX 1.1 file per crew and day that has stops: stops in order as waypoints, the way walked as a track.

    Places are degrees of WGS 84, longitude first from pyproj, eight decimals (about a millimetre). A hand-held
    receiver is metres out, stones stand about a metre apart: a waypoint leads near a stone, the sheet says which.

    Parameters
    ----------
    with_names
        Include ``find_me``, the short inscriptions.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = crew_files(crew_days(site), folder, ".gpx")
    for day, file in written:
        tree = ET.ElementTree(_gpx(site, day, with_names=with_names))
        ET.indent(tree)
        tree.write(file, encoding="utf-8", xml_declaration=True)
    return [file for _, file in written]


def _gpx(site: Site, day: CrewDay, *, with_names: bool) -> ET.Element:
    import shapely

    degrees = to_degrees(site.info.crs)
    root = ET.Element("gpx", {"xmlns": GPX, "version": "1.1", "creator": "gravegis"})
    about = ET.SubElement(root, "metadata")
    stale = currency.mark(site, SHOWS)
    # receivers may show nothing but names: a way that is out of date says so there too
    late = f"{currency.OUT_OF_DATE}: " if stale else ""
    _say(about, "name", f"{late}{site.info.title}, {words.crew_name(day.crew_id)}, {day.day}")
    plan = f"plan {words.plan_hash(site)}; {COMPARE}"
    _say(about, "desc", f"{stale} {plan}" if stale else plan)
    for stop in day.stops:
        if stop.at is None:
            continue
        point = _point(root, "wpt", stop.at, degrees)
        _say(point, "name", f"{stop.seq:02d} {stop.stone_id}")
        mark = stop.stone.get("find_me") if with_names else None
        said = [mark, words.place(stop.stone), words.looks(stop.stone, short=True), stop.work.get("treatment")]
        _say(point, "desc", "; ".join(str(one) for one in [*said, stop.work.get("first_step")] if one))
        _say(point, "type", "stop")
    legs = [leg for leg in day.legs if leg.length > 0]
    if legs:
        track = ET.SubElement(root, "trk")
        _say(track, "name", f"{late}way of {words.crew_name(day.crew_id)}")
        for leg in legs:
            segment = ET.SubElement(track, "trkseg")
            for x, y in shapely.get_coordinates(leg).tolist():
                _point(segment, "trkpt", (x, y), degrees)
    return root


def to_degrees(crs: str) -> pyproj.Transformer:
    import pyproj

    return pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True)


def _point(parent: ET.Element, name: str, at: XY, degrees: pyproj.Transformer) -> ET.Element:
    lon, lat = degrees.transform(*at)
    return ET.SubElement(parent, name, {"lat": f"{lat:.8f}", "lon": f"{lon:.8f}"})


def _say(parent: ET.Element, name: str, text: str) -> None:
    shown = words.one_line(text)
    if shown:
        ET.SubElement(parent, name).text = shown
