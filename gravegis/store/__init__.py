"""A site on disk: a folder whose `site.gpkg` is the only commit point."""

from gravegis.store import backdrops, journal, photos
from gravegis.store.folder import create, load, refuse_if_there, restore, save
from gravegis.store.lock import locked
from gravegis.store.names import GPKG

__all__ = ["GPKG", "backdrops", "create", "journal", "load", "locked", "photos", "refuse_if_there", "restore", "save"]
