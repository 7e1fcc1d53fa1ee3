"""What stands where in a site folder."""

from __future__ import annotations

__all__ = ["BESIDE", "GPKG", "GRIDS", "LEFTOVERS", "LOCK", "PART", "VERSIONS"]

GPKG = "site.gpkg"
LOCK = "site.lock"
GRIDS = "grids"
VERSIONS = "versions"
BESIDE = ".site-"
PART = ".part"
# What a writer that was killed leaves behind; nobody reads these.
LEFTOVERS = (f"{BESIDE}*.gpkg*", f"{GRIDS}/*{PART}.tif", f"{VERSIONS}/*{PART}", f".{LOCK}-*")
