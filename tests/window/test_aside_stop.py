"""A stop at the desk ends the process that works: nothing is asked of it, and nothing is kept."""

from __future__ import annotations

import multiprocessing

import pytest

from gravegis.errors import Cancelled
from gravegis.window import aside
from gravegis.window.job import Work


def test_a_stop_is_heard_though_the_process_says_nothing_and_nothing_is_sent_to_it() -> None:
    ours, theirs = multiprocessing.Pipe()
    work = Work(lambda _: None)
    work.stop()
    with pytest.raises(Cancelled):
        aside.Aside()._heard(ours, work)
    assert not theirs.poll()


def test_an_answer_that_came_before_a_stop_is_taken() -> None:
    ours, theirs = multiprocessing.Pipe()
    theirs.send(("done", "the plan"))
    assert aside.Aside()._heard(ours, Work(lambda _: None)) == "the plan"
