"""Runs a piece of `job.Work` beside the window; everything comes back by signals, in the thread of the window."""

from __future__ import annotations

import traceback
from concurrent.futures import Future, ThreadPoolExecutor
from functools import cache
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject, Signal

from gravegis.errors import Cancelled, GravegisError
from gravegis.window.job import Work

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["Runner"]


class _Signals(QObject):
    told = Signal(float, str)
    done = Signal(object)
    stopped = Signal()
    refused = Signal(object)
    broke = Signal(str)


@cache
def _lane(name: str) -> ThreadPoolExecutor:
    """Return the one thread that does a kind of work; it lives as long as the program.

    No pool of Qt: there Python forgets what it holds for a thread after each run, with it the contexts of the
    library of reference systems, and what was made in them brings the program down when it is used later.
    """
    return ThreadPoolExecutor(max_workers=1, thread_name_prefix=name)


class _Run:
    def __init__(self, work: Work, signals: _Signals) -> None:
        self._work, self._signals = work, signals

    def __call__(self) -> None:
        """Do the work and tell what came of it."""
        try:
            done = self._work.run()
        except Cancelled:
            self._signals.stopped.emit()
        except GravegisError as error:
            self._signals.refused.emit(error)
        except OSError as error:
            self._signals.refused.emit(GravegisError(str(error.strerror or error), where=str(error.filename or "")))
        except Exception as error:  # noqa: BLE001 - the last line of defence: said in the window as our fault
            traceback.print_exc()
            self._signals.broke.emit(f"{type(error).__name__}: {error}")
        else:
            self._signals.done.emit(done)


class Runner(QObject):
    """One piece of work at a time: `start` it, `stop` it; the signals say how far it is and what came of it."""

    told = Signal(float, str)
    done = Signal(object)
    stopped = Signal()
    refused = Signal(object)
    broke = Signal(str)
    changed = Signal(bool)

    def __init__(self, parent: QObject | None = None, *, lane: str = "work") -> None:
        super().__init__(parent)
        self._pool = _lane(lane)
        self._future: Future[None] | None = None
        self._work: Work | None = None
        self._signals: _Signals | None = None
        self._then: Callable[[Any], None] | None = None

    @property
    def is_running(self) -> bool:
        """Whether something is being worked out."""
        return self._work is not None

    def start(self, task: Callable[[Work], Any], then: Callable[[Any], None]) -> bool:
        """Start a task and call `then` with what it gave; False where another one is still running."""
        if self._work is not None:
            return False
        signals = self._signals = _Signals(self)
        self._work = Work(task, signals.told.emit)
        self._then = then
        signals.told.connect(self.told)
        signals.done.connect(self._done)
        # methods of this object, so that Qt calls them in the thread of the window
        signals.stopped.connect(self._stopped)
        signals.refused.connect(self._refused)
        signals.broke.connect(self._broke)
        self.changed.emit(True)
        self._future = self._pool.submit(_Run(self._work, signals))
        return True

    def stop(self) -> None:
        """Ask the work to stop; `stopped` says when it did."""
        if self._work is not None:
            self._work.stop()

    def finish(self) -> None:
        """Stop and wait until nothing runs, before the window goes."""
        self.stop()
        if self._future is not None:
            self._future.result()

    def _done(self, found: object) -> None:
        then = self._then

        def tell() -> None:
            if then is not None:
                then(found)
            self.done.emit(found)

        self._ended(tell)

    def _stopped(self) -> None:
        self._ended(self.stopped.emit)

    def _refused(self, error: object) -> None:
        self._ended(lambda: self.refused.emit(error))

    def _broke(self, words: str) -> None:
        self._ended(lambda: self.broke.emit(words))

    def _ended(self, tell: Callable[[], object]) -> None:
        if self._signals is not None:
            self._signals.deleteLater()
        self._work = self._signals = self._then = None
        self.changed.emit(False)
        tell()
