"""Bring the sample layers in, as a person would with `gravegis new` and `gravegis add`."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from gravegis.errors import StoreError

if TYPE_CHECKING:
    from collections.abc import Callable

    from gravegis.site import Site

__all__ = ["build", "find", "read"]

# Plots before stones, so that stones find theirs; heads before what refers to them.
ORDER = (
    "plots", "stones", "heads", "sources", "throws", "wet_areas", "zones", "schedules", "water", "findings",
    "observations", "catch_cans", "paths", "barriers", "gates", "bases", "taps", "shade", "sensitive", "closures",
    "permissions", "products", "grounds_log", "crews", "weather",
)  # fmt: skip
KINDS = (".geojson", ".shp", ".csv")


def find() -> Path:
    """Return the folder of the sample layers beside the package; raises StoreError where it was not shipped."""
    folder = Path(__file__).resolve().parent.parent / "sample_layers" / "emberfield_rise"
    if not folder.is_dir():
        raise StoreError(
            "the sample layers are not beside the installed package", where=str(folder),
            remedy="Name their folder: gravegis demo FOLDER --layers PATH.",
        )  # fmt: skip
    return folder


def read(source: Path, say: Callable[[str], object] = lambda words: None) -> Site:
    """Return the site made of the files of a folder: one file per layer, facts in ``site.json``."""
    from gravegis.layers import bring
    from gravegis.site import Site, SiteInfo

    if not (source / "site.json").is_file():
        raise StoreError(
            "this folder holds no sample layers: site.json is missing", where=str(source),
            remedy="Name the folder sample_layers/emberfield_rise.",
        )  # fmt: skip
    facts = json.loads((source / "site.json").read_text(encoding="utf-8"))
    settings = facts.pop("settings", {})
    known = {name: facts[name] for name in ("title", "crs", "time_zone", "elevation_m", "seed") if name in facts}
    site = Site(SiteInfo(**known, crs_basis="typed", sources=tuple(facts.get("sources", ()))), settings=settings)
    for layer in ORDER:
        files = [source / f"{layer}{kind}" for kind in KINDS if (source / f"{layer}{kind}").is_file()]
        for file in files[:1]:
            brought = bring.bring_in(site, layer, file)
            site = brought.site
            say(f"{layer}: {len(site[layer])} rows from {file.name}")
            for words in brought.warnings:
                say(f"  {words}")
    return site


def build(source: Path, folder: Path, say: Callable[[str], object] = lambda words: None) -> Path:
    """Make the site folder from the sample layers; one that stands there already is made anew.

    Only a folder that holds nothing but a site of this sample is replaced.
    """
    from gravegis import store

    site = read(source, say)
    if (folder / store.GPKG).exists() and store.load(folder).info.title != site.info.title:
        raise StoreError(
            "another site stands in this folder", where=str(folder), remedy="Choose another folder for the sample."
        )
    store.save(site, folder)
    return folder
