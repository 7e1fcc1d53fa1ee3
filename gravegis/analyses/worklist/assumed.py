"""What the worklist took for granted: the day ages count from, undated checks, every figure without a source."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING

from gravegis.analyses.worklist.settings import PRACTICE, ids
from gravegis.contract import Assumption, Number, listed

if TYPE_CHECKING:
    from gravegis.analyses.worklist.settings import WorklistSettings
    from gravegis.layers.canonical import Frame
    from gravegis.site import Site

__all__ = ["assumed", "not_there"]

_CLEANING = (
    "pace_factor", "water_factor", "cleaner_factor", "rinse_kpa", "interval_days", "container_l",
    "cleaner_container_l",
)  # fmt: skip


def assumed(site: Site, settings: WorklistSettings, as_of: str, frame: Frame) -> tuple[Assumption, ...]:
    """Return what was taken for checks, minutes and limits, with the figures used."""
    made = _checks(site, settings)
    cleaned_n, looked_n = int(frame["method"].notna().sum()), int((frame["treatment"] == "look and record first").sum())
    if cleaned_n:
        words = f"minutes, amounts of water and cleaner, soak and days to look again: {PRACTICE}"
        made.append(Assumption("worklist.work_min", words, cleaned_n))
    for what, names in _used(site, frame, looked_n=looked_n).items():
        figures = _figures(settings, names)
        if figures:
            made.append(Assumption("worklist", f"figures without a source {what}: {'; '.join(figures)}"))
    if as_of and not settings.as_of:
        words = (
            f"ages of stability checks count from {as_of}, the newest date in the site; set as_of to the day of work"
        )
        made.append(Assumption("worklist.as_of", words))
    return tuple(made)


def _checks(site: Site, settings: WorklistSettings) -> list[Assumption]:
    import pandas as pd

    from gravegis.layers.canonical import column
    from gravegis.layers.stones import words
    from gravegis.science.care.gates import stabilities

    stones = site["stones"]
    stability = words(stones, "stones", "stability")
    firm = pd.Series([stabilities().term(word) == "firm" for word in stability], dtype="bool")
    undated_n = int((column(stones, "stones", "stability_on").isna().to_numpy() & firm.to_numpy()).sum())
    unsaid_n = int(column(stones, "stones", "stability").isna().sum())
    limits = f"{settings.gate_height_m:g} m high, {settings.gate_lean_deg:g} degrees of lean"
    return [
        Assumption("stones.stability_on", "a check without a date counts as none", undated_n),
        Assumption(
            "stones.stability",
            f"counts as unchecked: the leader checks first, above {limits} or if heavy a trained tester",
            unsaid_n,
        ),
    ]


def _used(site: Site, frame: Frame, *, looked_n: int) -> dict[str, tuple[str, ...]]:
    """Return which settings had a part in this list, by what they are for; short enough for a line on paper each."""
    checks = ("leader_check_min",) if frame["first_step"].notna().any() else ()
    looks = ("inspection_min",) if looked_n else ()
    hot = ("hot_limit_k",) if site.has("face_heat") else ("hot_from", "hot_to") * bool(frame["not_from"].notna().any())
    ground = ("buffer_m",) if site.has("sensitive") else ()
    spray = ("long_spray_h",) if site.has("stone_wetting", "season_h") else ()
    return {
        "for checks": ("gate_height_m", "gate_mass_kg", "gate_lean_deg", "check_valid_days", *checks, *looks),
        "for leave, ground, sun and spray": ("young_years", *ground, *hot, *spray),
        "for work and load": _CLEANING if frame["method"].notna().any() else (),
    }


def _figures(settings: WorklistSettings, names: tuple[str, ...]) -> list[str]:
    """Return these settings with their values, those without a source only."""
    made = []
    for one in fields(settings):
        kind = one.metadata["kind"]
        if one.name in names and "no source" in kind.source:
            value = getattr(settings, one.name)
            unit = kind.unit if isinstance(kind, Number) and kind.unit != "1" else ""
            made.append(f"{one.name} {value:g} {unit}".strip() if isinstance(value, float) else f"{one.name} {value}")
    return made


def not_there(stones: Frame, settings: WorklistSettings) -> tuple[str, ...]:
    """Return a line per list typed by hand that names stones the site does not have."""
    known = set(stones["stone_id"])
    made = []
    for name in ("pin", "ban", "clean_again"):
        odd = [one for one in ids(getattr(settings, name)) if one not in known]
        if odd:
            made.append(f"There is no stone {listed(odd)}, named in {name}: nothing was done about it.")
    return tuple(made)
