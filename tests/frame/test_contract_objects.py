from __future__ import annotations

from dataclasses import dataclass

import pytest

from gravegis.contract import Analysis, Job, Result, choice, flag, number, text, whole
from gravegis.errors import Cancelled, PluginError, SettingError
from gravegis.site import Site, SiteInfo


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    near_m: float = number(2.0, "Near.", unit="m", low=0, high=5, source="test")
    heads_n: int = whole(3, "Heads.", low=0, high=9, source="test")
    rule: str = choice("any", "Rule.", options=("any", "all"), source="test")
    strict: bool = flag(default=False, help="Strict.", source="test")
    day: str = text("", "Day.", form="a date", source="test")


def run(site: Site, settings: Reach, job: Job) -> Result:
    """Do nothing."""
    del site, job
    return Result(notes=(f"{settings.near_m}",))


ONE = Analysis(
    name="one", title="One", question="One?", needs={"stones": ("stone_id",)}, uses={}, gives={}, settings=Reach,
    run=run, version=1, sources=("test",),
)  # fmt: skip


def test_typed_outranks_saved_outranks_default() -> None:
    assert ONE.read({}).near_m == 2.0
    assert ONE.read({}, {"near_m": 3.0, "strict": True}) == Reach(near_m=3.0, strict=True)
    assert ONE.read({"near_m": "3 ft"}, {"near_m": 3.0}).near_m == pytest.approx(0.9144)


def test_all_wrong_settings_are_said_at_once_with_their_place() -> None:
    with pytest.raises(SettingError) as caught:
        ONE.read({"near_m": "9", "heads_n": "1.5", "rule": "some", "strict": "maybe", "color": "red"})
    words = str(caught.value)
    assert len(caught.value.problems) == 5
    for place in ("one.near_m", "one.heads_n", "one.rule", "one.strict", "color"):
        assert place in words
    assert "outside 0 to 5 m" in words


def test_a_missing_need_is_an_error_that_names_it() -> None:
    with pytest.raises(PluginError, match="stones"):
        ONE.work(Site(SiteInfo("t", "EPSG:7854")))


def test_chance_comes_from_site_seed_and_name_only() -> None:
    assert Job(seed=5).rng("a").random() == Job(seed=5).rng("a").random()
    assert Job(seed=5).rng("a").random() != Job(seed=5).rng("b").random()
    assert Job(seed=5).rng("a").random() != Job(seed=6).rng("a").random()


def test_cancelled_job_stops_at_progress() -> None:
    with pytest.raises(Cancelled):
        Job(cancelled=lambda: True).progress(0.5, "half")
