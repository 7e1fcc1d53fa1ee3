"""Does wetting explain the harm: within stones, within strata, by head, by dose, and what else may explain it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.analyses.evidence.settings import EVERY, EvidenceSettings
from gravegis.contract import Analysis, Assumption, Job, Result

if TYPE_CHECKING:
    from gravegis.layers.canonical import Frame
    from gravegis.science.condition.evidence import Row
    from gravegis.site import Site

_COLUMNS = ("harm", "measure", "stratum", "estimate", "low", "high", "p", "n", "note")
_LIMITS = (
    "What this does not show: wetting is worked out or seen on few days, and where it is wrong the figures come out "
    "too near to 1; stained stones may have been looked at more closely; of the many figures one in twenty falls below "
    "p 0.05 by chance; two things that go together need not be cause and effect. A head mended, and the same "
    "stones looked at again, shows more than any of this."
)


def run(site: Site, settings: EvidenceSettings, job: Job) -> Result:
    """Hold harm against wetting, the strongest evidence first, and set apart what has another cause.

    Within stones: the sprayed face against the face in the lee of the same stone (McNemar, exact), which shares
    material, age and shade; and the height at which stains end against the height to which water reaches. Between
    stones, only where enough dry stones of known harm stand: odds ratio of wetted against dry with Woolf's and the
    exact interval; the same within material, section, age, surveyor and shade (Mantel-Haenszel), one figure only
    where strata agree (Breslow-Day-Tarone), else one per stratum; whole heads dealt out anew, for stones under one
    head are not independent; fall with distance over throw and rise with hours (logistic, errors by head).

    Stones with rust beside their own iron, on ground fed with iron or sprayed, are set apart, not counted as spray.
    A stone of which a harm or the wetting is unknown is left out, never taken as sound or dry.
    """
    from gravegis.analyses.evidence.beside import controls, not_known
    from gravegis.analyses.evidence.case import Case
    from gravegis.layers.exposure import exposure_of
    from gravegis.layers.harms import grades_of
    from gravegis.layers.sprayed_faces import face_pairs, face_water
    from gravegis.layers.stones import places_m
    from gravegis.science.condition.evidence import PAIRS

    stones, findings = site["stones"], site.get("findings")
    job.progress(0.05, "who is wetted")
    exposure, pairs = exposure_of(site), face_pairs(site)
    grades = grades_of(stones, findings, site.get("stone_condition"))
    xy = places_m(stones)
    order = np.lexsort((xy[:, 1], xy[:, 0]))
    rows: list[Row] = []
    notes: list[str] = []
    wanted = [name for name in grades.names if settings.harm in (EVERY, name)]
    for place, harm in enumerate(wanted):
        job.progress(0.1 + 0.85 * place / len(wanted), f"evidence on {harm}")
        present = grades.present_of(harm)
        harmed_n = int(np.nansum(present))
        if harmed_n < settings.least_harmed_n:
            if harmed_n:
                notes.append(f"{harm.capitalize()}: on {harmed_n} stones only, too few to say anything.")
            continue
        made, said = Case(site, harm, present, exposure, pairs, settings, job, order).told()
        rows += made
        notes += said
    job.progress(0.98, "summing up")
    table = _table(rows)
    if not rows and not notes:
        return Result(layers={"association": table}, notes=(_NOTHING,))
    notes += [*controls(site, exposure, grades.present_of("overall"), settings), *not_known(site, exposure), _LIMITS]
    placed_n = int(pairs.placed.sum()) if any(one.measure == PAIRS for one in rows) else 0
    # without any water of faces it is so for every stone
    assumed = (Assumption("face_wetting", _BY_PLACE, placed_n if face_water(site) else None),) if placed_n else ()
    return Result(layers={"association": table}, notes=tuple(notes), assumed=assumed)


def _table(rows: list[Row]) -> Frame:
    import pandas as pd

    from gravegis.layers.canonical import empty

    if rows:
        table = pd.DataFrame([{name: getattr(one, name) for name in _COLUMNS} for one in rows])
    else:
        table = empty("association")[list(_COLUMNS)]
    for name in ("estimate", "low", "high"):
        # an infinite end of an interval is said in the note; files do not keep infinity
        table[name] = table[name].where(np.isfinite(table[name].astype("float64")), np.nan)
    return table


_BY_PLACE = (
    "which face is sprayed is taken from where the heads stand that reach the stone: within 60 degrees of the way it "
    "looks, the nearer the more; the face opposite is in the lee with at most a quarter of that: own rule"
)
_NOTHING = "No harm is recorded on enough stones: there is no evidence for or against the water yet."


ANALYSIS = Analysis(
    name="evidence",
    title="Does wetting explain the harm",
    question="Does wetting go together with harm, how sure is that, and what else may explain it?",
    needs={"stones": ("stone_id", "geometry")},
    uses={
        "stones": dict.fromkeys(("material", "section", "year", "facing_deg", "quick_score", "surveyed_on"), ""),
        "findings": dict.fromkeys(
            ("stone_id", "pattern", "severity", "face", "height_to_m", "found_on", "by", "note"), ""
        ),
        "stone_condition": {"stone_id": "", "overall": ""},
        "stone_wetting": {
            "*": "wetting is not worked out: no stone is known to be wetted or dry",
            **dict.fromkeys(("reached", "state", "nearest_head_id", "nearest_head_m", "season_h"), ""),
        },
        "wetting_links": {"stone_id": "", "head_id": ""},
        "face_wetting": {"stone_id": "", "face": "", "rate_l_m2_h": "", "season_l_m2": ""},
        "heads": {"head_id": "", "geometry": ""},
        "throws_computed": {"head_id": "", "throw_m": ""},
        "observations": dict.fromkeys(("stone_id", "face", "seen", "seen_on", "wet_to_m"), ""),
        "grounds_log": dict.fromkeys(("what", "done_on", "section", "geometry"), ""),
        "parts": {"stone_id": "", "material": ""},
        "shade": {"geometry": ""},
    },
    gives={
        "association": {
            "harm": "harm looked at, or overall for any recorded harm",
            "measure": "what the estimate is",
            "stratum": "all, or the stones it is about",
            "estimate": "the figure; missing where it is not finite",
            "low": "lower end of its 95 percent interval",
            "high": "upper end",
            "p": "two-sided p",
            "n": "stones, faces or heads it rests on",
            "note": "how it was got and what it does not show",
        }
    },
    may_be_missing=frozenset(f"association.{name}" for name in ("estimate", "low", "high", "p", "n", "note")),
    settings=EvidenceSettings,
    run=run,
    version=1,
    tables=("harms", "materials", "other_causes", "patterns"),
    facts=("crs", "seed"),
    sources=(
        "odds ratio: Woolf 1955, Fisher, Cornfield 1956; strata: Mantel & Haenszel 1959, Robins et al. 1986, Breslow & "
        "Day 1980, Tarone 1985; pairs: McNemar 1947 (dates from memory, unconfirmed)",
        "errors by head: sandwich over clusters, Liang & Zeger 1986 (date from memory); whole heads: own design",
        "other causes: gravegis/science/data/other_causes.csv, a source per row",
    ),
)
