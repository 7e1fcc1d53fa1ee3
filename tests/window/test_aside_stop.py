"""A stop of the day plan keeps the best it has; any other stop ends the process, and nothing is kept."""

from __future__ import annotations

import multiprocessing
import threading
from typing import TYPE_CHECKING, Any

import pytest

from gravegis.errors import Cancelled
from gravegis.window import aside
from gravegis.window.job import Work

if TYPE_CHECKING:
    from multiprocessing.connection import Connection


def heard(answers: list[tuple[str, Any]], *, keeps: bool, stop_at: float = 0.5) -> tuple[Any, list[Any]]:
    """Stop when the share is told; the other end then answers. Return what came back and what the other end heard."""
    ours, theirs = multiprocessing.Pipe()
    got: list[Any] = []
    work = Work(lambda _: None, listen=lambda share, _: work.stop() if share >= stop_at else None)

    def other(line: Connection) -> None:
        line.send(("told", (1.0, "searching")))
        if line.poll(5):
            got.append(line.recv())
            for one in answers:
                line.send(one)

    side = threading.Thread(target=other, args=(theirs,))
    side.start()
    try:
        return aside.Aside()._heard(ours, work, keeps=keeps), got
    finally:
        ours.close()
        side.join(10)


def test_the_day_plan_is_asked_to_stop_and_what_it_has_is_taken() -> None:
    assert heard([("told", (0.9, "writing")), ("done", "the best so far")], keeps=True) == ("the best so far", ["stop"])


def test_a_day_plan_with_nothing_to_keep_is_stopped() -> None:
    with pytest.raises(Cancelled):
        heard([("stopped", None)], keeps=True)


def test_one_that_does_not_answer_in_time_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(aside, "GRACE_S", 0.1)
    with pytest.raises(Cancelled):
        heard([], keeps=True)


def test_others_are_ended_without_asking() -> None:
    ours, theirs = multiprocessing.Pipe()
    work = Work(lambda _: None)
    work.stop()
    with pytest.raises(Cancelled):
        aside.Aside()._heard(ours, work, keeps=False)
    assert not theirs.poll()


def test_the_process_hears_that_it_is_to_stop() -> None:
    ours, theirs = multiprocessing.Pipe()
    kept: list[object] = []
    assert not aside._told_to_stop(theirs, kept)
    ours.send(aside.STOP)
    assert aside._told_to_stop(theirs, kept)
    assert aside._told_to_stop(theirs, kept), "once asked it stays so"
