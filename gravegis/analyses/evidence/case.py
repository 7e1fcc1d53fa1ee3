"""One harm on one site: the rows of evidence and what they say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.analyses.evidence.settings import EvidenceSettings
    from gravegis.contract import Job
    from gravegis.layers.canonical import Frame
    from gravegis.layers.exposure import Exposure
    from gravegis.layers.sprayed_faces import FacePairs
    from gravegis.science.condition.evidence import Row, Witnesses
    from gravegis.site import Site

    Floats = npt.NDArray[np.float64]
    Flags = npt.NDArray[np.bool_]

__all__ = ["Case"]

MIXED = 0.5  # strata in which fewer of the stones stand beside their opposite cannot take a cause out: own rule


@dataclass(frozen=True, slots=True)
class Case:
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
        from gravegis.science.condition import evidence, evidence_words
        from gravegis.science.condition.association import Estimate

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
        inseparable = self._inseparable(w) if unpaired else []
        said = evidence_words.verdict(rows, inseparable)
        words = f"{self._words(rows, w, apart, unplaced, inseparable, unpaired=unpaired)} {said}"
        nothing = Estimate(np.nan, np.nan, np.nan, np.nan)
        rows.append(evidence.row(self.harm, evidence.VERDICT, evidence.ALL, nothing, w.n, said))
        return rows, [words]

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
        from gravegis.layers.sprayed_faces import WATER, face_water
        from gravegis.science.condition.association import Estimate
        from gravegis.science.condition.evidence import ALL, row
        from gravegis.science.condition.logistic import conditional_logistic

        name = face_water(self.site)
        if not name:
            return []
        unit = 100.0 if name == "season_l_m2" else 1.0
        dose, faces, away = self.pairs.dose[self.order] / unit, faces[self.order], away[self.order]
        known = ~np.isnan(faces) & ~np.isnan(dose) & ~away[:, None]
        stone = np.broadcast_to(np.arange(len(faces))[:, None], faces.shape)
        fit = conditional_logistic(faces[known] == 1, dose[known], stone[known])
        if not fit.stones_n or fit.separated:
            return []
        odds = [float(np.exp(min(one, 700.0))) for one in (fit.b, fit.low, fit.high)]
        value = Estimate(odds[0], odds[1], odds[2], fit.p)
        note = f"upright faces of the same stone, per {WATER[name]} as worked out; conditional logistic regression"
        return [row(self.harm, f"odds ratio within stones by {name}", ALL, value, fit.stones_n, note)]

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
        self, rows: list[Row], w: Witnesses, apart: dict[str, Flags], unplaced: tuple[str, ...],
        inseparable: list[str], *, unpaired: bool,
    ) -> str:  # fmt: skip
        """Return what was found and how sure it is, for a reader without statistics."""
        from gravegis.science.condition import evidence_words

        wet_n = int(w.wetted.sum())
        counts = (
            f"stones are not compared with each other: {wet_n} wetted and {w.n - wet_n} dry ones of known harm, "
            f"each must be {self.settings.least_dry_n}"
        )
        said = evidence_words.pair_words(rows)
        said += evidence_words.between_words(rows, inseparable) if unpaired else [counts]
        said += [f"set apart for another cause: {int(at.sum())} stones ({cause})" for cause, at in apart.items()]
        said += [f"{one}: not set apart" for one in unplaced]
        return f"{self.harm.capitalize()}: {'; '.join(said)}."


def _is_harm(findings: Frame, harm: str) -> npt.NDArray[np.bool_]:
    from gravegis.science.condition.harms import harm_of
    from gravegis.science.condition.scores import find_term

    return np.array([harm_of(find_term(one)) == harm for one in findings["pattern"]], dtype=np.bool_)
