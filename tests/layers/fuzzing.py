"""The fuzz harness: sound files are damaged at random and brought in; whatever is no clear error is a catch."""

from __future__ import annotations

import codecs
import shutil
import signal
import time
import traceback
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gravegis.errors import GravegisError
from gravegis.layers import bring, canonical
from gravegis.layers.read.kinds import by_ending

if TYPE_CHECKING:
    import random
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from gravegis.site import Site

MOST_S = 20.0
LAYERS = ("stones", "heads", "plots", "findings", "water", "paths", "photos", "observations", "backdrops")
OPTIONS: tuple[dict[str, Any], ...] = (
    {}, {}, {"crs": "EPSG:7854"}, {"swap_xy": True}, {"dates": "dmy"}, {"unit": "ft", "crs": "EPSG:7854"},
    {"mapping": ["x=lon", "y=lat"]}, {"encoding": "cp1252"}, {"file_layer": "PLOT", "crs": "EPSG:7854"},
    {"file_layer": "STONE", "crs": "EPSG:7854"}, {"bearings": "magnetic", "declination_deg": 8.0},
)  # fmt: skip
_BESIDE = (".shx", ".dbf", ".prj", ".cpg")


@dataclass(frozen=True, slots=True)
class Catch:
    """An input that did not end well: what was done to which file, and what came of it."""

    what: str
    trouble: str


class HangError(BaseException):
    """Raised in a reader that takes too long; no reader can swallow it by catching exceptions."""


def cut(data: bytes, rng: random.Random) -> bytes:
    return data[: rng.randrange(len(data) + 1)]


def flip(data: bytes, rng: random.Random) -> bytes:
    made = bytearray(data)
    for _ in range(rng.choice([1, 1, 2, 8, 64])):
        if made:
            made[rng.randrange(len(made))] ^= 1 << rng.randrange(8)
    return bytes(made)


def overwrite(data: bytes, rng: random.Random) -> bytes:
    at, size = rng.randrange(len(data) + 1), rng.choice([1, 16, 512, 4096])
    return data[:at] + rng.randbytes(size) + data[at + size :]


def repeat(data: bytes, rng: random.Random) -> bytes:
    at, size = rng.randrange(len(data) + 1), rng.choice([4, 64, 1024])
    return data[:at] + data[at : at + size] * rng.choice([2, 5, 50]) + data[at:]


def encode_again(data: bytes, rng: random.Random) -> bytes:
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        return codecs.BOM_UTF8 + data
    return text.encode(rng.choice(["utf-16", "utf-16-le", "cp1252", "latin-1", "utf-8-sig", "cp037"]), errors="replace")


def shuffle_columns(data: bytes, rng: random.Random) -> bytes:
    lines = data.split(b"\n")
    separator = rng.choice([b",", b";", b"\t"])
    order = list(range(lines[0].count(separator) + 1))
    rng.shuffle(order)
    rows = [line.split(separator) for line in lines]
    return b"\n".join(separator.join(row[place] for place in order if place < len(row)) for row in rows)


def odd_cells(data: bytes, rng: random.Random) -> bytes:
    """Put a hostile value in place of a run of digits."""
    odd = rng.choice([b"=1+1", b"1e999", b"-0", b"nan", b"\xe2\x80\xae", b"<0.05", b"99999999999999999999", b"'", b'"',
                      b"1,2,3", b"\x00", b"", b"18--", b"0x1F", b"\xd9\xa1\xd9\xa2", b"12:99", b"31/02/2024",
                      b"POINT (1 1)", b"<script>", b"A" * 70_000, b"4403.0083", b"1_000", b"\xe2\x88\x9e"])  # fmt: skip
    places = [at for at in range(len(data)) if data[at : at + 1].isdigit()]
    if not places:
        return odd + data
    at = rng.choice(places)
    end = at
    while end < len(data) and (data[end : end + 1].isdigit() or data[end : end + 1] == b"."):
        end += 1
    return data[:at] + odd + data[end:]


MUTATIONS: tuple[Callable[[bytes, random.Random], bytes], ...] = (
    cut, flip, overwrite, repeat, encode_again, shuffle_columns, odd_cells, odd_cells, flip,
)  # fmt: skip


def damage(source: Path, folder: Path, rng: random.Random) -> tuple[Path, str]:
    """Write a damaged copy of a file (of a Shapefile perhaps another of its parts); return it and what was done."""
    folder.mkdir()
    target = folder / source.name
    shutil.copyfile(source, target)
    victim = target
    if source.suffix == ".shp":
        for part in _BESIDE:
            if source.with_suffix(part).exists():
                shutil.copyfile(source.with_suffix(part), target.with_suffix(part))
        victim = rng.choice([target, *(target.with_suffix(part) for part in _BESIDE)])
    mutations = rng.sample(MUTATIONS, rng.choice([1, 1, 2]))
    data = victim.read_bytes() if victim.exists() else b""
    for mutate in mutations:
        data = mutate(data, rng)
    victim.write_bytes(data)
    if rng.random() < 0.05:  # called something else
        other = target.with_suffix(rng.choice([".csv", ".kml", ".xlsx", ".gpkg", ".json", ".dxf", ".zip", ".bin"]))
        target = target.rename(other)
    return target, f"{source.name} > {victim.name}: {', '.join(one.__name__ for one in mutations)}"


def attempt(site: Site, path: Path, layer: str, options: dict[str, Any], *, most_s: float = MOST_S) -> str:
    """Bring a file in; return what is wrong with how that ended, empty where it came in or ended in a clear error."""
    before = {name: canonical.content_hash(site[name]) for name in site}

    def stop(*_: object) -> None:
        raise HangError

    previous = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, most_s)
    began = time.monotonic()
    trouble = ""
    try:
        brought = bring.bring_in(site, layer, path, **options)
        trouble = "" if layer in brought.site else "it came in without its layer"
    except GravegisError as error:
        trouble = "" if error.problems[0].problem.strip() else "an error without words"
    except HangError:
        trouble = f"it took more than {most_s:g} s"
    except BaseException:  # noqa: BLE001 - everything else is what is being hunted
        trouble = traceback.format_exc(limit=-6)
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, previous)
    slow = f"it took more than {most_s:g} s" if time.monotonic() - began > most_s else ""
    trouble = trouble or slow
    if {name: canonical.content_hash(site[name]) for name in site} != before:
        trouble = f"the site given was changed; {trouble}"
    return trouble


def hunt(
    site: Site, sources: Sequence[Path], folder: Path, rng: random.Random, *, inputs: int, most_s: float = MOST_S
) -> list[Catch]:
    """Bring in damaged copies of files and return every input that did not end well."""
    catches = []
    for number in range(inputs):
        source = sources[number % len(sources)]
        path, done = damage(source, folder / f"{number:06d}", rng)
        layer, options = rng.choice(LAYERS), dict(rng.choice(OPTIONS))
        if options.get("file_layer") and by_ending(source) != by_ending(source.with_suffix(".dxf")):
            options.pop("file_layer")
        trouble = attempt(site, path, layer, options, most_s=most_s)
        if trouble:
            catches.append(Catch(f"input {number}, {done}, as {layer} with {options}", trouble))
        else:
            shutil.rmtree(path.parent)
    return catches
