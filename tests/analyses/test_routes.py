from __future__ import annotations

import sys
from itertools import pairwise
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gravegis import pipeline, registry
from gravegis.contract import Job
from gravegis.errors import Cancelled
from gravegis.site import Site, SiteInfo

CRS = "EPSG:7854"
QUICK = {"iterations_n": "50", "set_up_min": "0", "pack_up_min": "0"}


def ground(xy: list[tuple[float, float]], work: dict[str, Any] | None = None, **layers: pd.DataFrame) -> Site:
    ids = [f"s{i}" for i in range(len(xy))]
    stones = gpd.GeoDataFrame({"stone_id": ids}, geometry=gpd.points_from_xy(*zip(*xy, strict=True)), crs=CRS)
    listed = pd.DataFrame(
        {"stone_id": ids, "treatment": "look and record first", "who": "crew", "work_min": 10.0, "priority": 1,
         "hold": None, **(work or {})}
    )  # fmt: skip
    crews = pd.DataFrame({"crew_id": ["A"], "shift_from": ["08:00"], "shift_to": ["12:00"]})
    bases = gpd.GeoDataFrame({"base_id": ["shed"]}, geometry=[shapely.Point(0, 0)], crs=CRS)
    every = {"stones": stones, "worklist": listed, "crews": crews, "bases": bases, **layers}
    return Site(SiteInfo("t", CRS, seed=4)).with_layers(every)


def planned(site: Site, **typed: str) -> Site:
    one = registry.load("routes")
    return pipeline.run_one(site, one, one.read({**QUICK, **typed}))


def test_every_stone_of_the_worklist_is_planned_or_listed_with_a_reason(sample_run: Site) -> None:
    stops, left, work = (list(sample_run[name]["stone_id"]) for name in ("stops", "unplanned", "worklist"))
    assert sorted(stops + left) == sorted(work)
    assert len(set(stops)) == len(stops)
    assert sample_run["unplanned"]["detail"].notna().all()


def test_held_stones_and_those_of_a_conservator_are_never_planned() -> None:
    site = ground(
        [(10, 0), (20, 0), (30, 0)],
        {"hold": ["moves", None, None], "who": ["crew", "conservator only", "crew"], "work_min": [10.0, 0.0, 10.0]},
    )
    done = planned(site)
    assert list(done["stops"]["stone_id"]) == ["s2"]
    assert done["unplanned"].set_index("stone_id")["reason"].to_dict() == {"s0": "ON_HOLD", "s1": "NOT_FOR_CREWS"}


def test_times_are_walks_and_work_added_up() -> None:
    """A stone 100 m off, paths unknown: 130 m at 1.3991 m/s, 92.9 s, rounded up to 93 s."""
    done = planned(ground([(100, 0)]))
    stop: Any = done["stops"].iloc[0]
    assert stop["arrive_at"] == "08:01:33"
    assert stop["leave_at"] == "08:11:33"
    assert done["legs"]["length_m"].tolist() == pytest.approx([130.0, 130.0])


def test_set_up_and_packing_shorten_the_day() -> None:
    done = planned(ground([(10, 0)] * 30), set_up_min="45", pack_up_min="30")
    day: Any = done["crew_days"].iloc[0]
    assert day["leave_at"] == "08:45:00"
    assert day["return_at"] <= "11:30:00"


def test_a_wall_is_walked_round_and_a_gate_opens_it() -> None:
    wall = gpd.GeoDataFrame({"barrier_id": ["w"]}, geometry=[shapely.LineString([(50, -40), (50, 40)])], crs=CRS)
    gate = gpd.GeoDataFrame({"gate_id": ["g"], "width_m": [2.0]}, geometry=[shapely.Point(50, 10)], crs=CRS)
    straight = planned(ground([(100, 0)]), detour_factor="1")["legs"]["length_m"].iloc[0]
    round_it = planned(ground([(100, 0)], barriers=wall), detour_factor="1")["legs"]["length_m"].iloc[0]
    through = planned(ground([(100, 0)], barriers=wall, gates=gate), detour_factor="1")["legs"]["length_m"].iloc[0]
    assert straight == pytest.approx(100)
    assert round_it == pytest.approx(2 * np.hypot(50, 40), rel=0.01)
    # the gate is 9 to 11 m north of the straight line; people pass at its near side
    assert 2 * np.hypot(50, 9) <= through <= 2 * np.hypot(50, 11)


def test_a_walled_in_stone_is_unreachable_and_the_wall_is_named() -> None:
    ring = shapely.box(80, -20, 120, 20).exterior
    wall = gpd.GeoDataFrame({"barrier_id": ["court"]}, geometry=[ring], crs=CRS)
    left: Any = planned(ground([(100, 0), (10, 0)], barriers=wall))["unplanned"].set_index("stone_id")
    assert left.loc["s0", "reason"] == "UNREACHABLE"
    assert "court" in left.loc["s0", "detail"]


def test_without_a_trained_crew_cleaning_is_refused_by_name_and_looking_is_not() -> None:
    crews = pd.DataFrame({"crew_id": ["A"], "skills": ["survey"], "shift_from": ["08:00"], "shift_to": ["12:00"]})
    site = ground(
        [(10, 0), (20, 0)], {"treatment": ["clean: water and soft brush", "look and record first"]}, crews=crews
    )
    left: Any = planned(site)["unplanned"].set_index("stone_id")
    assert left["reason"].to_dict() == {"s0": "NO_CREW_WITH_SKILL"}
    assert "cleaner" in left.loc["s0", "detail"]


def test_walked_lines_start_and_end_at_the_base_and_join_up(sample_run: Site) -> None:
    legs, bases = sample_run["legs"], sample_run["bases"].set_index("base_id")
    starts = sample_run["crews"].set_index("crew_id")["base_id"]
    assert starts.nunique() == 2
    for crew, way in legs.groupby("crew_id"):
        ends = [(line.coords[0], line.coords[-1]) for line in way.geometry]
        base = bases.geometry[starts[crew]].coords[0]
        assert ends[0][0] == pytest.approx(base)
        assert ends[-1][1] == pytest.approx(base)
        for (_, end), (start, _) in pairwise(ends):
            assert end == pytest.approx(start)


def test_crews_pass_the_wall_of_the_sample_site_only_at_its_gate(sample_run: Site) -> None:
    wall = sample_run["barriers"].query("kind == 'wall'").geometry.union_all()
    gates = sample_run["gates"].geometry.union_all().buffer(float(sample_run["gates"]["width_m"].max()) / 2 + 0.05)
    crossings = sample_run["legs"].geometry.intersection(wall)
    assert not crossings.is_empty.all()
    assert all(place.is_empty or gates.covers(place) for place in crossings)


@settings(max_examples=8)
@given(st.lists(st.tuples(st.integers(-80, 80), st.integers(-80, 80), st.integers(5, 60)), min_size=3, max_size=9))
def test_shifting_the_ground_changes_nothing(rows: list[tuple[int, int, int]]) -> None:
    xy = [(float(x), float(y)) for x, y, _ in rows]
    work = {"work_min": [float(minutes) for *_, minutes in rows]}
    here = planned(ground(xy, work))["stops"]
    bases = gpd.GeoDataFrame({"base_id": ["shed"]}, geometry=[shapely.Point(1000, 2000)], crs=CRS)
    there = planned(ground([(x + 1000, y + 2000) for x, y in xy], work, bases=bases))["stops"]
    assert here.to_dict() == there.to_dict()


def test_another_name_for_a_stone_changes_no_plan(sample_run: Site) -> None:
    """Ids turned round: the last stone bears the first name."""
    names = list(sample_run["stones"]["stone_id"])
    other = dict(zip(names, reversed(names), strict=True))
    turned = {
        name: sample_run[name].assign(stone_id=sample_run[name]["stone_id"].map(other))
        for name in ("stones", "worklist")
    }
    before, after = (planned(site)["stops"] for site in (sample_run, sample_run.with_layers(turned)))
    columns = ["crew_id", "seq", "arrive_at", "leave_at", "work_min"]
    assert after[columns].equals(before[columns])
    assert list(after["stone_id"]) == [other[one] for one in before["stone_id"]]


def test_a_stone_whose_check_is_too_old_on_the_day_stays_and_says_so(sample_run: Site) -> None:
    done = planned(sample_run, day="2031-12-02")
    left = done["unplanned"].set_index("stone_id")["reason"]
    stones = sample_run["stones"].set_index("stone_id")
    planned_ids = list(done["stops"]["stone_id"])
    work = sample_run["worklist"].set_index("stone_id")
    assert (left == "CHECK_TOO_OLD").any()
    assert all(isinstance(work.loc[one, "first_step"], str) for one in planned_ids)
    assert stones.loc[left[left == "CHECK_TOO_OLD"].index, "stability_on"].notna().all()


@pytest.mark.parametrize(("start", "end"), [("13:30", "14:30"), ("22:00", "02:00")])
def test_a_crew_without_time_is_named_and_the_others_are_planned(start: str, end: str) -> None:
    crews = pd.DataFrame({"crew_id": ["A", "B"], "shift_from": ["08:00", start], "shift_to": ["12:00", end]})
    done = planned(ground([(10, 0)], crews=crews), set_up_min="45", pack_up_min="30")
    assert list(done["stops"]["crew_id"]) == ["A"]
    assert any("No time is left for crew B" in note for note in done.log[-1].notes)


def test_bad_day_is_refused_with_its_form() -> None:
    from gravegis.errors import SettingError

    with pytest.raises(SettingError, match=r"routes.day: '31.12.2026' is not a date such as"):
        registry.load("routes").read({"day": "31.12.2026"})


def test_a_plan_can_be_cancelled() -> None:
    from gravegis.errors import Cancelled

    one = registry.load("routes")
    with pytest.raises(Cancelled):
        one.work(ground([(10, 0)]), one.read(QUICK), Job(cancelled=lambda: True))


def test_the_wall_named_is_the_one_that_shuts_the_stone_off() -> None:
    court, hedge = shapely.box(80, -20, 120, 20).exterior, shapely.LineString([(90, -5), (90, 5)])
    walls = gpd.GeoDataFrame({"barrier_id": ["hedge", "court"]}, geometry=[hedge, court], crs=CRS)
    (said,) = planned(ground([(100, 0), (10, 0)], barriers=walls))["unplanned"]["detail"]
    assert said.endswith("(court)")
    rings = gpd.GeoDataFrame({"barrier_id": ["inner", "outer"]}, geometry=[court, court.buffer(9).exterior], crs=CRS)
    (said,) = planned(ground([(100, 0), (10, 0)], barriers=rings))["unplanned"]["detail"]
    assert said.endswith("(no one barrier alone; the first on the straight line is inner)")


def stopped_after(asked_n: int, site: Site, **typed: str) -> Any:
    """Run routes and stop it in the middle of the search: after so many more questions than one round asks."""
    one, asked = registry.load("routes"), {"searching": False, "n": 0}

    def report(share: float, words: str) -> None:
        asked["searching"] = asked["searching"] or words == "searching"

    def cancelled() -> bool:
        asked["n"] += asked["searching"]
        return asked["n"] > asked_n

    return one.work(site, one.read({**QUICK, **typed}), Job(seed=4, report=report, cancelled=cancelled))


def test_a_search_stopped_by_hand_gives_the_best_plan_so_far_and_says_so() -> None:
    site = ground([(10.0 * k, 0) for k in range(40)])
    found = stopped_after(30, site, iterations_n="1000000", days_n="3")
    stops = found.layers["stops"]
    assert len(stops) > 0
    assert set(stops["day"]) == {"day 1"}
    assert len(stops) + len(found.layers["unplanned"]) == 40
    assert any("stopped by hand; checked again." in note for note in found.notes)
    assert any("1 of 3 days are planned" in note for note in found.notes)


def test_stopped_before_anything_is_planned_it_leaves_the_site_as_it_was() -> None:
    with pytest.raises(Cancelled):
        stopped_after(0, ground([(10, 0)], {"work_min": [900.0]}))


def test_what_planned_each_day_and_what_ended_it_is_always_said(monkeypatch: pytest.MonkeyPatch) -> None:
    site = ground([(10.0 * k, 0) for k in range(60)])
    two = planned(site, days_n="2", day="2026-12-02").log[-1].notes
    for day in ("2026-12-02", "2026-12-03"):
        assert any(note.startswith(f"{day}: planned by pyvrp") and "rounds, to the last round;" in note for note in two)
    monkeypatch.setitem(sys.modules, "pyvrp", None)
    plain = planned(site).log[-1].notes
    assert any("Planned by nearest neighbour (pyvrp is not installed)" in note and "without a search" in note
               for note in plain)  # fmt: skip
    monkeypatch.undo()
    none = planned(ground([(10, 0)], {"work_min": [900.0]})).log[-1].notes
    assert any("nothing to search for" in note for note in none)
