"""Evidence on planted grounds: harm by material alone, by water, by iron feed; no dry stones; faces; and the words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from gravegis import pipeline
from gravegis.layers.exposure import set_apart
from gravegis.layers.sprayed_faces import FACES, face_pairs, harmed_faces
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from numpy.typing import NDArray

SPACING_M, SIDE = 2.0, 24
THROW_M = 6.0
CORNER = np.array([500_000.0, 6_250_000.0])  # on the middle meridian of the zone: grid north is true north


def ground() -> NDArray[np.float64]:
    return (
        np.stack(np.meshgrid(np.arange(SIDE), np.arange(SIDE)), axis=-1).reshape(-1, 2).astype(np.float64) * SPACING_M
    )


def heads_at(places: list[tuple[float, float]]) -> gpd.GeoDataFrame:
    names = [f"h{n:02d}" for n in range(len(places))]
    frame = {
        "head_id": names, "throw_m": THROW_M, "arc_sweep_deg": 360.0, "zone_id": "Z1", "position_error_m": 0.05,
        "throw_basis": "measured",
    }  # fmt: skip
    return gpd.GeoDataFrame(frame, geometry=shapely.points(np.array(places) + CORNER), crs="EPSG:7854")


SPREAD = [(6.0 + 16 * (n % 3), 5.0 + 13 * (n // 3)) for n in range(9)]


def site_of(found: list[dict[str, Any]], heads: gpd.GeoDataFrame | None = None, **columns: Any) -> Site:
    xy = ground()
    stones = gpd.GeoDataFrame(
        {"stone_id": [f"s{i:03d}" for i in range(len(xy))], "position_error_m": 0.05, **columns},
        geometry=shapely.points(xy + CORNER), crs="EPSG:7854",
    )  # fmt: skip
    made = Site(SiteInfo("t", "EPSG:7854")).with_layers(
        {"stones": stones, "heads": heads_at(SPREAD) if heads is None else heads}
    )
    return made.with_layers({"findings": pd.DataFrame(found)}) if found else made


def wetted_now() -> NDArray[np.bool_]:
    away = np.hypot(*(ground()[:, None] - np.array(SPREAD)[None]).transpose(2, 0, 1))
    return np.asarray(away.min(axis=1) <= THROW_M, dtype=np.bool_)


def findings(harmed: NDArray[np.bool_], pattern: str = "rust stain", **more: Any) -> list[dict[str, Any]]:
    """Return one finding per stone: the harm where there is one, else that it was looked at."""
    rows = [{"stone_id": f"s{i:03d}", "pattern": "soiling", "severity": 0} for i in range(len(harmed))]
    return rows + [{"stone_id": f"s{i:03d}", "pattern": pattern, "severity": 2, **more} for i in np.flatnonzero(harmed)]


def told(site: Site, **typed: str) -> tuple[Any, str]:
    done = pipeline.run(site, ["evidence"], typed={"evidence": typed}).site
    return done["association"].set_index(["harm", "measure", "stratum"]), "\n".join(done.log[-1].notes)


def test_harm_by_material_alone_is_not_laid_on_the_water() -> None:
    """Simpson: marble stands where it is wet, and marble stains wherever it stands."""
    rng, wet = np.random.default_rng(1), wetted_now()
    marble = rng.random(len(wet)) < np.where(wet, 0.8, 0.2)
    harmed = rng.random(len(wet)) < np.where(marble, 0.65, 0.15)
    table, notes = told(site_of(findings(harmed), material=np.where(marble, "marble", "granite")))
    crude = table.loc[("staining", "odds ratio", "all")]
    assert crude["low"] > 1.5
    within = table.loc[("staining", "odds ratio within strata", "by material")]
    assert within["low"] < 1 < within["high"]
    said = next(line for line in notes.splitlines() if line.startswith("Staining"))
    assert "material may explain that: it is not laid on the water" in said
    assert "cause" not in said.split("set apart")[0].replace("another cause", "")


def test_harm_by_water_is_consistent_with_it_and_no_cause_is_named_from_stones_alone() -> None:
    rng, wet = np.random.default_rng(2), wetted_now()
    harmed = rng.random(len(wet)) < np.where(wet, 0.6, 0.15)
    material = np.where(rng.random(len(wet)) < 0.5, "marble", "granite")
    table, notes = told(site_of(findings(harmed), material=material, section=np.where(ground()[:, 0] < 24, "A", "B")))
    for measure in ("odds ratio", "odds ratio, exact"):
        row = table.loc[("staining", measure, "all")]
        assert row["low"] < 0.6 / 0.4 / (0.15 / 0.85) < row["high"]
    assert table.loc[("staining", "odds ratio within strata", "by material"), "low"] > 2
    assert table.loc[("staining", "odds ratio within strata", "by material and section"), "low"] > 2
    assert table.loc[("staining", "difference by whole heads", "all"), "p"] < 0.01
    assert table.loc[("staining", "odds ratio per throw length", "all"), "high"] < 1
    assert "consistent with the water having a part in it; it does not show that it has" in notes
    assert "point to the water as a cause" not in notes
    assert "What this does not show" in notes


def test_strata_that_disagree_get_a_figure_each_and_none_together() -> None:
    rng, wet = np.random.default_rng(3), wetted_now()
    marble = rng.random(len(wet)) < 0.5
    harmed = rng.random(len(wet)) < np.where(marble, np.where(wet, 0.7, 0.1), np.where(wet, 0.2, 0.4))
    table, notes = told(site_of(findings(harmed), material=np.where(marble, "marble", "granite")))
    assert ("staining", "odds ratio within strata", "by material") not in table.index
    assert table.loc[("staining", "odds ratio, exact", "by material: marble"), "low"] > 1
    assert table.loc[("staining", "odds ratio, exact", "by material: granite"), "high"] < 1
    assert table.loc[("staining", "equal odds ratios (chi2)", "by material"), "p"] < 0.05
    assert "strata by material disagree" in notes


def test_without_enough_dry_stones_no_stone_is_held_against_another_and_controls_are_proposed() -> None:
    everywhere = heads_at([(8.0 * x, 8.0 * y) for x in range(7) for y in range(7)])
    rng = np.random.default_rng(4)
    harmed = rng.random(SIDE * SIDE) < 0.5
    table, notes = told(site_of(findings(harmed, face="front"), everywhere, facing_deg=0.0))
    measures = {measure for _, measure, _ in table.index}
    assert not any(one.startswith("odds ratio") and "within stones" not in one for one in measures)
    assert "stones are not compared with each other: 576 wetted and 0 dry ones" in notes
    assert "No dry stone is left to survey" in notes
    some_unknown = findings(harmed & wetted_now())
    kept = [row for row in some_unknown if wetted_now()[int(row["stone_id"][1:])]]
    _, notes = told(site_of(kept))
    assert "Survey these dry stones too" in notes


def faces_by_water(share_sprayed: float, share_lee: float) -> Site:
    """Every stone looks north; heads stand in a line south of them and wet their backs."""
    line = heads_at([(4.0 * n, -3.0) for n in range(13)])
    xy, rng = ground(), np.random.default_rng(5)
    rows = findings(np.zeros(len(xy), dtype=np.bool_))
    for i in np.flatnonzero(xy[:, 1] <= 2):
        for face, share in (("back", share_sprayed), ("front", share_lee)):
            severity = 2 if rng.random() < share else 0
            rows.append({"stone_id": f"s{i:03d}", "pattern": "lime scale", "severity": severity, "face": face})
    return site_of(rows, line, facing_deg=0.0, section="A")


def test_faces_of_the_same_stone_may_point_to_a_cause() -> None:
    table, notes = told(faces_by_water(0.8, 0.1))
    row = table.loc[("encrustation", "odds ratio within stones", "all")]
    assert row["n"] == 48
    assert row["low"] > 1
    assert ("encrustation", "odds ratio within stones", "section: A") in table.index
    assert "The faces of the same stones point to the water as a cause." in notes


@pytest.mark.parametrize(("sprayed", "lee", "words"), [(0.4, 0.4, ""), (0.05, 0.8, "speak against the spray")])
def test_faces_that_are_alike_or_the_other_way_round_blame_nothing(sprayed: float, lee: float, words: str) -> None:
    _, notes = told(faces_by_water(sprayed, lee))
    assert "point to the water as a cause" not in notes
    assert words in notes


def test_the_sprayed_face_is_that_which_looks_to_the_head() -> None:
    one = np.zeros(SIDE * SIDE)
    # who reads a stone that looks east stands east of it and has the south on the left
    for facing, face in ((0.0, "back"), (180.0, "front"), (90.0, "left"), (270.0, "right")):
        site = pipeline.run(site_of([], heads_at([(24.0, -3.0)]), facing_deg=one + facing), ["wetting"]).site
        pairs = face_pairs(site)
        stone = int(np.flatnonzero((ground() == [24.0, 0.0]).all(axis=1))[0])
        assert FACES[pairs.sprayed[stone]] == face, facing
        assert FACES[pairs.lee[stone]] == FACES[(FACES.index(face) + 2) % 4]


def test_what_was_seen_on_a_face_outranks_where_heads_stand() -> None:
    site = site_of([], heads_at([(24.0, -3.0)]), facing_deg=0.0)
    sights = (("1", "front", "struck"), ("2", "back", "dry"))
    seen = [{"observation_id": name, "stone_id": "s012", "face": face, "seen": what} for name, face, what in sights]
    pairs = face_pairs(pipeline.run(site.with_layers({"observations": pd.DataFrame(seen)}), ["wetting"]).site)
    assert (FACES[pairs.sprayed[12]], FACES[pairs.lee[12]]) == ("front", "back")


def test_where_the_water_of_a_face_is_not_known_the_places_of_the_heads_tell_and_that_is_said() -> None:
    """Of 13 heads the first has no flow."""
    bare = faces_by_water(0.8, 0.1)
    flows = bare["heads"].assign(flow_l_min=[10.0 if n else np.nan for n in range(13)])
    stones: Any = bare["stones"].assign(height_m=0.9)
    at = shapely.get_coordinates(stones.centroid).T
    stones = stones.set_geometry(shapely.box(at[0] - 0.3, at[1] - 0.05, at[0] + 0.3, at[1] + 0.05))
    site = pipeline.run(bare.with_layers({"heads": flows, "stones": stones}), ["evidence"]).site
    pairs = face_pairs(site)
    assert 0 < pairs.placed.sum() < (pairs.sprayed >= 0).sum()
    (line,) = [one for one in site.log[-1].assumed if one.startswith("face_wetting")]
    assert line.startswith(f"face_wetting ({pairs.placed.sum()} rows)")


def test_a_harm_on_a_face_nobody_named_leaves_the_stone_out() -> None:
    rows = [{"stone_id": "s000", "pattern": "moss", "severity": 2, "face": "front"},
            {"stone_id": "s001", "pattern": "moss", "severity": 2}, {"stone_id": "s002", "pattern": "crack",
             "severity": 1, "face": "back"}]  # fmt: skip
    site = site_of(rows)
    faces = harmed_faces(site["stones"], site["findings"], "growth")
    assert faces[0].tolist() == [1, 0, 0, 0]
    assert np.isnan(faces[1]).all()
    assert faces[2].tolist() == [0, 0, 0, 0]


def decoy(**entry: Any) -> tuple[Site, NDArray[np.bool_]]:
    """Iron feed stained every stone of a dry corner."""
    rng, wet = np.random.default_rng(6), wetted_now()
    corner = ground().min(axis=1) >= 36
    harmed = (rng.random(len(wet)) < np.where(wet, 0.5, 0.15)) | corner
    site = site_of(findings(harmed, found_on="2026-10-10"), section=np.where(corner, "C", "A"))
    log = gpd.GeoDataFrame([{"grounds_log_id": "1", "what": "Iron sulphate feed", **entry}])
    if "geometry" in entry:
        log = log.set_geometry("geometry").set_crs("EPSG:7854")
    return site.with_layers({"grounds_log": log}), corner


@pytest.mark.parametrize(
    "entry",
    [{"geometry": shapely.box(500_035, 6_250_035, 500_060, 6_250_060)}, {"section": "C"}],
    ids=["area", "section"],
)
def test_the_iron_fed_decoy_is_set_apart(entry: dict[str, Any]) -> None:
    site, corner = decoy(done_on="2026-09-01", **entry)
    table, notes = told(site)
    apart = table.loc[("staining", "share harmed, set apart", "iron feed")]
    assert (apart["estimate"], apart["n"]) == (1.0, corner.sum())
    wet = pipeline.run(site, ["wetting"]).site["stone_wetting"].set_index("stone_id")["state"]
    doubtful = (wet.reindex(site["stones"]["stone_id"]) == "uncertain").to_numpy() & ~corner
    assert table.loc[("staining", "odds ratio", "all"), "n"] == len(corner) - corner.sum() - doubtful.sum()
    bare, _ = told(site.without(("grounds_log",)))
    assert (
        table.loc[("staining", "odds ratio", "all"), "estimate"]
        > bare.loc[("staining", "odds ratio", "all"), "estimate"]
    )
    assert f"set apart for another cause: {corner.sum()} stones (iron feed)" in notes


def test_feed_after_the_survey_or_without_a_place_sets_nothing_apart() -> None:
    site, _ = decoy(done_on="2026-11-01", section="C")
    assert set_apart(site, "staining") == ({}, ())
    site, _ = decoy(done_on="2026-09-01")
    _, notes = told(site)
    assert "iron feed: 1 entries do not say where: not set apart" in notes
    assert set_apart(site, "cracks") == ({}, ())


def test_rust_of_its_own_iron_is_set_apart() -> None:
    rng = np.random.default_rng(7)
    site = site_of(findings(rng.random(SIDE * SIDE) < 0.4))
    parts = pd.DataFrame({"part_id": ["p1", "p2"], "stone_id": ["s003", "s004"], "material": ["wrought iron", "lead"]})
    apart, _ = set_apart(site.with_layers({"parts": parts}), "staining")
    assert {name: np.flatnonzero(at).tolist() for name, at in apart.items()} == {"rusting part of its own": [3]}


def test_stain_edges_are_held_against_wet_edges_seen() -> None:
    rng = np.random.default_rng(8)
    height = rng.uniform(0.2, 0.9, 40)
    rows = [{"stone_id": f"s{i:03d}", "pattern": "rust stain", "severity": 1, "height_to_m": height[i] + 0.02}
            for i in range(40)]  # fmt: skip
    seen = pd.DataFrame({"observation_id": [f"o{i}" for i in range(40)], "stone_id": [f"s{i:03d}" for i in range(40)],
                         "seen": "wetted", "wet_to_m": height})  # fmt: skip
    table, _ = told(site_of(rows).with_layers({"observations": seen}))
    row = table.loc[("staining", "stain edge less wet edge", "all")]
    assert row["estimate"] == pytest.approx(0.02, abs=1e-9)
    assert "on 100%, by chance on" in row["note"]


def test_a_few_harmed_stones_say_nothing_and_an_empty_ground_says_so() -> None:
    harmed = np.zeros(SIDE * SIDE, dtype=np.bool_)
    harmed[:3] = True
    _, notes = told(site_of(findings(harmed)))
    assert "Staining: on 3 stones only, too few to say anything." in notes
    _, notes = told(site_of([]))
    assert "No harm is recorded on enough stones" in notes or "Survey" in notes


def test_the_same_ground_gives_the_same_figures() -> None:
    rng, wet = np.random.default_rng(9), wetted_now()
    site = site_of(findings(rng.random(len(wet)) < 0.3))
    one, other = told(site)[0], told(site)[0]
    pd.testing.assert_frame_equal(one, other)
