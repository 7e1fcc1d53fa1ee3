"""What to do for each stone, how long it takes, who may do it, and what holds it back."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from gravegis.analyses.worklist.settings import WorklistSettings, ids
from gravegis.contract import Analysis, Job, Result

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.science.care.gates import Gates
    from gravegis.science.care.history import Cleanings
    from gravegis.science.care.hot import HotHours
    from gravegis.science.care.permissions import Consents
    from gravegis.science.care.sizes import Sizes
    from gravegis.science.care.treatment import Care
    from gravegis.science.condition.scores import Findings, StoneScores
    from gravegis.site import Site

NO_HEAT = "no temperatures were worked out: dark stone is not wetted in the hot hours, by the time of day alone"


def run(site: Site, settings: WorklistSettings, job: Job) -> Result:
    """Turn findings into a list that harms neither stone nor people.

    Growth and loose soiling may be a crew's work. Iron, lime, salts, crusts and paint are a conservator's: they are
    listed with what will not come off today. Stone that is cracked, hollow, flaking or falls to grains is not
    wet-cleaned. Harm that was not named, and stones nobody has looked at, are looked at and recorded first. Parts of
    other material and ground to be spared take the cleaner away, or the crew. What moves is held; what nobody checked
    goes out with the leader's check as its first step, or waits for a trained tester when it is tall, heavy or leans.
    A stone waits where somebody's leave is not on file, and where it was cleaned lately. A gate that opens says what
    was recorded, not that nothing can happen.
    """
    import numpy as np

    from gravegis.analyses.worklist.assumed import assumed, not_there
    from gravegis.analyses.worklist.minutes import own_minutes, sizes_of
    from gravegis.analyses.worklist.priorities import priorities
    from gravegis.analyses.worklist.table import Made, notes_of, table_of
    from gravegis.layers.care import label_of
    from gravegis.science.care.effort import effort
    from gravegis.science.care.ways import choose_ways
    from gravegis.science.condition import scores

    stones, as_of = site["stones"], settings.as_of or _newest_date(site)
    job.progress(0.1, "findings and treatments")
    consents = _consents(site, stones, settings, as_of)
    findings, scored, care, spared = _care(site, stones, consents, settings)
    sizes, done = sizes_of(stones), _cleanings(site, stones, settings, as_of)
    ways = choose_ways(
        care, done.before, goal=settings.goal, order=settings.order, label=label_of(site.get("products")),
        rinse_kpa=settings.rinse_kpa,
    )  # fmt: skip
    job.progress(0.5, "gates")
    gates = _gates(stones, sizes, settings, as_of)
    work = effort(
        care, sizes, pace=settings.pace_factor, inspection_min=settings.inspection_min,
        leader_checks=gates.first_step != "", leader_check_min=settings.leader_check_min,
        ways=ways, actual=own_minutes(site, stones, settings),
        water_factor=settings.water_factor, cleaner_factor=settings.cleaner_factor,
    )  # fmt: skip
    job.progress(0.7, "hot hours")
    hot = _hot_hours(site, stones, settings)
    job.progress(0.8, "priorities")
    priority, why, fix_spray = priorities(site, stones, scores.worst_by_group(findings)["safety"] > 0, settings)
    made = Made(
        stones=stones, care=care, ways=ways, work=work, gates=gates, consents=consents, done=done, hot=hot,
        spared=spared, banned=stones["stone_id"].isin(ids(settings.ban)).to_numpy(), priority=priority, why=why,
        fix_spray=np.asarray(fix_spray), as_of=as_of,
    )  # fmt: skip
    frame = table_of(made)
    notes = (*notes_of(made, frame, int((scored.basis == "none").sum())), *not_there(stones, settings))
    return Result(layers={"worklist": frame}, notes=notes, assumed=assumed(site, settings, as_of, frame))


def _care(
    site: Site, stones: Frame, consents: Consents, settings: WorklistSettings
) -> tuple[Findings, StoneScores, Care, npt.NDArray[np.bool_]]:
    """Return findings, classes, the care within what parts, ground and leave allow, and the stones the ground holds."""
    from gravegis.layers.care import ground_limits, part_limits
    from gravegis.layers.stones import findings_of, numbers, words
    from gravegis.science.care.restrict import condition_limits, restricted
    from gravegis.science.care.treatment import treat_stones
    from gravegis.science.condition.scores import score_stones

    findings, _ = findings_of(stones, site.get("findings"))
    scored = score_stones(findings, numbers(stones, "stones", "quick_score"))
    care = _with_inspections(treat_stones(findings, scored, words(stones, "stones", "material")))
    limits = [
        *part_limits(stones, site.get("parts")),
        *ground_limits(stones, site.get("sensitive"), settings.buffer_m),
        *condition_limits(consents.conditions),
    ]
    return findings, scored, *restricted(care, limits)


def _with_inspections(care: Care) -> Care:
    """Let stones nobody has looked at be looked at: no findings is not the same as no harm."""
    import numpy as np

    from gravegis.science.care import treatment

    unseen = care.treatment == ""
    return replace(
        care,
        treatment=np.where(unseen, treatment.LOOK_FIRST, care.treatment),
        who=np.where(unseen, "crew", care.who),
        plan=tuple(treatment.LOOK_PLAN if new else old for new, old in zip(unseen, care.plan, strict=True)),
    )


def _gates(stones: Frame, sizes: Sizes, settings: WorklistSettings, as_of: str) -> Gates:
    import numpy as np

    from gravegis.layers.stones import days_before, numbers, words
    from gravegis.science.care import gates as gating

    limits = gating.GateLimits(
        height_m=settings.gate_height_m, mass_kg=settings.gate_mass_kg, lean_deg=settings.gate_lean_deg,
        valid_days=settings.check_valid_days,
    )  # fmt: skip
    days = days_before(stones, "stones", "stability_on", as_of) if as_of else np.full(len(stones), np.nan)
    stability = words(stones, "stones", "stability")
    return gating.gate_stones(stability, days, sizes, numbers(stones, "stones", "lean_deg"), limits=limits)


def _consents(site: Site, stones: Frame, settings: WorklistSettings, as_of: str) -> Consents:
    from gravegis.layers.care import ages_years, asked_of
    from gravegis.layers.stones import words
    from gravegis.science.care.permissions import consent_holds

    asked = asked_of(stones, site.get("permissions"), as_of)
    significance = words(stones, "stones", "significance")
    return consent_holds(significance, ages_years(stones, as_of), asked, young_years=settings.young_years)


def _cleanings(site: Site, stones: Frame, settings: WorklistSettings, as_of: str) -> Cleanings:
    import numpy as np

    from gravegis.layers.care import done_before
    from gravegis.science.care.history import cleanings

    rows, what, days = done_before(stones, site.get("treatments"), as_of)
    allowed = np.flatnonzero(stones["stone_id"].isin(ids(settings.clean_again)).to_numpy()).tolist()
    return cleanings(len(stones), rows, what, days, interval_days=settings.interval_days, allowed=allowed)


def _hot_hours(site: Site, stones: Frame, settings: WorklistSettings) -> HotHours:
    import pandas as pd

    from gravegis.layers.care import seconds_of
    from gravegis.layers.stones import numbers, words
    from gravegis.science.care import hot

    if not site.has("face_heat", "over_water_k"):
        return hot.by_rule(
            words(stones, "stones", "material"), seconds_of(settings.hot_from), seconds_of(settings.hot_to)
        )
    heat = site["face_heat"]
    places = pd.Series(range(len(stones)), index=stones["stone_id"])
    heat = heat[heat["stone_id"].isin(places.index)]
    times = [seconds_of(at) for at in heat["at"]]
    return hot.by_temperature(
        len(stones), places.loc[list(heat["stone_id"])].to_numpy(), times, numbers(heat, "face_heat", "over_water_k"),
        limit_k=settings.hot_limit_k,
    )  # fmt: skip


def _newest_date(site: Site) -> str:
    """Return the newest date of a survey, check, finding or treatment in the site; empty where there is none."""
    from gravegis.layers.canonical import column

    named = (
        ("stones", "stability_on"), ("stones", "surveyed_on"), ("findings", "found_on"), ("treatments", "done_on"),
    )  # fmt: skip
    dates = [column(site[layer], layer, name) for layer, name in named if layer in site]
    return max((str(day) for one in dates for day in one.dropna()), default="")


def _plain(*names: str) -> dict[str, str]:
    """Return columns that are read where there; nothing is assumed without them."""
    return dict.fromkeys(names, "")


USES: Mapping[str, Mapping[str, str]] = {
    "stones": {
        "material": "water and soft brush only, and only on stone",
        "form": "",
        "height_m": "the usual height of its form; without a form the leader leaves tall ones alone",
        "width_m": "the usual width of its form, else a tablet",
        "thickness_m": "the usual thickness of its form, else a tablet",
        "stability": "counts as unchecked: the leader checks first, or a trained tester",
        "stability_on": "a check without a date counts as none",
        **_plain(
            "lean_deg",
            "surveyed_on",
            "quick_score",
            "position_error_m",
            "position_basis",
            "section",
            "significance",
            "year",
        ),
    },
    "findings": {
        "*": "harm is not named: stones are looked at and recorded first, nothing is cleaned",
        **_plain("stone_id", "pattern", "severity", "extent_frac", "found_on"),
    },
    "heads": {"position_error_m": ""},
    "stone_condition": {"urgency": "no class of urgency: priorities come from the condition class"},
    "stone_wetting": {
        "*": "spray is not known: priorities come from the condition alone",
        **_plain("reached", "state", "margin_m", "season_h", "nearest_head_m", "nearest_head_id"),
    },
    "parts": {
        "*": "no parts of other material are on file: look for gilding, paint, lead and metal before you start",
        **_plain("stone_id", "part", "material"),
    },
    "sensitive": {
        "*": "no ground to be spared is on file: look for ponds, drains, hives and protected growth",
        "kind": "held: what it is was not said",
        "buffer_m": "the distance of the setting buffer_m is kept (common practice, no source)",
        **_plain("geometry", "sensitive_id"),
    },
    "permissions": {
        "*": "nobody's leave is on file: military markers, listed stones and young burials wait for it",
        **_plain("stone_id", "section", "kind", "status", "until", "conditions"),
        "zone_id": "",
    },
    "products": {
        "*": "no label of a cleaner is on file: strength and time are those of its label, no figures are printed",
        **_plain(
            "label",
            "kind",
            "strength",
            "dwell_low_min",
            "dwell_high_min",
            "not_with",
            "low_degc",
            "high_degc",
            "protective",
            "first_aid",
            "reentry_h",
            "uses",
        ),
    },
    "treatments": {
        "*": "nothing is known of earlier cleanings: each counts as the first",
        **_plain("stone_id", "what", "took_min", "done_on"),
    },
    "face_heat": {"*": NO_HEAT, **_plain("stone_id", "at", "over_water_k")},
}

ANALYSIS = Analysis(
    name="worklist",
    title="Worklist",
    question="What does each stone need, how long does it take, and who may do it?",
    needs={"stones": ("stone_id", "geometry"), "stone_condition": ("stone_id", "overall")},
    uses=USES,
    gives={
        "worklist": {
            "stone_id": "stone",
            "treatment": "what to do",
            "method": "in which way a crew cleans",
            "who": "who may do it",
            "skill": "what the crew must be trained in",
            "work_min": "planned crew minutes, soak not counted",
            "water_l": "litres of water",
            "cleaner_l": "litres of cleaner, ready to use",
            "concentrate_l": "litres of cleaner as sold",
            "priority": "1 to 3, 3 first",
            "hold": "what holds it back, missing where it may go out",
            "hold_reason": "why it is held, and by which rule",
            "first_step": "what the leader does before work starts",
            "steps": "steps in order",
            "stays": "harm that will not come off today",
            "not_from": "nobody wets it by hand from this time of day",
            "not_to": "until this time of day",
            "due_on": "day to look at it again, if worked on the day of work",
            "fix_spray": "a head still reaches it: mend the spray first",
            "reasons": "why",
        }
    },
    # one kind of first step is known so far; a ground where all stand firm has none; hot hours are those of dark stone
    may_be_missing=frozenset(
        {"worklist.first_step", "worklist.not_from", "worklist.not_to", "worklist.hold_reason", "worklist.hold"}
    ),
    settings=WorklistSettings,
    run=run,
    version=4,
    tables=(
        "care_steps",
        "care_ways",
        "done_kinds",
        "effort",
        "growth_forms",
        "hot_materials",
        "materials",
        "part_rules",
        "methods",
        "patterns",
        "permission_conditions",
        "permission_kinds",
        "permission_needs",
        "permission_states",
        "reasons",
        "sensitive_kinds",
        "stability",
        "stone_density",
        "stone_forms",
        "strengths",
        "treatments",
    ),
    facts=(),
    sources=(
        "treatments: gravegis/science/data/treatments.csv; what forbids them: contraindications.csv; a source per row",
        "ways of working, soak, look-again days: gravegis/science/data/care_ways.csv, common practice, no source",
        "minutes and litres: gravegis/science/data/effort.csv, common practice, no source",
        "parts, sensitive ground, permissions: gravegis/science/data, common practice, no source",
        "priorities: own rule",
    ),
)
