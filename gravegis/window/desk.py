"""The site on the desk: opened, edited gesture by gesture, undone, saved. Knows no Qt.

Each gesture is one flushed line of the journal before anything is shown, so a kill loses nothing that was seen.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gravegis import edits, registry, staleness, store
from gravegis.errors import PlanError, StoreError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from gravegis.edits import AnyEdit
    from gravegis.site import Site
    from gravegis.staleness import Stale
    from gravegis.window.state import StageState

__all__ = ["Desk"]


class Desk:
    """One open site. `is_busy` is set while something is being worked out of it: it is then not changed."""

    def __init__(self, folder: Path) -> None:
        """Open a site with the edits since its last save; raises StoreError where it cannot be read."""
        self.folder = folder
        self.site: Site = store.load(folder)
        self.journal = store.journal.read(folder)
        self.pool, self.left_out = registry.analyses()
        self.is_busy = False
        self._late: tuple[Site, tuple[Stale, ...]] | None = None

    def late(self) -> tuple[Stale, ...]:
        """Return the results that no longer hold; worked out once for each state of the site."""
        if self._late is None or self._late[0] is not self.site:
            self._late = (self.site, staleness.stale(self.site))
        return self._late[1]

    def states(self) -> list[StageState]:
        """Return where each stage of the job stands."""
        from gravegis.window.state import states

        return states(self.site, self.pool, self.late())

    def change(self, layer: str, id: str, values: Mapping[str, object]) -> AnyEdit:
        """Give a row other values; raises LayerError for what does not fit, StoreError for what cannot be written."""
        return self._do("edit", edits.change(self.site, layer, id, values))

    def add(self, layer: str, id: str, values: Mapping[str, object]) -> AnyEdit:
        """Add a row; raises as `change`."""
        return self._do("edit", edits.add(self.site, layer, id, values))

    def undo(self) -> AnyEdit | None:
        """Take the last gesture since the save back; None where there is none."""
        last = self.journal.undoable if self.journal.is_ours else None
        return None if last is None else self._do("undo", edits.undo_of(last))

    def redo(self) -> AnyEdit | None:
        """Make again what was taken back last; None where there is nothing."""
        last = self.journal.redoable if self.journal.is_ours else None
        return None if last is None else self._do("redo", last)

    def save(self, site: Site, *, pictures: tuple[str, Path] | None = None) -> list[str]:
        """Make a site the saved one; raises StoreError (nothing changed) where others saved in the meantime.

        `pictures` as in `take`.
        """
        missing: list[str] = []
        with store.locked(self.folder):
            self._refuse_changed()
            if pictures is not None:
                site, missing = store.photos.keep_all(site, self.folder, *pictures)
            store.save(site, self.folder)
            self.journal = store.journal.read(self.folder)
        self.site = site
        return missing

    def take(self, site: Site, started_from: Site, *, pictures: tuple[str, Path] | None = None) -> list[str]:
        """Save what was worked out, if nothing was changed since it was started; raises PlanError where it was.

        `pictures` names a layer whose pictures are copied into the site, and the folder they lie in; what of them is
        missing is given back.
        """
        if self.site is not started_from:
            raise PlanError(
                "the site was changed while this was worked out; nothing was saved", remedy="Work it out again."
            )
        return self.save(site, pictures=pictures)

    def next_id(self, layer: str, letter: str) -> str:
        """Return a name for a new row that no row bears yet."""
        from gravegis.layers import schema

        key = schema.layer(layer).key[0]
        taken = set(self.site[layer][key]) if layer in self.site else set()
        number = len(taken) + 1
        while f"{letter}{number}" in taken:
            number += 1
        return f"{letter}{number}"

    def _do(self, kind: str, edit: AnyEdit) -> AnyEdit:
        if self.is_busy:
            raise PlanError(
                "something is being worked out of this site just now", remedy="Wait until it is done, or stop it."
            )
        with store.locked(self.folder):
            self._refuse_changed()
            after = edits.apply(self.site, edit)
            if not self.journal.save.this:  # a site of an older schema: lines need a save to name
                store.save(self.site, self.folder)
                self.journal = store.journal.read(self.folder)
            self.journal = store.journal.append(self.folder, self.journal, kind, edit)
        self.site = after
        return edit

    def _refuse_changed(self) -> None:
        if store.journal.save_of(self.folder / store.GPKG) != self.journal.save:
            raise StoreError(
                "somebody else has saved the site since it was opened; nothing was changed", where=str(self.folder),
                remedy="Open it again, then do it again.",
            )  # fmt: skip
