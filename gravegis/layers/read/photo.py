"""Photos: where and when they were taken, and which way the camera looked; the pictures stay where they are."""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd
import shapely
from PIL import Image
from PIL.ExifTags import GPS, IFD, Base

from gravegis.errors import LayerError, Problem
from gravegis.layers.crs import understood
from gravegis.layers.read.damage import library_reads
from gravegis.layers.read.kinds import not_read
from gravegis.layers.read.raw import Raw, many, shown
from gravegis.layers.read.rows import no_encoding, no_layer

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

__all__ = ["read_photos"]

_BASIS = "positions in photos are longitude and latitude, WGS 84 (EXIF 2.32; the map datum in the photo says so)"
_ENDINGS = (".jpg", ".jpeg")
_MOST_PHOTOS, _MOST_PIXELS = 20_000, 500_000_000  # common practice, no source
_TRUE, _MAGNETIC = "true", "magnetic"
_OF_SYSTEM = ("thumbs.db", "desktop.ini")  # files that systems write into folders of pictures
_WGS = ("", "WGS84", "WGS-84", "WGS 84")


def read_photos(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read one photo, or every JPEG below a folder, into rows: file, position, bearing, time.

    A photo without a position is kept as a row without a place. Times without a zone are kept apart
    (`taken_local`), since a phone may be set to any zone. Bearings say whether they are true or magnetic.

    Raises
    ------
    LayerError
        When the folder holds no photo, or any of them is cut or no picture: all of those are named.
    """
    no_encoding(encoding, "A photo")
    no_layer(layer, "A photo")
    files = sorted(one for one in path.rglob("*") if one.suffix.lower() in _ENDINGS) if path.is_dir() else [path]
    if not files or len(files) > _MOST_PHOTOS:
        others = f"; not read: {shown(_left_behind(path))}" if _left_behind(path) else ""
        raise LayerError(f"the folder holds {len(files)} photos (JPEG){others}", where=path.name,
                         remedy=f"Name a folder of 1 to {_MOST_PHOTOS} of them.")  # fmt: skip
    left = _left_behind(path) if path.is_dir() else []
    rows, problems = [], list[Problem]()
    for file in files:
        try:
            with library_reads(file, "photo", "Copy it from the phone again."):
                exif, camera, place = _exif(file)
            rows.append(_facts(file, exif, camera, place) | {"file": _named(file, path)})
        except LayerError as error:
            problems.extend(error.problems)
    if problems:
        raise LayerError.of(problems)
    return _as_raw(rows, left)


def _left_behind(folder: Path) -> list[str]:
    """Return the names of files that no reader of photos takes, with what they are where that is known."""
    names = []
    for one in sorted(folder.rglob("*")):
        plain = one.name.lower()
        if not one.is_file() or one.suffix.lower() in _ENDINGS or plain.startswith(".") or plain in _OF_SYSTEM:
            continue
        kind = not_read(one)
        names.append(_named(one, folder) + (f" ({kind})" if kind else ""))
    return names


def _named(file: Path, path: Path) -> str:
    return file.relative_to(path).as_posix() if path.is_dir() else file.name


def _as_raw(rows: list[dict[str, Any]], left: list[str]) -> Raw:
    shapes = [row.pop("geometry") for row in rows]
    stems = [row["photo_id"] for row in rows]
    for row in rows:  # two folders may hold photos of one name
        if stems.count(row["photo_id"]) > 1:
            row["photo_id"] = f"{row['folder']}/{row['photo_id']}"
        row.pop("folder")
    halves = [row["photo_id"] for row in rows if row.pop("half")]
    names = list(dict.fromkeys(name for row in rows for name in row))
    data = {name: pd.Series([row.get(name) for row in rows], dtype="str") for name in names}
    frame = gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(shapes, index=range(len(rows))))
    lost = [row["photo_id"] for row, shape in zip(rows, shapes, strict=True) if shape is None]
    said = [f"{many(len(lost), 'photo')} without a position: {shown(lost)}"] if lost else []
    if halves:
        said.append(
            f"{many(len(halves), 'photo')} with degrees of latitude and longitude but not the letters N or S, E or W, "
            f"so that nobody knows the quarter of the earth: {shown(halves)}; they count as without a position"
        )
    if left:
        said.append(f"{many(len(left), 'file')} of the folder not read and left behind: {shown(left)}; "
                    "photos come in as JPEG: export them so, with their position")  # fmt: skip
    local = [row["photo_id"] for row in rows if row.get("taken_local") and not row.get("taken_at")]
    if local:
        said.append(f"{many(len(local), 'photo')} with a time but no time zone, kept in taken_local: {shown(local)}")
    notes = (many(len(rows), "photo"),)
    return Raw(frame, understood("EPSG:4326")[0], _BASIS, stated=True, notes=notes, warnings=tuple(said))


def _exif(file: Path) -> tuple[Mapping[int, Any], Mapping[int, Any], Mapping[int, Any]]:
    """Return what a photo tells of itself, of the camera and of its place; a cut picture is noticed by decoding it."""
    with Image.open(file, formats=["JPEG", "MPO"]) as picture:
        if picture.width * picture.height > _MOST_PIXELS:
            raise ValueError(f"{picture.width} x {picture.height} pixels")
        exif = picture.getexif()
        camera, place = exif.get_ifd(IFD.Exif), exif.get_ifd(IFD.GPSInfo)
        picture.draft("L", (64, 64))
        picture.load()
    return exif, camera, place


def _facts(file: Path, exif: Mapping[int, Any], camera: Mapping[int, Any], place: Mapping[int, Any]) -> dict[str, Any]:
    row: dict[str, Any] = {"photo_id": file.stem, "folder": file.parent.name}
    row["geometry"] = _position(place)
    row["half"] = row["geometry"] is None and _lacks_quarter(place)
    row |= _times(camera, place)
    row |= _bearing(place)
    if row["geometry"] is not None:
        row["position_basis"] = "phone"
        error_m = _number(place.get(GPS.GPSHPositioningError))
        row["position_error_m"] = None if error_m is None else f"{error_m:g}"
    words = exif.get(Base.ImageDescription)
    row["note"] = str(words).strip() or None if words else None
    return row


def _position(place: Mapping[int, Any]) -> shapely.Point | None:
    """Return the position, None where there is none; a zero-zero place is what a phone without a fix writes."""
    lat = _degrees(place.get(GPS.GPSLatitude), _quarter(place.get(GPS.GPSLatitudeRef)), "NS")
    lon = _degrees(place.get(GPS.GPSLongitude), _quarter(place.get(GPS.GPSLongitudeRef)), "EW")
    datum = str(place.get(GPS.GPSMapDatum, "")).strip().strip("\x00").upper()
    if lat is None or lon is None or (lat == 0 and lon == 0) or abs(lat) > 90 or abs(lon) > 180:
        return None
    if datum not in _WGS:
        raise LayerError(f"its position is on the datum {datum[:20]}, not WGS 84", remedy="Leave the photo out.")
    return shapely.Point(lon, lat)


def _lacks_quarter(place: Mapping[int, Any]) -> bool:
    """Whether there are figures of a place, not all of them 0, and a letter that tells their side is not there."""
    figures = [part for tag in (GPS.GPSLatitude, GPS.GPSLongitude) for part in _parts(place.get(tag))]
    letters = (
        _quarter(place.get(GPS.GPSLatitudeRef)) in ("N", "S"),
        _quarter(place.get(GPS.GPSLongitudeRef)) in ("E", "W"),
    )
    return any(figures) and not all(letters)


def _parts(value: object) -> list[float | None]:
    return [_number(one) for one in value] if isinstance(value, tuple) else []


def _quarter(value: object) -> str:
    text = value.decode("ascii", "replace") if isinstance(value, bytes) else str(value or "")
    return text.strip("\x00 ").upper()[:1]


def _degrees(parts: object, quarter: str, letters: str) -> float | None:
    if not isinstance(parts, tuple) or len(parts) != 3 or quarter not in tuple(letters):
        return None
    numbers = [_number(one) for one in parts]
    if any(one is None for one in numbers):
        return None
    value = float(sum(one / 60.0**power for power, one in enumerate(numbers) if one is not None))
    return -value if quarter == letters[1] else value


def _number(value: object) -> float | None:
    """Return a figure of EXIF; some are 0/0, which means unknown."""
    try:
        made: float = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return made if math.isfinite(made) else None


def _times(camera: Mapping[int, Any], place: Mapping[int, Any]) -> dict[str, str]:
    """Return the instant, by satellite time or by the zone in the photo; else the local time as it stands."""
    made = {}
    stamp = str(camera.get(Base.DateTimeOriginal, "")).strip("\x00 ")
    try:
        local = dt.datetime.strptime(stamp, "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007 - the zone comes next, if any
    except ValueError:
        local = None
    if local is not None:
        made["taken_local"] = local.isoformat()
    zone = str(camera.get(Base.OffsetTimeOriginal, "")).strip("\x00 ")
    try:
        if local is not None and zone:
            made["taken_at"] = dt.datetime.fromisoformat(f"{local.isoformat()}{zone}").isoformat()
    except ValueError:
        pass
    day, clock = str(place.get(GPS.GPSDateStamp, "")).strip("\x00 "), place.get(GPS.GPSTimeStamp)
    parts = [_number(one) for one in clock] if isinstance(clock, tuple) else []
    if "taken_at" not in made and len(parts) == 3 and all(one is not None for one in parts):
        hours, minutes, seconds = (int(one or 0) for one in parts)
        try:
            date = dt.datetime.strptime(day, "%Y:%m:%d").replace(tzinfo=dt.UTC)
            made["taken_at"] = date.replace(hour=hours, minute=minutes, second=seconds).isoformat()
        except ValueError:
            pass
    return made


def _bearing(place: Mapping[int, Any]) -> dict[str, str | None]:
    """Return which way the camera looked, and whether counted from true or magnetic north."""
    bearing = _number(place.get(GPS.GPSImgDirection))
    if bearing is None or not 0 <= bearing <= 360:
        return {}
    said = str(place.get(GPS.GPSImgDirectionRef, "")).strip("\x00 ").upper()
    north = {"T": _TRUE, "M": _MAGNETIC}.get(said)
    return {"bearing_deg": f"{bearing:g}", "bearing_north": north}
