"""Hot spots and evidence on the enlarged sample ground, against what was planted there and what its truth says."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from gravegis import pipeline
from gravegis.layers.exposure import exposure_of, set_apart
from gravegis.layers.stones import places_m
from gravegis.science.condition.hotspots import HOT, choose_band, find_hot_spots

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from gravegis.site import Site

TRUTH = Path(__file__).resolve().parents[2] / "sample_layers" / "emberfield_rise_truth"
PATCH_M = 20.0


def planted(site: Site, harmed: NDArray[np.bool_], pattern: str, **more: Any) -> Site:
    """Return the site with one finding per stone of a pattern, severity 0 where it is not harmed."""
    ids = site["stones"]["stone_id"]
    found = pd.DataFrame({"stone_id": ids, "pattern": pattern, "severity": np.where(harmed, 2, 0), **more})
    found["finding_id"] = [f"P{n}" for n in range(len(found))]
    results = [name for name in ("association", "stone_hotspots", "stone_condition") if name in site]
    return site.without(tuple(results)).with_layers({"findings": found})


def rows_of(site: Site, name: str) -> tuple[Any, list[str]]:
    done = pipeline.run(site, [name]).site
    layer = {"evidence": "association", "hotspots": "stone_hotspots"}[name]
    return done[layer], list(next(one.notes for one in done.log if one.analysis == name))


def patches(site: Site, seed: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return two patches around stones somewhere, and stones harmed nine times in ten there, else one in twelve."""
    rng = np.random.default_rng(seed)
    xy = places_m(site["stones"])
    middles = xy[rng.choice(np.flatnonzero((site["stones"]["section"] != "E").to_numpy()), 2)]
    patch = (np.hypot(*(xy[:, None] - middles[None]).transpose(2, 0, 1)) <= PATCH_M).any(axis=1)
    return patch, rng.random(len(xy)) < np.where(patch, 0.9, 0.08)


def test_planted_patches_are_found_with_little_beside_them(sample_run: Site) -> None:
    """Twelve draws: a rim about half a band wide is called hot too, so that patches much narrower keep more of it."""
    xy = places_m(sample_run["stones"])
    recall, outside = [], []
    for seed in range(12):
        patch, harmed = patches(sample_run, seed)
        hot = find_hot_spots(xy, np.where(harmed, 2, 0), band_m=choose_band(xy)).state == HOT
        recall.append(hot[patch].mean())
        outside.append((hot & ~patch).sum() / hot.sum())
    assert np.mean(recall) >= 0.95
    assert np.mean(outside) <= 0.20
    assert min(recall) >= 0.90
    assert max(outside) <= 0.25


def test_the_analysis_finds_the_patches_of_the_first_draw(sample_run: Site) -> None:
    patch, harmed = patches(sample_run, 0)
    table, notes = rows_of(planted(sample_run, harmed, "moss"), "hotspots")
    growth = table[table["harm"] == "growth"].set_index("stone_id")["state"].reindex(sample_run["stones"]["stone_id"])
    hot = (growth == "hot").to_numpy()
    assert hot[patch].mean() >= 0.95
    assert (hot & ~patch).sum() / hot.sum() <= 0.20
    assert f"{int(hot.sum())} stones stand in hot spots" in "\n".join(notes)


def test_damage_by_material_alone_is_not_laid_on_the_water(sample_run: Site) -> None:
    """Simpson: stones of the wetted sections are another stone than those of the dry one."""
    rng = np.random.default_rng(4)
    wetted = exposure_of(sample_run).wetted == 1
    soft = rng.random(len(wetted)) < np.where(wetted, 0.75, 0.25)
    harmed = rng.random(len(wetted)) < np.where(soft, 0.6, 0.1)
    stones = sample_run["stones"].assign(material=np.where(soft, "marble", "granite"))
    table, notes = rows_of(planted(sample_run.with_layers({"stones": stones}), harmed, "scaling"), "evidence")
    rows = table[table["harm"] == "detachment"].set_index(["measure", "stratum"])
    assert rows.loc[("odds ratio", "all"), "low"] > 1.5
    within = rows.loc[("odds ratio within strata", "by material")]
    assert within["low"] < 1 < within["high"]
    said = next(note for note in notes if note.startswith("Detachment"))
    assert "material may explain that: it is not laid on the water" in said
    assert "point to the water" not in said


def test_the_iron_fed_patch_and_the_railing_of_the_sample_are_set_apart(sample_run: Site) -> None:
    truth = pd.read_csv(TRUTH / "stones.csv", dtype={"stone_id": str}).set_index("stone_id")
    causes = pd.read_csv(TRUTH / "findings.csv").merge(sample_run["findings"][["finding_id", "stone_id"]])
    apart, _ = set_apart(sample_run, "staining")
    ids = sample_run["stones"]["stone_id"]
    away = set(ids[np.logical_or.reduce(list(apart.values()))])
    for cause in ("iron feed", "iron railing"):
        stones = set(causes.loc[causes["cause"] == cause, "stone_id"])
        assert len(stones) >= 5
        assert stones <= away, cause
    # nothing the bore spray stained is taken away
    sprayed = set(causes.loc[causes["cause"] == "iron of the bore spray", "stone_id"])
    assert not sprayed & away
    assert (truth.loc[sorted(away), "bore_dose"] == 0).all()


def test_what_age_did_is_not_laid_on_the_water_and_what_the_bore_did_is(sample_run: Site) -> None:
    record = next(one for one in sample_run.log if one.analysis == "evidence")
    said = {note.split(":")[0]: note for note in record.notes}
    for harm in ("Staining", "Encrustation"):
        assert "The faces of the same stones point to the water as a cause." in said[harm]
    for harm in ("Detachment", "Cracks"):
        assert "There is no sign that wetted stones carry more of it" in said[harm]
        assert "cause." not in said[harm]
    table = sample_run["association"].set_index(["harm", "measure", "stratum"])
    low, high = (table[name]["detachment", "odds ratio within strata", "by age"] for name in ("low", "high"))
    assert low < 1 < high


def test_a_section_that_is_all_irrigated_prints_pairs_and_no_odds_ratio_between_stones(sample_run: Site) -> None:
    wetted = exposure_of(sample_run).wetted == 1
    stones = sample_run["stones"]
    kept = stones[wetted & stones["section"].isin(["A", "B"]).to_numpy()]
    bare = sample_run.without(("association", "stone_condition", "stone_wetting", "wetting_links"))
    found = bare["findings"]
    site = bare.with_layers({"stones": kept, "findings": found[found["stone_id"].isin(kept["stone_id"])]})
    table, notes = rows_of(site, "evidence")
    between = table["measure"].str.startswith("odds ratio") & ~table["measure"].str.contains("within stones")
    assert not between.any()
    pairs = table[(table["measure"] == "odds ratio within stones") & (table["harm"] == "staining")]
    assert {"all", "section: A", "section: B"} <= set(pairs["stratum"])
    text = "\n".join(notes)
    assert "stones are not compared with each other" in text
    assert "No dry stone is left to survey here" in text


def test_the_same_stones_with_the_faces_dealt_out_anew_point_to_no_cause(sample_run: Site) -> None:
    """The check on the check: without the side there is no evidence within stones."""
    rng = np.random.default_rng(5)
    found = sample_run["findings"]
    upright = found["face"].isin(["front", "left", "back", "right"]).to_numpy()
    faces = found["face"].to_numpy(dtype=object).copy()
    faces[upright] = rng.choice(["front", "left", "back", "right"], int(upright.sum()))
    site = sample_run.without(("association",)).with_layers({"findings": found.assign(face=faces)})
    _, notes = rows_of(site, "evidence")
    assert not any("point to the water as a cause" in note for note in notes)
