"""A writer in a process of its own, forked from one that has imported everything: `python writer.py FOLDER`.

Each line on stdin starts a writer that saves the old and the new site in turn until it is killed, or as often as
the line says. Its process number is printed, then `gone` when it has ended and is no more on this computer.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from gravegis import store
from tests.store.small import small

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gravegis.site import Site


def write(folder: Path, times: int, sites: Mapping[str, Site]) -> None:
    """Save as a command does: lock, load, save."""
    for _ in range(times):
        with store.locked(folder):
            is_old = store.load(folder).info.title == "old"
            store.save(sites["new" if is_old else "old"], folder)


def say(words: object) -> None:
    """Tell the test."""
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


def main() -> None:
    """Start one writer a line."""
    folder = Path(sys.argv[1])
    sites = {which: small(which) for which in ("old", "new")}
    with tempfile.TemporaryDirectory() as other:
        store.save(sites["old"], Path(other))
    store.load(folder)
    say("ready")
    for line in sys.stdin:
        pid = os.fork()
        if pid == 0:
            status = 1
            try:
                write(folder, int(line), sites)
                status = 0
            finally:
                os._exit(status)
        say(pid)
        _, status = os.waitpid(pid, 0)
        say("gone" if os.WIFSIGNALED(status) else f"ended {os.waitstatus_to_exitcode(status)}")


if __name__ == "__main__":
    main()
