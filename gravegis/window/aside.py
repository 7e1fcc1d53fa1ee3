"""Analyses in a process of their own: what they do never makes the window wait, and a stop ends them at once.

In a thread they held Python's lock for tenths of a second at a time. The process reads the ground from its folder as
anybody does, so nothing large goes there; only the layers that are new come back. It lives on for the next question.
Knows no Qt.
"""

from __future__ import annotations

import multiprocessing
import os
import pickle
import threading
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gravegis import errors
from gravegis.errors import Cancelled, GravegisError, Problem

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from multiprocessing.connection import Connection
    from multiprocessing.process import BaseProcess

    from gravegis.pipeline import Outcome
    from gravegis.site import Site
    from gravegis.window.job import Work

__all__ = ["Aside", "aside", "work_aside"]

LOOK_S = 0.02
"""How often it is looked whether somebody asked to stop: own choice. [s]"""
NICE = 5
"""How far the process stands back behind the window, where the system has such an order: own choice."""
Wish = tuple[str, str, dict[str, str], dict[str, object]]
"""Folder, name of the analysis, what was typed, what the ground remembers of its settings."""
Reply = tuple[str, Any]


class Aside:
    """The process: started by the first wish (or by `warm`), ended by a stop, by `close`, or with the program."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: BaseProcess | None = None
        self._line: Connection | None = None

    def warm(self) -> None:
        """Start it, so that the first wish need not wait."""
        with self._lock:
            self._begin()

    def close(self) -> None:
        """End it."""
        with self._lock:
            self._end()

    def ask(self, wish: Wish, work: Work) -> Any:  # noqa: ANN401
        """Send a wish and return the answer; raises Cancelled when stopped, and what the analysis raises."""
        with self._lock:
            work.tell(0.01, "reading the ground")
            line = self._begin()
            line.send(wish)
            try:
                return self._heard(line, work)
            except (Cancelled, EOFError, OSError) as error:
                self._end()
                if isinstance(error, Cancelled):
                    self._begin()
                    raise
                raise GravegisError(
                    "the process that works things out has ended; nothing was changed", remedy="Work it out again."
                ) from error

    def _heard(self, line: Connection, work: Work) -> Any:  # noqa: ANN401 - whatever was asked for
        while True:
            if work.stopped():
                raise Cancelled
            if not line.poll(LOOK_S):
                continue
            kind, told = line.recv()
            if kind == "told":
                work.tell(*told)
            elif kind == "refused":
                name, problems = told
                raise getattr(errors, name, GravegisError).of([Problem(*one) for one in problems])
            elif kind == "broke":
                raise RuntimeError(told)
            else:
                return told

    def _begin(self) -> Connection:
        if self._process is None or not self._process.is_alive() or self._line is None:
            self._end()
            context = multiprocessing.get_context("spawn")
            self._line, theirs = context.Pipe()
            self._process = context.Process(target=_serve, args=(theirs,), daemon=True, name="gravegis aside")
            self._process.start()
            theirs.close()
        return self._line

    def _end(self) -> None:
        if self._line is not None:
            self._line.close()
        if self._process is not None:
            self._process.kill()
            self._process.join()
        self._process = self._line = None


@cache
def aside() -> Aside:
    """Return the one process of this program."""
    return Aside()


def work_aside(site: Site, folder: Path, name: str, typed: Mapping[str, str]) -> Callable[[Work], Site]:
    """Return the task that works one analysis out of the ground in a folder, and those it builds on.

    `site` is what stands in the folder; it is given back with what is new, its other layers as they are. Nothing is
    saved by it.
    """

    def task(work: Work) -> Site:
        told = aside().ask((str(folder), name, dict(typed), dict(site.settings.get(name, {}))), work)
        made = site.without(tuple(told["gone"]))
        for layer, held in told["layers"].items():  # from our own process
            made = made.with_canonical(layer, pickle.loads(held))
        return replace(made, grids=told["grids"], log=told["log"])

    return task


def _serve(line: Connection) -> None:
    """Answer wishes until nobody listens any more."""
    if hasattr(os, "nice"):
        os.nice(NICE)
    from gravegis import pipeline  # noqa: F401 - loaded before the first wish comes

    held: dict[str, Any] = {}
    while True:
        try:
            wish = line.recv()
        except (EOFError, KeyboardInterrupt):
            return
        try:
            line.send(_answer(wish, line, held))
        except BrokenPipeError:
            return


def _answer(wish: Wish, line: Connection, held: dict[str, Any]) -> Reply:
    from gravegis import pipeline

    folder, name, typed, saved = wish
    try:
        site = _site(Path(folder), held)
        if dict(site.settings.get(name, {})) != saved:
            site = site.with_settings(name, saved)
        watch = pipeline.Watch(report=lambda _, share, words: line.send(("told", (share, words))))
        return "done", _news(site, pipeline.run(site, (name,), typed={name: typed}, watch=watch))
    except GravegisError as error:
        return "refused", (type(error).__name__, [(one.problem, one.where, one.remedy) for one in error.problems])
    except BrokenPipeError:
        raise
    except Exception as error:  # noqa: BLE001 - said in the window as our fault
        return "broke", f"{type(error).__name__}: {error}"


def _site(folder: Path, held: dict[str, Any]) -> Site:
    """Return the ground in a folder; read anew where it is another, or another save or more gestures of it."""
    from gravegis import store
    from gravegis.store.names import JOURNAL

    files = [folder / store.GPKG, folder / JOURNAL]
    state = (str(folder), *((one.stat().st_mtime_ns, one.stat().st_size) for one in files if one.exists()))
    if held.get("state") != state:
        held.update(site=store.load(folder), state=state)
    site: Site = held["site"]
    return site


def _news(before: Site, done: Outcome) -> dict[str, Any]:
    """Return what is new after a run: layers by name, those that went, grids and log."""
    after = done.site
    new = [name for record in after.log if record not in before.log for name in record.gives]
    layers = {name: pickle.dumps(after[name], protocol=5) for name in new}
    gone = [name for name in before if name not in after]
    return {"layers": layers, "gone": gone, "grids": dict(after.grids), "log": after.log}
