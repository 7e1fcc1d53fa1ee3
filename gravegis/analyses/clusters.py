"""Groups of stones with the same harm that stand near each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gravegis.contract import Analysis, Job, Result, choice, number, whole

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
USUAL_MIN = 35.0  # a tablet, moderate soiling: effort.csv, common practice, no source
LOOK_MIN = 5.0  # a look at a stone: common practice, no source
NOT_NAMED = "harm not named"


BY_HARM, BY_TREATMENT = "harm", "treatment"
NEAR, DENSE, SIGNIFICANT = "near each other", "dense", "hot spots"


@dataclass(frozen=True, slots=True, kw_only=True)
class ClusterSettings:
    """What counts as harmed, how near is near, and how much work a block may hold."""

    by: str = choice(
        BY_HARM, "What the stones of a group share.", options=(BY_HARM, BY_TREATMENT), source="own choice: harm"
    )
    gather: str = choice(
        NEAR, "Which stones make groups: all that stand near each other, those in dense places, or those in hot spots.",
        options=(NEAR, DENSE, SIGNIFICANT),
        source="own choice: all, so that no work is left out; hot spots show where harm gathers more than by chance",
    )  # fmt: skip
    link_m: float = number(
        4.0, "Stones at most this far apart hang together.", unit="m", low=0.5, high=50, source=TRIAL
    )
    least_n: int = whole(6, "Fewest stones of a group.", low=2, high=1000, source=TRIAL)
    least_class_n: int = whole(
        1, "Condition class from which a stone counts as harmed.", low=1, high=3, source="own choice: any recorded harm"
    )
    block_min: float = number(
        330.0, "Most minutes of crew work in a group; larger ones are cut into blocks.", unit="min", low=10, high=10000,
        source="a paid day less set-up and breaks: common practice, no source",
    )  # fmt: skip


def run(site: Site, settings: ClusterSettings, job: Job) -> Result:
    """Join harmed stones of one kind of harm that stand within reach of each other, and cut what is too much for a day.

    The kind of harm is the family of findings that decided the class; harm that was not named (a quick score
    alone, a word not known here) forms a kind of its own; groups by treatment take the treatment of the worklist. A
    group is a block of work, not proof of a cause: rows that stand close look like a group, so the notes give the
    share of harmed stones inside the outline beside that of the whole ground. A group that holds more minutes than
    a day has is cut across its longest direction into blocks. Stones no crew works on count as a look of 5 minutes when
    groups are cut, and as 0 in the minutes told.
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
    work_min, treatment = _work(site)
    by_treatment = settings.by == BY_TREATMENT
    kind = treatment if by_treatment else _kind_of_harm(condition)
    chosen = (work_min > 0) if by_treatment else harmed
    if settings.gather == SIGNIFICANT:
        chosen = chosen & _in_hot_spots(site, condition)
    chosen &= np.isfinite(xy).all(axis=1)
    rows, group_of = _gathered(xy, chosen, kind, work_min, settings=settings, job=job)
    job.progress(0.95, "summing up")
    found, names = _named(rows, group_of, stones, site.info.crs)
    members = pd.DataFrame({"stone_id": stones["stone_id"], "cluster_id": names})
    _, share = clusters.share_harmed(xy, harmed, ~np.isnan(overall), np.asarray(found["geometry"], dtype=object))
    everywhere = float(harmed[~np.isnan(overall)].mean()) if (~np.isnan(overall)).any() else float("nan")
    return Result(layers={"stone_clusters": members, "clusters": found}, notes=_notes(found, share, everywhere))


def _gathered(
    xy: npt.NDArray[np.float64],
    chosen: npt.NDArray[np.bool_],
    kind: npt.NDArray[np.object_],
    work_min: npt.NDArray[np.float64],
    *,
    settings: ClusterSettings,
    job: Job,
) -> tuple[list[Frame], npt.NDArray[np.int64]]:
    """Return the blocks of each kind, and the place of the block of each stone, -1 where none."""
    import numpy as np
    import pandas as pd

    from gravegis.science.condition import blocks, clusters

    gather = blocks.dense_clusters if settings.gather == DENSE else clusters.cluster
    rows: list[Frame] = []
    group_of = np.full(len(xy), -1)
    kinds = sorted(set(kind[chosen]))
    for place, one in enumerate(kinds):
        job.progress(0.1 + 0.8 * place / len(kinds), f"groups of {one}")
        groups = gather(xy, chosen & (kind == one), link_m=settings.link_m, least_n=settings.least_n)
        groups = blocks.split_blocks(xy, groups, np.maximum(work_min, LOOK_MIN), most_min=settings.block_min)
        outlines = clusters.hulls(xy, groups, pad_m=settings.link_m / 4)
        at = groups >= 0
        counts = np.bincount(groups[at], minlength=len(outlines))
        time_min = np.bincount(groups[at], weights=work_min[at], minlength=len(outlines))
        group_of[at] = groups[at] + sum(map(len, rows))
        made = {"main_harm": one, "stones_n": counts, "work_min": time_min, "geometry": outlines}
        rows.append(pd.DataFrame(made))
    return rows, group_of


def _work(site: Site) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.object_]]:
    """Return minutes of crew work and treatment of each stone; without a worklist the usual time of a tablet."""
    import numpy as np

    from gravegis.layers.canonical import column
    from gravegis.layers.stones import numbers

    ids = site["stones"]["stone_id"]
    if not site.has("worklist", "work_min"):
        return np.full(len(ids), USUAL_MIN), np.full(len(ids), "", dtype=object)
    work = site["worklist"].set_index("stone_id").reindex(ids).reset_index()
    minutes = np.nan_to_num(numbers(work, "worklist", "work_min"))
    return minutes, column(work, "worklist", "treatment").fillna("").to_numpy(dtype=object)


def _in_hot_spots(site: Site, condition: Frame) -> npt.NDArray[np.bool_]:
    """Whether a stone stands in a hot spot of the harm that decided its class, or of the class itself."""
    import numpy as np
    import pandas as pd

    from gravegis.science.condition.harms import harm_of

    if not site.has("stone_hotspots", "state"):
        return np.zeros(len(condition), dtype=np.bool_)
    hot = site["stone_hotspots"].query("state == 'hot'")
    pairs = pd.MultiIndex.from_frame(hot[["stone_id", "harm"]])
    own = [harm_of(one) if isinstance(one, str) else "" for one in condition["main_harm"]]
    of_harm = pd.MultiIndex.from_arrays([condition.index, own]).isin(pairs)
    of_class = condition.index.isin(hot.loc[hot["harm"] == "overall", "stone_id"])
    return np.asarray(of_harm | of_class, dtype=np.bool_)


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
        f"{found['cluster_id'].iloc[row]} ({int(found['stones_n'].iloc[row])} stones, "
        f"{found['main_harm'].iloc[row]}, {_minutes(found['work_min'].iloc[row])}; {share[row]:.0%} of those recorded "
        "inside its outline are harmed)"
        for row in range(min(_NAMED, len(found)))
    ]
    return (
        f"{len(found)} groups; the biggest: {'; '.join(biggest)}. On the whole ground {everywhere:.0%} are harmed.",
        "A group is a block of work; it proves no cause.",
    )


def _minutes(work_min: float) -> str:
    return f"{work_min:.0f} min of crew work" if work_min > 0 else "no crew work"


ANALYSIS = Analysis(
    name="clusters",
    title="Groups of stones with like harm",
    question="Where do stones with the same harm stand near each other?",
    needs={"stones": ("stone_id", "geometry"), "stone_condition": ("stone_id", "overall", "main_harm")},
    uses={
        "stones": {"section": ""},
        "worklist": {
            "*": "35 minutes a stone, a tablet's usual time: common practice, no source",
            "work_min": "",
            "treatment": "",
        },
        "stone_hotspots": {"stone_id": "", "harm": "", "state": ""},
    },
    gives={
        "stone_clusters": {"stone_id": "stone", "cluster_id": "group, missing where none"},
        "clusters": {
            "cluster_id": "group",
            "stones_n": "stones in it",
            "main_harm": "kind of harm, or treatment, of the group",
            "work_min": "planned crew minutes of the group",
            "sections": "sections it lies in",
        },
    },
    may_be_missing=frozenset(f"clusters.{name}" for name in ("sections", "main_harm", "stones_n", "work_min")),
    settings=ClusterSettings,
    run=run,
    version=2,
    tables=("patterns",),
    facts=("crs",),
    sources=(
        "connected components of harmed stones closer than a distance: plane geometry and graph theory",
        "dense groups: DBSCAN, Ester et al. 1996; cutting into blocks: own rule",
        TRIAL,
    ),
)
