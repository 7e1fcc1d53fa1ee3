"""What stands where in a site folder."""

from __future__ import annotations

__all__ = ["BESIDE", "GPKG", "GRIDS", "JOURNAL", "LEFTOVERS", "LOCK", "PART", "PHOTOS", "PICTURED", "VERSIONS"]

GPKG = "site.gpkg"
LOCK = "site.lock"
GRIDS = "grids"
PHOTOS = "photos"
PICTURED = ("photos", "backdrops")  # layers whose column `file` names what lies in the folder of photos
JOURNAL = "journal.jsonl"
VERSIONS = "versions"
BESIDE = ".site-"
PART = ".part"
# What a writer that was killed leaves behind; nobody reads these.
LEFTOVERS = (f"{BESIDE}*.gpkg*", f"{GRIDS}/*{PART}.tif", f"{VERSIONS}/*{PART}", f"{PHOTOS}/*{PART}", f".{LOCK}-*")
