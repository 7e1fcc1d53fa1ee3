"""Long work that can be watched and stopped, without Qt: the command line and tests could use it as well."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from gravegis.errors import Cancelled

__all__ = ["Work"]

Told = Callable[[float, str], None]
MOST_A_SECOND = 20
"""Messages a second that reach a listener; more cannot be read. Own choice."""


@dataclass(slots=True)
class Work:
    """One piece of long work: what it does, who listens, and whether it was stopped."""

    task: Callable[[Work], Any]
    listen: Told = lambda share, words: None
    _stop: threading.Event = field(default_factory=threading.Event)
    _last_s: float = -1.0

    def stop(self) -> None:
        """Ask the work to stop; it does so at its next look."""
        self._stop.set()

    def stopped(self) -> bool:
        """Whether somebody asked to stop."""
        return self._stop.is_set()

    def tell(self, share: float, words: str) -> None:
        """Tell how far it is, at most so often as somebody can read; raises Cancelled when stopped."""
        if self.stopped():
            raise Cancelled
        now = time.monotonic()
        if share >= 1 or now - self._last_s >= 1 / MOST_A_SECOND:
            self._last_s = now
            self.listen(share, words)

    def run(self) -> Any:  # noqa: ANN401 - whatever the task gives
        """Do it; raises Cancelled when stopped, and whatever the task raises."""
        if self.stopped():
            raise Cancelled
        return self.task(self)
