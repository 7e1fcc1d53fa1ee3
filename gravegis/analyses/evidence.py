"""Does wetting explain the harm: within stones, within strata, by head, by dose, and what else may explain it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.contract import Analysis, Assumption, Job, Result, choice, listed, number, whole
from gravegis.science.condition.harms import harms

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.layers.exposure import Exposure
    from gravegis.layers.sprayed_faces import FacePairs
    from gravegis.science.condition.evidence import Row, Witnesses
    from gravegis.site import Site

    Floats = npt.NDArray[np.float64]
    Flags = npt.NDArray[np.bool_]

EVERY = "every harm"
MIXED = 0.5  # strata in which fewer of the stones stand beside their opposite cannot take a cause out: own rule
_COLUMNS = ("harm", "measure", "stratum", "estimate", "low", "high", "p", "n", "note")
_CONTROLS_N = 10
_LIMITS = (
    "What this does not show: wetting is worked out or seen on few days, and where it is wrong the figures come out "
    "too near to 1; stained stones may have been looked at more closely; of the many figures one in twenty falls below "
    "p 0.05 by chance; two things that go together need not be cause and effect. A head mended, and the same "
    "stones looked at again, shows more than any of this."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceSettings:
    """Which harm, how many stones a comparison needs, and how near two edges must be."""

    harm: str = choice(
        EVERY, "Harm to look at.", options=(EVERY, "overall", *harms()), source="own choice: all that were recorded"
    )
    least_dry_n: int = whole(
        20, "Wetted and dry stones of known harm that a comparison between stones needs, each.",
        low=5, high=1000, source="own rule: with fewer a difference of one in three passes unseen",
    )  # fmt: skip
    least_harmed_n: int = whole(
        5, "Fewest stones with a harm before anything is said of it.", low=2, high=1000, source="own rule"
    )
    edge_m: float = number(
        0.1, "Stain edge and wet edge this far apart count as the same.",
        unit="m", low=0.01, high=1, source="own choice: a hand's breadth, no source",
    )  # fmt: skip


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
    import pandas as pd

    from gravegis.layers.canonical import empty
    from gravegis.layers.exposure import exposure_of
    from gravegis.layers.harms import grades_of
    from gravegis.layers.sprayed_faces import face_pairs
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
        made, said = _Case(site, harm, present, exposure, pairs, settings, job, order).told()
        rows += made
        notes += said
    job.progress(0.98, "summing up")
    if rows:
        table = pd.DataFrame([{name: getattr(one, name) for name in _COLUMNS} for one in rows])
    else:
        table = empty("association")[list(_COLUMNS)]
    for name in ("estimate", "low", "high"):
        # an infinite end of an interval is said in the note; files do not keep infinity
        table[name] = table[name].where(np.isfinite(table[name].astype("float64")), np.nan)
    if not rows and not notes:
        return Result(layers={"association": table}, notes=(_NOTHING,))
    notes += [*_controls(site, exposure, grades.present_of("overall"), settings), *_not_known(site, exposure), _LIMITS]
    by_place = any(one.measure == PAIRS for one in rows) and not site.has("face_wetting", "mm_h")
    assumed = (Assumption("face_wetting", _BY_PLACE),) if by_place else ()
    return Result(layers={"association": table}, notes=tuple(notes), assumed=assumed)


_BY_PLACE = (
    "which face is sprayed is taken from where the heads stand that reach the stone: within 60 degrees of the way it "
    "looks, the nearer the more; the face opposite is in the lee with at most a quarter of that: own rule"
)
_NOTHING = "No harm is recorded on enough stones: there is no evidence for or against the water yet."


@dataclass(frozen=True, slots=True)
class _Case:
    """One harm on one site."""

    site: Site
    harm: str
    present: Floats
    exposure: Exposure
    pairs: FacePairs
    settings: EvidenceSettings
    job: Job
    order: npt.NDArray[np.intp]  # stones from west to east, so that no sum or chance hangs on their names

    def told(self) -> tuple[list[Row], list[str]]:
        """Return the rows and the words about this harm."""
        from gravegis.layers.exposure import set_apart
        from gravegis.science.condition import evidence

        apart, unplaced = set_apart(self.site, self.harm)
        away = np.zeros(len(self.present), dtype=np.bool_)
        for at in apart.values():
            away |= at
        w = self._witnesses(away)
        within = self._within_stones(away)
        rows = [*within, *self._edges(away)]
        unpaired = evidence.enough(w, self.settings.least_dry_n)
        if unpaired:
            rows += self._between_stones(w)
        rows += self._by_state(away)
        for cause, at in apart.items():
            known = at & ~np.isnan(self.present)
            harmed = self.present[known] == 1
            note = "not counted in any other figure of this harm; interval of Wilson"
            rows.append(evidence.share_row(self.harm, "share harmed, set apart", cause, harmed, note))
        return rows, self._words(rows, w, apart, unplaced, unpaired=unpaired)

    def _witnesses(self, away: Flags) -> Witnesses:
        from gravegis.science.condition.evidence import Witnesses

        one = self.exposure
        everything = Witnesses(
            self.harm, self.present == 1, one.wetted == 1, one.head, one.ratio, one.hours,
            one.strata if "material" in one.strata else {**one.strata, "material": np.full(len(away), "any")},
        )  # fmt: skip
        kept = ~np.isnan(self.present) & ~np.isnan(one.wetted) & ~away
        return everything.some(self.order[kept[self.order]])

    def _between_stones(self, w: Witnesses) -> list[Row]:
        from gravegis.science.condition import evidence

        rows = evidence.crude(w)
        for one in self._strata_names():
            rows += evidence.by_strata(w, one)
        self.job.check()
        rows += evidence.by_head(w, self.job.rng(f"heads {self.harm}"), within="material")
        return rows + evidence.by_dose(w, within="material")

    def _strata_names(self) -> list[tuple[str, ...]]:
        names: list[tuple[str, ...]] = [(one,) for one in self.exposure.strata]
        both = [("material", "section")] if {"material", "section"} <= set(self.exposure.strata) else []
        return [*names[:2], *both, *names[2:]]

    def _inseparable(self, w: Witnesses) -> list[str]:
        """Return in what wetted and dry stones differ altogether."""
        from gravegis.science.condition.evidence import mixed_share

        return [one for one in self.exposure.strata if mixed_share(w, (one,)) < MIXED]

    def _within_stones(self, away: Flags) -> list[Row]:
        """Return sprayed against lee faces: of all stones, and of each section."""
        from gravegis.layers.sprayed_faces import harmed_faces
        from gravegis.layers.stones import words
        from gravegis.science.condition.evidence import ALL, PAIRS, row
        from gravegis.science.condition.pairs import compare_faces

        findings = self.site.get("findings")
        if findings is None or self.harm == "overall":
            return []
        stones = self.site["stones"]
        faces = harmed_faces(stones, findings, self.harm)
        at = np.arange(len(stones))
        one, other = faces[at, self.pairs.sprayed], faces[at, self.pairs.lee]
        used = (self.pairs.sprayed >= 0) & ~np.isnan(one) & ~np.isnan(other) & ~away
        section = np.array([name or "" for name in words(stones, "stones", "section")], dtype=np.str_)
        rows = []
        for stratum in (ALL, *np.unique(section[used & (section != "")]).tolist()):
            here = used if stratum == ALL else used & (section == stratum)
            made = compare_faces(one[here] == 1, other[here] == 1)
            if made.sprayed_only + made.lee_only:
                note = (
                    f"stones with the harm on the sprayed face only {made.sprayed_only}, on the lee face only "
                    f"{made.lee_only}, on both {made.both}, on neither {made.neither}; McNemar, exact"
                    + "; infinite: no lee face alone has it"
                    * (made.lee_only == 0)
                )
                rows.append(
                    row(self.harm, PAIRS, stratum if stratum == ALL else f"section: {stratum}", made.odds, made.n, note)
                )
        return rows + self._face_doses(faces, away)

    def _face_doses(self, faces: Floats, away: Flags) -> list[Row]:
        """Return the conditional regression on the water per face, where the wetting gives it."""
        from gravegis.science.condition.association import Estimate
        from gravegis.science.condition.evidence import ALL, row
        from gravegis.science.condition.logistic import conditional_logistic

        if not self.site.has("face_wetting", "mm_h"):
            return []
        dose, faces, away = self.pairs.dose[self.order], faces[self.order], away[self.order]
        known = ~np.isnan(faces) & ~np.isnan(dose) & ~away[:, None]
        stone = np.broadcast_to(np.arange(len(faces))[:, None], faces.shape)
        fit = conditional_logistic(faces[known] == 1, dose[known], stone[known])
        if not fit.stones_n or fit.separated:
            return []
        odds = [float(np.exp(min(one, 700.0))) for one in (fit.b, fit.low, fit.high)]
        value = Estimate(odds[0], odds[1], odds[2], fit.p)
        note = "upright faces of the same stone, per millimetre of water an hour; conditional logistic regression"
        return [row(self.harm, "odds ratio within stones per mm/h", ALL, value, fit.stones_n, note)]

    def _edges(self, away: Flags) -> list[Row]:
        """Return how the height of stain edges follows that of wet edges seen on the same stones."""
        import pandas as pd

        from gravegis.layers.canonical import column
        from gravegis.science.condition.evidence import ALL, row
        from gravegis.science.condition.pairs import compare_edges

        sources = [("findings", "height_to_m"), ("observations", "wet_to_m")]
        if self.harm not in ("staining", "encrustation") or not all(self.site.has(*one) for one in sources):
            return []
        ids = self.site["stones"]["stone_id"]
        found = self.site["findings"]
        found = found[_is_harm(found, self.harm)]
        heights = []
        for frame, (layer, name) in ((found, sources[0]), (self.site["observations"], sources[1])):
            top = pd.DataFrame({"id": column(frame, layer, "stone_id"), "m": column(frame, layer, name)})
            heights.append(top.groupby("id")["m"].max().reindex(ids).to_numpy(dtype="float64", na_value=np.nan))
        stain, wet = (np.where(away, np.nan, one) for one in heights)
        stain, wet = stain[self.order], wet[self.order]
        made = compare_edges(stain, wet, tolerance_m=self.settings.edge_m, rng=self.job.rng(f"edges {self.harm}"))
        if np.isnan(made.shuffled_p):
            return []
        note = (
            f"height of the stain less that of the wet edge seen on the stone [m]; within {self.settings.edge_m:g} m "
            f"on {made.near_share:.0%}, by chance on {made.chance_near_share:.0%} (p {made.shuffled_p:.2g}); the p in "
            "the column says only whether stains end higher or lower on the whole"
        )
        return [row(self.harm, "stain edge less wet edge", ALL, made.shift, made.n, note)]

    def _by_state(self, away: Flags) -> list[Row]:
        """Return the share of harmed stones by the word of the wetting, where it gives one."""
        from gravegis.science.condition.evidence import share_row

        state, rows = self.exposure.state, []
        for word in np.unique(state[state != ""]).tolist():
            at = (state == word) & ~np.isnan(self.present) & ~away
            if at.any():
                note = "as worked out by the wetting; interval of Wilson"
                rows.append(share_row(self.harm, "share harmed by state", word, self.present[at] == 1, note))
        return rows

    def _words(
        self, rows: list[Row], w: Witnesses, apart: dict[str, Flags], unplaced: tuple[str, ...], *, unpaired: bool
    ) -> list[str]:
        """Return what was found, how sure it is, and what follows, for a reader without statistics."""
        from gravegis.science.condition import evidence_words

        wet_n = int(w.wetted.sum())
        counts = (
            f"stones are not compared with each other: {wet_n} wetted and {w.n - wet_n} dry ones of known harm, "
            f"each must be {self.settings.least_dry_n}"
        )
        inseparable = self._inseparable(w) if unpaired else []
        said = evidence_words.pair_words(rows)
        said += evidence_words.between_words(rows, inseparable) if unpaired else [counts]
        said += [f"set apart for another cause: {int(at.sum())} stones ({cause})" for cause, at in apart.items()]
        said += [f"{one}: not set apart" for one in unplaced]
        return [f"{self.harm.capitalize()}: {'; '.join(said)}. {evidence_words.verdict(rows, inseparable)}"]


def _is_harm(findings: Frame, harm: str) -> npt.NDArray[np.bool_]:
    from gravegis.science.condition.harms import harm_of
    from gravegis.science.condition.scores import find_term

    return np.array([harm_of(find_term(one)) == harm for one in findings["pattern"]], dtype=np.bool_)


def _controls(site: Site, exposure: Exposure, overall: Floats, settings: EvidenceSettings) -> list[str]:
    """Return which stones to survey so that wetted ones can be compared with dry ones."""
    known_dry = int(((exposure.wetted == 0) & ~np.isnan(overall)).sum())
    if known_dry >= settings.least_dry_n:
        return []
    ids = site["stones"]["stone_id"].to_numpy()
    candidates = np.flatnonzero((exposure.wetted == 0) & np.isnan(overall))
    if candidates.size:
        material = exposure.strata.get("material", np.full(len(ids), ""))
        wet, count = np.unique(material[exposure.wetted == 1], return_counts=True)
        common = dict(zip(wet.tolist(), count.tolist(), strict=True))
        order = sorted(candidates.tolist(), key=lambda at: (-common.get(str(material[at]), 0), str(ids[at])))
        names = [str(ids[at]) for at in order]
        return [
            f"Survey these dry stones too, they are what wetted ones can be held against: {listed(names, _CONTROLS_N)}."
        ]
    return [
        "No dry stone is left to survey here. What still tells: the sheltered faces of the same stones (note the face "
        "of each finding), stones of the same material on ground without irrigation, and how high stains reach."
    ]


def _not_known(site: Site, exposure: Exposure) -> list[str]:
    """Return which other explanations the site holds nothing about."""
    held = set(exposure.strata)
    lacking = [name for name in ("material", "section", "age", "surveyor", "shade") if name not in held]
    lacking += [words for layer, words in _OTHER.items() if not site.has(layer)]
    return [f"Nothing to tell apart by: {', '.join(lacking)}. They may explain what is found here."] if lacking else []


_OTHER = {"grounds_log": "iron feed and sprays on the turf", "parts": "iron and bronze parts of the stones"}

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
            **dict.fromkeys(("reached", "nearest_head_id", "nearest_head_m", "season_h"), ""),
        },
        "wetting_links": {"stone_id": "", "head_id": ""},
        "face_wetting": {"stone_id": "", "face": "", "mm_h": ""},
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
