"""Where harm gathers more than chance would have it, stone by stone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gravegis.contract import Analysis, Job, Result, choice, flag, number, whole
from gravegis.science.condition.harms import harms

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.science.condition.hotspots import HotSpots
    from gravegis.site import Site

    Floats = npt.NDArray[np.float64]

EVERY = "every harm"
CLEAR_Z = 3.0  # from here on it is said that neighbours are alike as a whole: common practice, no source
_COLUMNS = ("stone_id", "harm", "z", "p", "q", "neighbours_n", "state")


@dataclass(frozen=True, slots=True, kw_only=True)
class HotspotSettings:
    """Which harm, how near is near, and how sure one must be."""

    harm: str = choice(
        EVERY, "Harm to look at; each has its own map and its own correction.",
        options=(EVERY, "overall", *harms()), source="own choice: all that were recorded",
    )  # fmt: skip
    band_m: float = number(
        0.0, "Stones within this distance are neighbours; 0 takes the shortest at which half of the stones have a "
        "tenth of all for neighbours, at least 8, at most 40.",
        unit="m", low=0, high=500, source="own rule, from a trial with planted patches (see the method)",
    )  # fmt: skip
    false_share_frac: float = number(
        0.05, "Share of the stones called hot or cold that may be so by chance.",
        unit="1", low=0.001, high=0.5, source="common practice",
    )  # fmt: skip
    strict: bool = flag(
        default=False, help="Hold that share whatever way the tests hang together (Benjamini-Yekutieli); finds less.",
        source="own choice: Benjamini-Hochberg, which asks that neighbours are alike rather than opposite",
    )  # fmt: skip
    least_stones_n: int = whole(
        30, "With fewer stones looked at nothing is said.", low=10, high=1000,
        source="own rule: with 20 stones of which one in ten is harmed nothing could stand out",
    )  # fmt: skip


def run(site: Site, settings: HotspotSettings, job: Job) -> Result:
    """Compare the grades around each stone with those that dealing all grades out anew would bring (Gi*).

    Only stones that were looked at count; an unknown grade is left out, never taken for 0. The grade of a stone
    stays, those of the others are dealt out anew: the chance of a sum as large, and as small, as that of its
    neighbours is worked out exactly, nothing is simulated. Two-sided p is twice the smaller of both. Over the stones
    that have neighbours the share of false discoveries is held at 5 % (Benjamini & Hochberg). A stone without a
    neighbour within the band has a state of its own, and where no stone could stand out however the harm lay, all
    stones are called too few: that is not the same as nothing found.

    A wide band makes a patch look too wide: stones that stand out only because a place is near, while the harm right
    around them is that of the ground at large, are called beside it. With patches planted on the sample ground (90 %
    harmed, 10 % elsewhere, neighbours within 11.5 m) 98 % of the stones of patches 24 m wide were found, and 17 % of
    the stones called hot lay outside; 20 m wide 97 and 26 %, 16 m 90 and 37 %, 12 m 61 and 53 %. So a patch narrower
    than about two bands is found in part, or looks wider than it is; a shorter band finds fewer of its stones.

    Beside it, other programs: in a trial on invented ground the simulated p-values of a common library, taken as they
    come, coloured 6 of 6 maps of pure chance where one stone in twenty was harmed; these exact ones none (the picture
    of this page shows them beside each other).
    """
    import pandas as pd

    from gravegis.layers.canonical import empty
    from gravegis.layers.harms import grades_of
    from gravegis.layers.stones import places_m

    stones = site["stones"]
    job.progress(0.05, "grades of each harm")
    grades = grades_of(stones, site.get("findings"), site.get("stone_condition"))
    xy = places_m(stones)
    wanted = [name for name in grades.names if settings.harm in (EVERY, name)]
    rows, notes = [empty("stone_hotspots")[list(_COLUMNS)]], list[str]()
    for place, harm in enumerate(wanted):
        job.progress(0.1 + 0.85 * place / len(wanted), f"hot spots of {harm}")
        made, words = _of_harm(stones, xy, grades.grade_of(harm), settings)
        if made is not None:
            rows.append(made.assign(harm=harm)[list(_COLUMNS)])
        if words:
            notes.append(f"{harm.capitalize()}: {words}")
    job.progress(0.98, "summing up")
    table = pd.concat(rows[1:], ignore_index=True) if len(rows) > 1 else rows[0]
    return Result(layers={"stone_hotspots": table}, notes=_notes(notes, settings, found=len(rows) > 1))


def _of_harm(stones: Frame, xy: Floats, grade: Floats, settings: HotspotSettings) -> tuple[Frame | None, str]:
    """Return the rows of one harm and what they say; no rows and no words where nobody looked or none has it."""
    import numpy as np
    import pandas as pd

    from gravegis.errors import SettingError
    from gravegis.science.condition import hotspots

    known = np.flatnonzero(~np.isnan(grade) & np.isfinite(xy).all(axis=1))
    if not known.size or not (grade[known] > 0).any():
        return None, ""
    band_m = settings.band_m or hotspots.choose_band(xy[known])
    if np.isnan(band_m):
        band_m = 1.0  # too few stones whatever the band
    try:
        made = hotspots.find_hot_spots(
            xy[known], grade[known], band_m=band_m, alpha=settings.false_share_frac,
            least_stones=settings.least_stones_n, strict=settings.strict,
        )  # fmt: skip
    except SettingError as error:
        if settings.band_m:
            raise
        return None, f"not worked out: {error.problems[0].problem}; many stones seem to share one position."
    frame = pd.DataFrame(
        {
            "stone_id": stones["stone_id"].to_numpy()[known], "z": made.z, "p": made.p, "q": made.q,
            "neighbours_n": made.neighbours_n, "state": np.array(hotspots.STATES, dtype=object)[made.state],
        }
    )  # fmt: skip
    return frame, _words(stones.iloc[known], grade[known], made)


def _words(stones: Frame, grade: Floats, made: HotSpots) -> str:
    import numpy as np

    from gravegis.layers.canonical import column
    from gravegis.science.condition.hotspots import BESIDE, COLD, HOT, NO_NEIGHBOURS

    if made.why_too_few:
        return f"too few to tell: {made.why_too_few}."
    hot, cold, alone, beside = (int((made.state == one).sum()) for one in (HOT, COLD, NO_NEIGHBOURS, BESIDE))
    seen = f"{int((grade > 0).sum())} of {len(grade)} stones looked at have it"
    around = f"neighbours are those within {made.band_m:g} m, {int(np.median(made.neighbours_n))} for the middle stone"
    lonely = f"; {alone} have none" if alone else ""
    alike = made.alike
    how = "more alike" if alike.z > 0 else "less alike"
    whole = f"on the whole neighbours are {how} than by chance (Moran's I {alike.i:.2f}, z {alike.z:.1f})"
    if not hot + cold:  # whoever stands beside a place has one
        also = f"; {whole}" if abs(alike.z) > CLEAR_Z else ""
        return f"{seen}; no place stands out from chance ({around}{lonely}){also}."
    sections = column(stones, "stones", "section")[made.state == HOT].fillna("no section").value_counts()
    where = ", ".join(f"{name} {count}" for name, count in sorted(sections.items(), key=lambda one: (-one[1], one[0])))
    hot_words = f"{hot} stones stand in hot spots" + (f" (sections: {where})" if where else "")
    near = f", {beside} beside either" if beside else ""
    return f"{seen}; {hot_words}, {cold} in cold spots{near} ({around}{lonely})."


def _notes(said: list[str], settings: HotspotSettings, *, found: bool) -> tuple[str, ...]:
    if not found and not said:
        return ("No harm is recorded on a stone with a position: there are no hot spots to look for.",)
    share = f"{settings.false_share_frac:.0%}".replace("%", " %")
    return (
        *said,
        f"Hot (cold) means: more (less) of the harm around the stone than dealing the grades out anew would bring; of "
        f"the stones so called about {share} may be so by chance. It says where harm gathers, not why.",
    )


ANALYSIS = Analysis(
    name="hotspots",
    title="Hot and cold spots of harm",
    question="Where does harm gather more than chance would have it?",
    needs={"stones": ("stone_id", "geometry")},
    uses={
        "stones": {"quick_score": "", "section": ""},
        "findings": {"stone_id": "", "pattern": "", "severity": "", "found_on": ""},
        "stone_condition": {"stone_id": "", "overall": ""},
    },
    gives={
        "stone_hotspots": {
            "stone_id": "stone",
            "harm": "harm looked at, or overall for the condition class",
            "z": "Gi*: sum of grades of the stone and its neighbours in standard deviations from its mean",
            "p": "exact two-sided chance of so extreme a sum",
            "q": "p after correction for the number of stones",
            "neighbours_n": "stones within the band, itself not counted",
            "state": "hot, cold, beside (a hot or cold place, not in it), not significant, no neighbours or too few",
        }
    },
    # a ground too small to say anything has neither figures nor states to choose from
    may_be_missing=frozenset(f"stone_hotspots.{name}" for name in ("harm", "z", "p", "q", "neighbours_n", "state")),
    settings=HotspotSettings,
    run=run,
    version=2,
    tables=("harms", "patterns"),
    facts=(),
    sources=(
        "Gi*: Ord & Getis 1995, Geographical Analysis 27 (formula from memory, equal to another library's)",
        "exact conditional permutation law of a sum of grades: own derivation from the multivariate hypergeometric law",
        "false discoveries: Benjamini & Hochberg 1995; strict: Benjamini & Yekutieli 2001",
        "harms: families of the ICOMOS-ISCS glossary 2008, cut by own rule (harms.csv)",
    ),
)
