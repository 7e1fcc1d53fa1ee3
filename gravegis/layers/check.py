"""What is wrong or doubtful in the layers of a site, so that it is mended before figures are believed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from gravegis.errors import Problem
from gravegis.layers import schema
from gravegis.layers.canonical import column
from gravegis.layers.links import broken
from gravegis.layers.proposals import facings_by_photo, sizes_by_form
from gravegis.layers.read.raw import many, shown
from gravegis.science.irrigation.kinds import head_kinds
from gravegis.science.irrigation.schedule import program_lines

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.layers.holder import Holder

__all__ = ["SEVERITIES", "Finding", "check_site"]

SEVERITIES = ("error", "warning", "hint")

_REACH_M = 60.0  # the longest throw the schema allows
_FAR_M = 1_000.0  # layers of one ground lie nearer; common practice, no source
_SAME_PLACE_M = 0.01
_OVERLAP_M2 = 1e-4
_PLOTS_SHARE = 0.01  # plots drawn one by one overlap by a line's width; more than a hundredth is told: own choice
# Heads are set out about one throw apart; a throw typed in feet as metres is 3.28 times too long. Limits:
# common practice, no source.
_FEET_RATIO = (2.3, 4.6)
_ENOUGH_HEADS = 4


@dataclass(frozen=True, slots=True)
class Finding:
    """One remark: `error` (figures would be wrong), `warning` (look at it), `hint` (something is not known).

    `is_kept`: it is about values that are kept as typed.
    """

    severity: str
    problem: Problem
    is_kept: bool = False


def check_site(site: Holder) -> list[Finding]:
    """Return what is wrong or doubtful in a site, errors first; an empty list says only what was checked.

    Checked: that layers lie near each other; that names in one layer stand in the other; that zones have hours,
    heads a throw, crews a base; positions used twice; stones and plots that overlap; throws that look like feet; stones
    whose stability nobody checked; what photos and forms propose; words that are in no vocabulary.
    """
    found = [finding for one in CHECKS for finding in one(site)]
    return sorted(found, key=lambda finding: SEVERITIES.index(finding.severity))


def _say(severity: str, problem: str, where: str = "", remedy: str = "") -> Finding:
    return Finding(severity, Problem(problem, where, remedy))


def _rows(site: Holder, name: str) -> Frame:
    """Return a layer, without rows where it is not there."""
    if name in site:
        return site[name]
    return pd.DataFrame({one: [] for one in schema.layer(name).columns} | {"geometry": []})


def _basics(site: Holder) -> Iterator[Finding]:
    if not list(site):
        yield _say("warning", "the site has no layers", "site", "Bring the first in: gravegis add SITE stones FILE.")
    if not site.info.time_zone:
        yield _say("hint", "nobody said in which time zone the site lies", "site", "gravegis set SITE --time-zone ...")
    for name in ("stones", "heads"):
        if name not in site or site[name].empty:
            yield _say("hint", f"there are no {name}", name, f"gravegis add SITE {name} FILE")


def _apart(site: Holder) -> Iterator[Finding]:
    """Layers that cannot meet: an overlay of them is empty, which must not read as `no stone is wetted`."""
    boxes = {name: shapely.box(*_bounds(site[name])) for name in site if _has_places(site[name])}
    boxes = {name: box for name, box in boxes.items() if schema.layer(name).role == "input"}
    if "stones" not in boxes:
        return
    for name, box in boxes.items():
        away_m = float(shapely.distance(box, boxes["stones"]))
        meets = name in ("heads", "throws", "wet_areas")
        if meets and away_m > _REACH_M:
            words = f"stones and {name} lie {away_m:,.0f} m apart: an overlay would be empty, not dry"
            yield _say("error", words, name, "One of the two was brought in with the wrong --crs: add it again.")
        elif away_m > _FAR_M:
            words = f"{name} and stones lie {away_m:,.0f} m apart"
            yield _say("warning", words, name, "Was it brought in with the right --crs?")


def _has_places(frame: Frame) -> bool:
    return "geometry" in frame.columns and bool(shapely.is_geometry(frame["geometry"].to_numpy()).any())


def _bounds(frame: Frame) -> npt.NDArray[np.float64]:
    return np.asarray(shapely.total_bounds(np.asarray(frame["geometry"].array, dtype=object)), dtype=np.float64)


def _links(site: Holder) -> Iterator[Finding]:
    for one in broken(site):
        severity = "error" if one.every and one.has_target else "warning" if one.has_target else "hint"
        remedy = "Are names written the same way in both files, zeros in front too?" if one.has_target else ""
        yield _say(severity, one.words, f"{one.layer}.{one.column}", remedy)


def _water_hours(site: Holder) -> Iterator[Finding]:
    zones, schedules, heads = (_rows(site, name) for name in ("zones", "schedules", "heads"))
    if len(zones) and schedules.empty:
        yield _say("hint", "no zone has hours: figures are per hour of running", "schedules")
    elif len(zones):
        idle = zones[~zones["zone_id"].isin(schedules["zone_id"])]
        if len(idle):
            words = f"{many(len(idle), 'zone')} without hours: {shown(idle['zone_id'])}"
            yield _say("warning", words, "schedules", "Add its line, or delete a zone that never runs.")
    lone = heads[column(heads, "heads", "zone_id").isna()]
    if len(lone) and (len(zones) or len(schedules)):
        words = f"{many(len(lone), 'head')} without a zone: {shown(lone['head_id'])}"
        yield _say("warning", words, "heads.zone_id", "Its hours are not known.")
    known = set(zones["zone_id"].dropna()) if len(zones) else set()
    used = set(column(heads, "heads", "zone_id").dropna())
    if len(heads) and (empty := sorted(known - used)):
        yield _say("hint", f"{many(len(empty), 'zone')} without heads: {shown(empty)}", "zones")


def _schedules(site: Holder) -> Iterator[Finding]:
    rows: Any = _rows(site, "schedules").astype(object)
    for one in program_lines(rows.where(rows.notna(), None).to_dict("records"))[1]:
        yield _say("warning", one.words, "schedules", "Until it can be read, hours of its zone are not known.")


def _crews(site: Holder) -> Iterator[Finding]:
    crews = _rows(site, "crews")
    start, end = (column(crews, "crews", name) for name in ("shift_from", "shift_to"))
    odd = crews[(end <= start) & start.notna() & end.notna()]
    if len(odd):
        words = f"{many(len(odd), 'shift')} ending before it begins or running past midnight: {shown(odd['crew_id'])}"
        yield _say("warning", words, "crews.shift_to", "Shifts past midnight are not planned.")
    lost = crews[column(crews, "crews", "base_id").isna()]
    if len(lost):
        words = f"{many(len(lost), 'crew')} without a base: {shown(lost['crew_id'])}"
        yield _say("warning", words, "crews.base_id", "Say where it starts and ends.")


def _same_places(site: Holder) -> Iterator[Finding]:
    for name in ("stones", "heads", "taps"):
        frame = _rows(site, name)
        if not _has_places(frame):
            continue
        key = schema.layer(name).key[0]
        shapes = np.asarray(frame["geometry"].array, dtype=object)
        points = shapely.get_coordinates(shapely.centroid(shapes[~shapely.is_missing(shapes)]))
        ids = frame[key].to_numpy()[~shapely.is_missing(shapes)]
        pairs = sorted(cKDTree(points).query_pairs(_SAME_PLACE_M))
        if pairs:
            words = f"{many(len(pairs), 'pair')} of {name} at the same place"
            named = shown(f"{ids[one]} and {ids[two]}" for one, two in pairs)
            yield _say("warning", f"{words}: {named}", name, "Delete one of each two, or correct its position.")


def _invalid(site: Holder) -> Iterator[Finding]:
    for name in site:
        layer = schema.layer(name)
        if layer.role != "input" or not _has_places(site[name]):
            continue
        shapes = np.asarray(site[name]["geometry"].array, dtype=object)
        bad = np.flatnonzero(~shapely.is_valid(shapes) & ~shapely.is_missing(shapes))
        if len(bad):
            ids = site[name][layer.key[0]].to_numpy()[bad]
            words = f"{many(len(bad), 'outline')} not valid: {shown(ids)}"
            yield _say("error", words, name, "Add the file again: what has one answer is mended on the way in.")


def _overlaps(site: Holder) -> Iterator[Finding]:
    for name, least_share in (("stones", 0.0), ("plots", _PLOTS_SHARE)):
        frame = _rows(site, name)
        if not _has_places(frame):
            continue
        shapes = np.asarray(frame["geometry"].array, dtype=object)
        one, two, share_m2 = _overlapping(shapes, least_share)
        if len(one):
            ids = frame[schema.layer(name).key[0]].to_numpy()
            named = shown(f"{ids[a]} and {ids[b]} ({m2:.2f} m2)" for a, b, m2 in zip(one, two, share_m2, strict=True))
            words = f"{many(len(one), 'pair')} of {name} overlap: {named}"
            yield _say("warning", words, name, "Correct an outline or a position.")


def _overlapping(
    shapes: npt.NDArray[np.object_], least_share: float
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], npt.NDArray[np.float64]]:
    """Return rows that overlap by more than a share of the smaller, and by how much, the worst first. [m2]"""
    drawn = np.flatnonzero((shapely.get_dimensions(shapes) == 2) & shapely.is_valid(shapes))
    one, two = shapely.STRtree(shapes[drawn]).query(shapes[drawn], predicate="intersects")
    one, two = drawn[one[one < two]], drawn[two[one < two]]
    share_m2 = shapely.area(shapely.intersection(shapes[one], shapes[two]))
    smaller_m2 = np.minimum(shapely.area(shapes[one]), shapely.area(shapes[two]))
    worst = np.flatnonzero(share_m2 > np.maximum(_OVERLAP_M2, least_share * smaller_m2))
    order = worst[np.argsort(-share_m2[worst], kind="stable")]
    return one[order], two[order], share_m2[order]


def _proposals(site: Holder) -> Iterator[Finding]:
    stones, photos = _rows(site, "stones"), _rows(site, "photos")
    if stones.empty:
        return
    if len(photos):
        for words, how in facings_by_photo(stones, photos):
            yield _say("hint", words, "stones.facing_deg", how)
    for words, how in sizes_by_form(stones):
        yield _say("hint", words, "stones.form", how)


def _throws(site: Holder) -> Iterator[Finding]:
    heads = _rows(site, "heads")
    if heads.empty:
        return
    throw_m = column(heads, "heads", "throw_m").to_numpy(dtype="float64", na_value=np.nan)
    kind = column(heads, "heads", "kind")
    blank = np.isnan(throw_m) & kind.isna().to_numpy()
    if blank.any():
        words = f"{many(int(blank.sum()), 'head')} with neither throw nor kind: {shown(heads['head_id'][blank])}"
        yield _say("warning", words, "heads.throw_m", "Pace the throw, or say what kind of head it is.")
    yield from _kinds_of_throw(heads, throw_m)
    ratio = _spacing_ratio(heads, throw_m)
    if _FEET_RATIO[0] <= ratio <= _FEET_RATIO[1]:
        words = f"throws are {ratio:.1f} times the distance to the next head: typed in feet?"
        yield _say("warning", words, "heads.throw_m", 'Add the file again with the unit: --column throw_m="NAME ft".')


def _kinds_of_throw(heads: Frame, throw_m: npt.NDArray[np.float64]) -> Iterator[Finding]:
    known = head_kinds()
    kinds = column(heads, "heads", "kind")
    low = np.array([known[k].throw_low_m if k in known else np.nan for k in kinds])
    high = np.array([known[k].throw_high_m if k in known else np.nan for k in kinds])
    odd = np.flatnonzero((throw_m < 0.5 * low) | (throw_m > 1.5 * high))  # room for doubt: common practice, no source
    if len(odd):
        ids = heads["head_id"].to_numpy()
        named = shown(f"{ids[i]} ({kinds.iloc[i]}, {throw_m[i]:g} m; usual {low[i]:g} to {high[i]:g} m)" for i in odd)
        words = f"{many(len(odd), 'throw')} unusual for the kind of head: {named}"
        yield _say("warning", words, "heads.throw_m", "Typed in feet, or another kind?")


def _spacing_ratio(heads: Frame, throw_m: npt.NDArray[np.float64]) -> float:
    """Return the middle of throw over distance to the next head; NaN where too few heads tell."""
    if not _has_places(heads):
        return float("nan")
    points = shapely.get_coordinates(np.asarray(heads["geometry"].array, dtype=object))
    usable = np.isfinite(throw_m)
    if len(points) != len(heads) or usable.sum() < _ENOUGH_HEADS:
        return float("nan")
    next_m = np.asarray(cKDTree(points).query(points, k=2)[0])[:, 1]
    with np.errstate(divide="ignore"):
        return float(np.median(throw_m[usable] / next_m[usable]))


def _stability(site: Holder) -> Iterator[Finding]:
    stones = _rows(site, "stones")
    if stones.empty:
        return
    said = column(stones, "stones", "stability")
    unknown = int((said.isna() | (said == "unchecked")).sum())
    if unknown:
        words = f"stability of {unknown} of {many(len(stones), 'stone')} was not checked or is not known"
        yield _say(
            "hint", words, "stones.stability", "Nobody leans on a stone that was not checked; local rules come first."
        )
    loose = stones[said.isin(["moves", "do not approach"])]
    if len(loose):
        yield _say("hint", f"{many(len(loose), 'stone')} noted as moving or not to be approached", "stones.stability")


def _vocabulary(site: Holder) -> Iterator[Finding]:
    for name in site:
        layer = schema.layer(name)
        for one in layer.columns.values() if layer.role == "input" else ():
            if not one.values or one.name not in site[name].columns:
                continue
            words = site[name][one.name].dropna()
            odd = words[~words.isin(one.values)]
            if len(odd):
                counted = shown(f"'{word}' ({count})" for word, count in odd.value_counts().items())
                remedy = f"They are kept as typed. Known: {', '.join(one.values)}."
                said = f"{many(len(odd), 'value')} not in the vocabulary: {counted}"
                yield Finding("hint", Problem(said, f"{name}.{one.name}", remedy), is_kept=True)


CHECKS: tuple[Callable[[Holder], Iterator[Finding]], ...] = (
    _basics, _apart, _links, _water_hours, _schedules, _crews, _invalid, _same_places, _overlaps, _throws,
    _stability, _proposals, _vocabulary,
)  # fmt: skip
"""Each looks at one thing; a new check is one function and its name here."""
