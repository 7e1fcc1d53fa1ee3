"""The ground each head wets: full circle, part circle or strip; a surveyed outline wins."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gravegis.contract import Analysis, Assumption, Job, Result, listed, whole

if TYPE_CHECKING:
    from gravegis.layers.canonical import Frame
    from gravegis.site import Site

# Faults that change the pattern: mend them before the figures of that head are trusted (common practice, no source).
CHANGES_PATTERN = ("tilted", "misting", "sunk", "not turning", "leaking", "blocked")


@dataclass(frozen=True, slots=True, kw_only=True)
class ThrowSettings:
    """How outlines are drawn; the wetting itself is worked out on exact arcs."""

    segments_n: int = whole(
        256,
        "Straight pieces in which a full circle is drawn on maps; flags never depend on it.",
        low=16,
        high=4096,
        source="own choice: at 15 m the drawn edge then lies within 1.2 mm of the arc (closed form)",
    )


def run(site: Site, settings: ThrowSettings, job: Job) -> Result:
    """Give each head its pattern, the figures used and where they come from.

    A head with neither a throw nor an outline gets the middle of the range usual for its kind, with both ends of
    the range beside it; a head without a kind either gets no outline and is named in the notes.
    """
    import geopandas as gpd
    import numpy as np

    from gravegis.layers.heads import surveyed_outlines, throws_of
    from gravegis.science.irrigation import throw

    heads = site["heads"]
    job.progress(0.1, "reading heads")
    used = _figures(heads)
    throws, rows = throws_of(used, heads, site.info.crs)
    outlines = np.full(len(used), None, dtype=object)
    outlines[rows] = throw.throw_polygons(throws, segments_per_circle=settings.segments_n)
    job.progress(0.7, "surveyed outlines")
    surveyed = surveyed_outlines(site["throws"] if site.has("throws") else None)
    has_outline = used["head_id"].isin(surveyed.index).to_numpy()
    used.loc[has_outline, ["pattern", "basis"]] = "surveyed outline"
    outlines[has_outline] = surveyed.reindex(used.loc[has_outline, "head_id"]).to_numpy()
    frame = gpd.GeoDataFrame(used, geometry=gpd.GeoSeries(outlines, crs=site.info.crs))
    return Result(layers={"throws_computed": frame}, notes=_notes(frame), assumed=_assumed(heads, frame))


def _figures(heads: Frame) -> Frame:
    """Return one row per head with the figures used and their basis; unknown stays missing."""
    import pandas as pd

    from gravegis.layers.canonical import column
    from gravegis.layers.heads import turn_unknown
    from gravegis.science.irrigation.kinds import head_kinds

    one = {name: column(heads, "heads", name) for name in ("zone_id", "throw_m", "throw_basis", "fault")}
    kinds = head_kinds()
    usual = pd.DataFrame(
        [_usual(kinds.get(kind)) for kind in column(heads, "heads", "kind").fillna("")], index=heads.index
    ).reindex(columns=["strip_side", "throw_m", "throw_low_m", "throw_high_m", "strip_length_m", "strip_width_m"])
    side = usual["strip_side"].astype("str").fillna("")
    is_strip = side != ""
    by_kind = one["throw_m"].isna()
    sweep = column(heads, "heads", "arc_sweep_deg").where(~turn_unknown(heads), 360.0)
    pattern = pd.Series("full circle", index=heads.index, dtype="str").where(sweep == 360.0, "part circle")
    throw_m = one["throw_m"].where(~by_kind, usual["throw_m"]).where(~is_strip)
    pattern = pattern.where(~is_strip, "strip " + side).where(is_strip | throw_m.notna())
    size = {
        name: column(heads, "heads", name).where(column(heads, "heads", name).notna(), usual[name]).where(is_strip)
        for name in ("strip_length_m", "strip_width_m")
    }
    sized = column(heads, "heads", "strip_length_m").notna() & column(heads, "heads", "strip_width_m").notna()
    stated = one["throw_basis"].fillna("stated")
    return pd.DataFrame(
        {
            "head_id": heads["head_id"],
            "zone_id": one["zone_id"],
            "pattern": pattern,
            "throw_m": throw_m,
            "throw_low_m": one["throw_m"].where(~by_kind, usual["throw_low_m"]).where(~is_strip),
            "throw_high_m": one["throw_m"].where(~by_kind, usual["throw_high_m"]).where(~is_strip),
            "arc_from_deg": column(heads, "heads", "arc_from_deg").fillna(0.0),
            "arc_sweep_deg": sweep,
            **size,
            "basis": stated.where(sized.where(is_strip, ~by_kind), "by kind").where(pattern.notna()),
            "mend_first": one["fault"].where(one["fault"].isin(CHANGES_PATTERN)),
        }
    )


def _usual(kind: object) -> dict[str, object]:
    """Return the usual figures of a kind of head as one row of a table; nothing for an unknown kind."""
    from gravegis.science.irrigation.kinds import HeadKind

    if not isinstance(kind, HeadKind):
        return {}
    return {name: getattr(kind, name) for name in HeadKind.__slots__} | {"throw_m": kind.throw_m}


def _assumed(heads: Frame, frame: Frame) -> tuple[Assumption, ...]:
    """Return what was taken for missing throws and turns; strips and surveyed outlines need neither."""
    from gravegis.layers.canonical import column
    from gravegis.layers.heads import bearing_unknown, turn_unknown

    is_arc = frame["pattern"].isin(["full circle", "part circle"])
    by_kind = int((is_arc & (frame["basis"] == "by kind")).sum())
    no_turn = int((is_arc & turn_unknown(heads)).sum())
    strips = frame["pattern"].fillna("").str.startswith("strip ")
    no_size = int((strips & (frame["basis"] == "by kind")).sum())
    unsaid = column(heads, "heads", "throw_basis").isna() & column(heads, "heads", "throw_m").notna()
    rows_n = {
        "throw_basis": int((is_arc & unsaid).sum()),
        "throw_m": by_kind,
        "arc_sweep_deg": no_turn,
        "strip_length_m": no_size,
    }
    made = [Assumption(f"heads.{name}", ANALYSIS.uses["heads"][name], count) for name, count in rows_n.items()]
    no_bearing = int((strips & bearing_unknown(heads)).sum())
    return (*made, Assumption("heads.arc_from_deg", "bearing of a strip unknown: to the north, a guess", no_bearing))


def _notes(frame: Frame) -> tuple[str, ...]:
    counts = ", ".join(f"{n} {pattern}" for pattern, n in frame["pattern"].value_counts().items())
    notes = [f"Patterns of heads: {counts}."] if counts else []
    nothing = frame.loc[frame["pattern"].isna(), "head_id"].tolist()
    if nothing:
        notes.append(f"No throw and no kind is known of {listed(nothing)}: their ground is not drawn and not tested.")
    faulty = frame[frame["mend_first"].notna()]
    if len(faulty):
        words = [f"{row.head_id} ({row.mend_first})" for row in faulty.itertuples()]
        notes.append(f"Mend first, then measure again: {listed(words)}. Their outline is the one of a sound head.")
    return tuple(notes)


ANALYSIS = Analysis(
    name="throw",
    title="Ground each head wets",
    question="Which ground does each sprinkler head wet?",
    needs={"heads": ("head_id", "geometry")},
    uses={
        "heads": {
            "throw_m": "the middle of the range usual for the kind of head; good for ranking only",
            "arc_sweep_deg": "arc unknown: a full circle",
            "arc_from_deg": "",
            "kind": "",
            "zone_id": "",
            "strip_length_m": "the usual size of a strip nozzle",
            "strip_width_m": "",
            "throw_basis": "a throw given without saying how it was got counts as stated, not measured",
            "fault": "",
        },
        "throws": {"head_id": "", "geometry": ""},
    },
    gives={
        "throws_computed": {
            "head_id": "head",
            "zone_id": "zone of the head",
            "pattern": "shape of the wetted ground",
            "throw_m": "throw used",
            "throw_low_m": "low end of the range",
            "throw_high_m": "high end of the range",
            "arc_from_deg": "start of the turn, true bearing",
            "arc_sweep_deg": "sweep used",
            "strip_length_m": "strip length used",
            "strip_width_m": "strip width used",
            "basis": "where the throw comes from",
            "mend_first": "fault to mend before the figures are trusted",
        }
    },
    # strips alone have a size; sites without faults or with one kind of strip are common
    may_be_missing=frozenset(
        {"throws_computed.strip_length_m", "throws_computed.strip_width_m", "throws_computed.mend_first"}
    ),
    settings=ThrowSettings,
    run=run,
    version=1,
    tables=("head_kinds",),
    facts=("crs",),
    sources=("plane geometry; ranges by kind of head: gravegis/science/data/head_kinds.csv, a source per row",),
)
