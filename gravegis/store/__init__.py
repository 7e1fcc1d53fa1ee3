"""A site on disk: a folder whose `site.gpkg` is the only commit point."""

from gravegis.store.folder import GPKG, create, load, refuse_if_there, save

__all__ = ["GPKG", "create", "load", "refuse_if_there", "save"]
