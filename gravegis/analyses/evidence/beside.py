"""What stands beside the figures: which stones to survey, and what else may explain them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.contract import listed

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.analyses.evidence.settings import EvidenceSettings
    from gravegis.layers.exposure import Exposure
    from gravegis.site import Site

    Floats = npt.NDArray[np.float64]

__all__ = ["controls", "not_known"]

_CONTROLS_N = 10


def controls(site: Site, exposure: Exposure, overall: Floats, settings: EvidenceSettings) -> list[str]:
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


def not_known(site: Site, exposure: Exposure) -> list[str]:
    """Return which other explanations the site holds nothing about."""
    held = set(exposure.strata)
    lacking = [name for name in ("material", "section", "age", "surveyor", "shade") if name not in held]
    lacking += [words for layer, words in _OTHER.items() if not site.has(layer)]
    return [f"Nothing to tell apart by: {', '.join(lacking)}. They may explain what is found here."] if lacking else []


_OTHER = {"grounds_log": "iron feed and sprays on the turf", "parts": "iron and bronze parts of the stones"}
