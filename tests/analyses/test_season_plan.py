"""The season on a site: refused zones, stones without minutes, what nobody may go to."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from gravegis import registry
from gravegis.site import Site, SiteInfo

WORK = {"stone_id": ["a", "b", "c"], "who": "crew", "hold": None, "work_min": 20.0, "priority": 1}


def season(**layers: dict[str, Any]) -> Any:  # frames of pandas are read row by row
    every = {"worklist": WORK, **layers}
    site = Site(SiteInfo("Test", "EPSG:7854")).with_layers({name: pd.DataFrame(rows) for name, rows in every.items()})
    one = registry.load("season_plan")
    return one.work(site, one.read({"from_on": "2026-12-02"})).layers["season_plan"]


def left(frame: Any) -> dict[str, int]:
    never = frame[frame["month"].isna()]
    return dict(zip(never["reason"], never["stones_n"], strict=True))


@pytest.mark.parametrize(("until", "refused_n"), [(None, 2), ("2026-12-02", 2), ("2026-12-01", 0)])
def test_stones_of_a_refused_zone_are_not_planned_until_the_refusal_ends(until: str | None, refused_n: int) -> None:
    links = {"stone_id": ["a", "b"], "head_id": "H", "zone_id": "Z"}
    said = {"permission_id": ["p"], "zone_id": ["Z"], "status": ["refused"], "ref": ["letter 9"], "until": [until]}
    found = season(wetting_links=links, permissions=said)
    assert left(found).get("a zone that reaches them was asked for off and refused", 0) == refused_n
    assert found.loc[found["month"].notna(), "stones_n"].sum() == 3 - refused_n


def test_stones_without_minutes_have_their_own_reason_and_none_is_lost() -> None:
    found = season(worklist={**WORK, "work_min": [0.0, None, 20.0]})
    assert left(found) == {"the worklist has no minutes of work": 2}
    assert found["stones_n"].sum() == 3
    held = season(worklist={**WORK, "work_min": [0.0, 20.0, 20.0], "hold": ["moves", None, None],
                            "who": ["crew", "conservator only", "crew"]})  # fmt: skip
    assert left(held) == {"held: moves": 1, "for conservator only": 1}
