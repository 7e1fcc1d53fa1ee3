"""How well positions are known, so that no page tells a distance they do not carry."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gravegis.layers.position_error import UNKNOWN_M, known_errors_m

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.site import Site

__all__ = ["errors_m", "typical_error_m"]


def errors_m(site: Site, layer: str, id_column: str) -> dict[str, float]:
    """Return the standard error of the position of each stone or head: given, by how it was got, or taken. [m]

    The same rule as in analysis ``wetting``, with the default it was run with.
    """
    if not site.has(layer):
        return {}
    frame = site[layer]
    error_m = known_errors_m(frame, layer, _default_m(site)).tolist()
    return dict(zip(frame[id_column].astype(str), error_m, strict=True))


def _default_m(site: Site) -> float:
    found = [record.settings.get("position_error_m") for record in site.log if record.analysis == "wetting"]
    return float(found[0]) if found and isinstance(found[0], (int, float)) else UNKNOWN_M


def typical_error_m(site: Site) -> float | None:
    """Return the usual error of a distance between a stone and a head that reaches it; None without stones or heads.

    Over the pairs of ``wetting_links`` where there are any, else over all stones and heads together. [m]
    """
    stones, heads = errors_m(site, "stones", "stone_id"), errors_m(site, "heads", "head_id")
    if not stones or not heads:
        return None
    pairs = _pairs(site, stones, heads)
    if not len(pairs):
        pairs = np.array([[np.median(list(stones.values())), np.median(list(heads.values()))]])
    return float(np.median(np.hypot(pairs[:, 0], pairs[:, 1])))


def _pairs(site: Site, stones: dict[str, float], heads: dict[str, float]) -> npt.NDArray[Any]:
    if not site.has("wetting_links"):
        return np.zeros((0, 2))
    links = site["wetting_links"]
    both = zip(links["stone_id"], links["head_id"], strict=True)
    return np.array([(stones[s], heads[h]) for s, h in both if s in stones and h in heads]).reshape(-1, 2)
