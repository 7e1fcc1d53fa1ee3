"""The plain plan: nearest stop of the highest class, worked out by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gravegis.science.routing.baseline import baseline_plan
from gravegis.science.routing.check import check_plan
from gravegis.science.routing.model import Crew, Reason, Stop

if TYPE_CHECKING:
    from collections.abc import Callable


def test_the_nearest_stop_of_the_highest_class_comes_first(straight_walk: Callable[..., Any]) -> None:
    walk = straight_walk(np.array([(0, 0), (10, 0), (50, 0), (-90, 0)], dtype=np.float64))
    stops = [Stop("near", 1, 5), Stop("urgent", 2, 5, priority=3), Stop("also", 3, 5, priority=2)]
    plan = baseline_plan(stops, [Crew("a", 0, 0, 0, 1000)], walk)
    assert [visit.stop_id for visit in plan.days[0].visits] == ["urgent", "also", "near"]
    assert plan.days[0].walk_m == 50 + 140 + 100 + 10
    assert plan.days[0].back_at_base_s == 300 + 15
    assert plan.provenance.solver == "nearest neighbour"


def test_the_crew_that_is_free_first_chooses_next(straight_walk: Callable[..., Any]) -> None:
    walk = straight_walk(np.array([(0, 0), (10, 0), (20, 0), (30, 0)], dtype=np.float64))
    stops = [Stop("one", 1, 500), Stop("two", 2, 5), Stop("three", 3, 5)]
    crews = [Crew("a", 0, 0, 0, 1000), Crew("b", 0, 0, 0, 1000)]
    days = {day.crew_id: day for day in baseline_plan(stops, crews, walk).days}
    assert [visit.stop_id for visit in days["a"].visits] == ["one"]
    assert [visit.stop_id for visit in days["b"].visits] == ["two", "three"]


def test_a_stop_on_the_way_is_slipped_in_where_appending_would_be_late(straight_walk: Callable[..., Any]) -> None:
    walk = straight_walk(np.array([(0, 0), (50, 0), (100, 0)], dtype=np.float64))
    stops = [Stop("end", 2, 10, priority=3), Stop("way", 1, 10)]
    crews = [Crew("a", 0, 2, 0, 120)]
    plan = baseline_plan(stops, crews, walk)
    assert [visit.stop_id for visit in plan.days[0].visits] == ["way", "end"]
    assert not check_plan(plan, stops, crews, walk)


def test_what_does_not_fit_is_left_out_with_its_reason(straight_walk: Callable[..., Any]) -> None:
    walk = straight_walk(np.array([(0, 0), (50, 0)], dtype=np.float64))
    stops = [Stop("a", 1, 10, priority=2), Stop("b", 1, 10)]
    plan = baseline_plan(stops, [Crew("a", 0, 0, 0, 110)], walk)
    assert plan.done == {"a"}
    assert [item.reason for item in plan.unplanned] == [Reason.NO_TIME_LEFT]
    assert plan.unplanned[0].detail == "takes 10 s with the walk; crew a would be back 10 s late"
