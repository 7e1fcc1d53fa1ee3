"""Groups of stones with the same harm that stand near each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gravegis.contract import Analysis, Job, Result, number, whole

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt
    import pandas as pd

    from gravegis.layers.canonical import Frame
    from gravegis.site import Site

TRIAL = (
    "own choice: 4 m and 6 stones served another way of grouping in a trial on invented ground; not tried for this one"
)
_NAMED = 3
NOT_NAMED = "harm not named"


@dataclass(frozen=True, slots=True, kw_only=True)
class ClusterSettings:
    """What counts as harmed, and how near is near."""

    link_m: float = number(
        4.0, "Stones at most this far apart hang together.", unit="m", low=0.5, high=50, source=TRIAL
    )
    least_n: int = whole(6, "Fewest stones of a group.", low=2, high=1000, source=TRIAL)
    least_class_n: int = whole(
        1, "Condition class from which a stone counts as harmed.", low=1, high=3, source="own choice: any recorded harm"
    )


def run(site: Site, settings: ClusterSettings, job: Job) -> Result:
    """Join harmed stones of one kind of harm that stand within reach of each other into groups.

    The kind of harm is the family of findings that decided the class; harm that was not named (a quick score
    alone, a word not known here) forms a kind of its own. A group is a block of work, not proof of a cause: rows
    that stand close look like a group, so the notes give the share of harmed stones inside the outline beside that
    of the whole ground.
    """
    import numpy as np
    import pandas as pd

    from gravegis.layers.stones import places_m
    from gravegis.science.condition import clusters

    stones = site["stones"]
    condition = site["stone_condition"].set_index("stone_id").reindex(stones["stone_id"])
    xy = places_m(stones)
    overall = condition["overall"].to_numpy(dtype="float64", na_value=np.nan)
    harmed = np.nan_to_num(overall, nan=-1.0) >= settings.least_class_n
    kind = _kind_of_harm(condition)
    rows: list[Frame] = []
    group_of = np.full(len(stones), -1)
    kinds = sorted(set(kind[harmed]))
    for place, one in enumerate(kinds):
        job.progress(0.1 + 0.8 * place / len(kinds), f"groups of {one}")
        groups = clusters.cluster(xy, harmed & (kind == one), link_m=settings.link_m, least_n=settings.least_n)
        outlines = clusters.hulls(xy, groups, pad_m=settings.link_m / 4)
        counts = np.bincount(groups[groups >= 0], minlength=len(outlines))
        group_of[groups >= 0] = groups[groups >= 0] + sum(map(len, rows))
        rows.append(pd.DataFrame({"harm": one, "stones_n": counts, "geometry": outlines}))
    job.progress(0.95, "summing up")
    found, names = _named(rows, group_of, stones, site.info.crs)
    members = pd.DataFrame({"stone_id": stones["stone_id"], "cluster_id": names})
    _, share = clusters.share_harmed(xy, harmed, ~np.isnan(overall), np.asarray(found["geometry"], dtype=object))
    everywhere = float(harmed[~np.isnan(overall)].mean()) if (~np.isnan(overall)).any() else float("nan")
    return Result(layers={"stone_clusters": members, "clusters": found}, notes=_notes(found, share, everywhere))


def _kind_of_harm(condition: Frame) -> npt.NDArray[np.object_]:
    """Return the family of the harm that decided each class; a quick score alone names none."""
    import numpy as np

    from gravegis.science.condition.scores import patterns

    families = [patterns().look_up(harm, "family") if isinstance(harm, str) else "" for harm in condition["main_harm"]]
    return np.array([family or NOT_NAMED for family in families], dtype=object)


def _named(rows: list[Frame], group_of: npt.NDArray[np.int64], stones: Frame, crs: str) -> tuple[Frame, pd.Series[str]]:
    """Return the groups, named G1, G2, ... from the largest, and the group of each stone."""
    import geopandas as gpd
    import numpy as np
    import pandas as pd

    from gravegis.layers.canonical import column, empty

    if not sum(map(len, rows)):
        return empty("clusters", crs), pd.Series([None] * len(stones), dtype="str")
    frame = gpd.GeoDataFrame(pd.concat(rows, ignore_index=True), geometry="geometry", crs=crs)
    rank = np.argsort(np.argsort(-frame["stones_n"].to_numpy(), kind="stable"), kind="stable")
    width = len(str(len(frame)))
    frame["cluster_id"] = [f"G{place + 1:0{width}d}" for place in rank]
    names = pd.Series([*frame["cluster_id"], None], dtype="str").take(group_of).reset_index(drop=True)
    sections = column(stones, "stones", "section").groupby(names.to_numpy()).agg(_listed)
    frame["sections"] = sections.reindex(frame["cluster_id"]).to_numpy()
    return frame.iloc[np.argsort(rank)].reset_index(drop=True), names


def _listed(sections: pd.Series[str]) -> str:
    return ", ".join(sorted(set(sections.dropna())))


def _notes(found: Frame, share: npt.NDArray[np.float64], everywhere: float) -> tuple[str, ...]:
    if not len(found):
        return ("No group of harmed stones: too few stand near each other, or the condition is not recorded.",)
    biggest = [
        f"{found['cluster_id'].iloc[row]} ({int(found['stones_n'].iloc[row])} stones, {found['harm'].iloc[row]}; "
        f"{share[row]:.0%} of those recorded inside its outline are harmed)"
        for row in range(min(_NAMED, len(found)))
    ]
    return (
        f"{len(found)} groups; the biggest: {'; '.join(biggest)}. On the whole ground {everywhere:.0%} are harmed.",
        "A group is a block of work; it proves no cause.",
    )


ANALYSIS = Analysis(
    name="clusters",
    title="Groups of stones with like harm",
    question="Where do stones with the same harm stand near each other?",
    needs={"stones": ("stone_id", "geometry"), "stone_condition": ("stone_id", "overall", "main_harm")},
    uses={"stones": {"section": ""}},
    gives={
        "stone_clusters": {"stone_id": "stone", "cluster_id": "group, missing where none"},
        "clusters": {
            "cluster_id": "group",
            "harm": "kind of harm of the group",
            "stones_n": "stones in it",
            "sections": "sections it lies in",
        },
    },
    may_be_missing=frozenset({"clusters.sections", "clusters.harm", "clusters.stones_n"}),
    settings=ClusterSettings,
    run=run,
    version=1,
    tables=("patterns",),
    facts=("crs",),
    sources=("connected components of harmed stones closer than a distance: plane geometry and graph theory", TRIAL),
)
