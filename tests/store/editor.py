"""A person at work in a process of its own, forked from one that has imported everything: `python editor.py FOLDER`.

Each line on stdin starts one that makes edits until it is killed, or as many as the line says; every seventh is
followed by a save. The number of each edit is printed once it is written down, `gone` when the process has ended.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import shapely

from gravegis import edits, store
from tests.store.small import small
from tests.store.writer import say

if TYPE_CHECKING:
    from gravegis.site import Site

SAVED_EVERY = 7


def gesture(site: Site, number: int) -> edits.AnyEdit:
    """Return the edit of this number: a stone moves and says the number, a zone of that name comes, or all such go."""
    if number % 3 == 1:
        place = shapely.Point(372000 + number / 8, 6250000)
        return edits.change(site, "stones", "s1", {"tag": str(number), "geometry": place})
    if number % 3 == 2:
        return edits.add(site, "zones", f"z{number}", {"notes": str(number)})
    return edits.delete(site, "zones", f"z{number - 1}")


def made_n(site: Site) -> set[int]:
    """Return how many edits a site may hold; raises AssertionError where they do not hang together."""
    zones = set(site["zones"]["zone_id"]) - {"old", "new"}
    stone: Any = site["stones"].set_index("stone_id").loc["s1"]
    told = int(stone["tag"]) if isinstance(stone.get("tag"), str) else -2
    assert stone["geometry"].x == 372000 + (told / 8 if told > 0 else 1), "place and words of two gestures"
    if zones:
        assert zones == {f"z{told + 1}"}, f"{zones} beside {told}"
        return {told + 1}
    return {told, told + 2}  # before a zone came, or after it went


def work(folder: Path, times: int) -> None:
    """Hold the site, make edits, write each down, save now and then."""
    with store.locked(folder):
        site, journal = store.load(folder), store.journal.read(folder)
        number = int(os.environ["FIRST"])
        for _ in range(times):
            number += 1
            edit = gesture(site, number)
            site = edits.apply(site, edit)
            journal = store.journal.append(folder, journal, "edit", edit)
            os.write(1, f"{number}\n".encode())
            if number % SAVED_EVERY == 0:
                store.save(site, folder)
                journal = store.journal.read(folder)


def main() -> None:
    """Start one person a line."""
    folder = Path(sys.argv[1])
    store.save(small("old"), folder)
    store.load(folder)
    say("ready")
    for line in sys.stdin:
        times, os.environ["FIRST"] = line.split()
        pid = os.fork()
        if pid == 0:
            status = 1
            try:
                work(folder, int(times))
                status = 0
            finally:
                os._exit(status)
        say(f"pid {pid}")
        _, status = os.waitpid(pid, 0)
        say("gone" if os.WIFSIGNALED(status) else f"ended {os.waitstatus_to_exitcode(status)}")


if __name__ == "__main__":
    main()
