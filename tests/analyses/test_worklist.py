"""The worklist as a whole: no combination of stone, harm, part, stability, leave and heat gives a crew what harms."""

from __future__ import annotations

import itertools
import json
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from gravegis import pipeline
from gravegis.analyses.worklist.priorities import priorities
from gravegis.analyses.worklist.settings import WorklistSettings
from gravegis.science.care.supplies import load_for
from gravegis.science.condition.scores import group_of
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gravegis.layers.canonical import Frame

MATERIALS = ("marble", "sandstone", "dark granite", "slate", "concrete", "zinc", "iron", "bronze", "wood", None)
PATTERNS = (
    "lichen", "soiling", "staining", "encrustation", "efflorescence", "black crust", "graffiti", "plant", "patina",
    "erosion", "moist area", "sugaring", "crack", "delamination", "something odd", None,
)  # fmt: skip
PARTS = (None, "gilding", "paint", "portrait", "lead letters", "plaque", "railing", "vase", "base", "unheard of")
STABILITY = ("firm", "unchecked", "moves", "do not approach", None)
LEAVE = (None, "granted", "asked", "refused")
COMBINATIONS = tuple(itertools.product(MATERIALS, PATTERNS, PARTS, STABILITY, LEAVE))
DAY = "2026-12-02"


def site_of(rows: Sequence[tuple[Any, ...]], **layers: Frame) -> Site:
    """A site with one stone per combination; every second one leans a little and a third are tall."""
    names = [f"s{number}" for number in range(len(rows))]
    material, pattern, part, stability, leave = (list(column) for column in zip(*rows, strict=True))
    stones = gpd.GeoDataFrame(
        {
            "stone_id": names, "material": material, "stability": stability, "form": "tablet",
            "stability_on": ["2026-11-01" if word == "firm" else None for word in stability],
            "height_m": [1.6 if number % 3 == 0 else 0.8 for number in range(len(rows))], "width_m": 0.5,
            "thickness_m": 0.08, "year": 1900, "surveyed_on": "2026-11-01",
        },
        geometry=shapely.points(np.arange(len(rows)) % 300 * 2.0, np.arange(len(rows)) // 300 * 2.0),
        crs="EPSG:7854",
    )  # fmt: skip
    table = pd.DataFrame({"stone_id": names, "pattern": pattern, "part": part, "status": leave})
    found = table[table["pattern"].notna()][["stone_id", "pattern"]].assign(severity=2)
    made = {
        "stones": stones, "findings": found,
        "parts": table[table["part"].notna()][["stone_id", "part"]],
        "permissions": table[table["status"].notna()][["stone_id", "status"]].assign(kind="owner"),
        **layers,
    }  # fmt: skip
    site = Site(SiteInfo("t", "EPSG:7854"))
    return site.with_layers({name: frame for name, frame in made.items() if len(frame)})


def worklist(site: Site, **settings: str) -> Any:
    done = pipeline.run(site, ["worklist"], typed={"worklist": {"as_of": DAY, **settings}}).site
    return done["worklist"].set_index("stone_id")


def codes(row: Any) -> set[str]:
    return {one["code"] for one in json.loads(row["reasons"])}


@pytest.fixture(
    scope="module",
    params=[pytest.param(29, id="some"), pytest.param(1, id="all", marks=pytest.mark.full)],
)
def listed(request: pytest.FixtureRequest) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The combinations and their worklist: every 29th (it shares no factor with a list above), or all of them."""
    rows = COMBINATIONS[:: request.param]
    table = pd.DataFrame(rows, columns=["material", "pattern", "part", "stability", "leave"])
    table.index = pd.Index([f"s{number}" for number in range(len(rows))])
    heat = pd.DataFrame(
        {"stone_id": table.index[::2], "face": "front", "at": "13:00", "surface_degc": 55.0, "over_water_k": 37.0}
    )
    return table, worklist(site_of(rows, face_heat=heat))


def test_no_crew_step_ever_uses_what_is_forbidden(listed: tuple[pd.DataFrame, pd.DataFrame]) -> None:
    steps = " ".join(listed[1].loc[listed[1]["who"] == "crew", "steps"].unique()).lower()
    steps = steps.replace("never mix it with bleach or soap", "")
    for never in ("acid", "bleach", "wire", "pressure", "scrape", "sand", "grind", "steam", "safe"):
        assert never not in steps


def test_iron_lime_and_what_else_is_a_conservators_is_never_a_crews(listed: tuple[pd.DataFrame, pd.DataFrame]) -> None:
    table, work = listed
    groups = {one: group_of(one) for one in PATTERNS if one}
    crews = work[work["method"].notna()]
    assert {groups[one] for one in table.loc[crews.index, "pattern"]} <= {"growth", "soiling"}
    left = table.index[[groups.get(one) in {"staining", "encrustation"} for one in table["pattern"]]]
    assert set(work.loc[left, "who"]) == {"conservator only"}
    assert (work.loc[left, "work_min"] == 0).all()
    assert all({"conservator_only", "stays"} <= codes(row) for _, row in work.loc[left].iterrows())


def test_nothing_held_is_in_a_crews_list_and_every_hold_names_its_rule(
    listed: tuple[pd.DataFrame, pd.DataFrame],
) -> None:
    table, work = listed
    open_ = work[(work["who"] == "crew") & work["hold"].isna()]
    assert not set(table.loc[open_.index, "stability"].dropna()) & {"moves", "do not approach"}
    cleaned = open_[open_["method"].notna()]
    assert not set(table.loc[cleaned.index, "leave"].dropna()) & {"asked", "refused"}
    held = work[work["hold"].notna()]
    assert held["hold_reason"].str.len().gt(20).all()
    assert open_["hold_reason"].isna().all()
    unchecked = table.loc[open_.index, "stability"].isin(["unchecked"]) | table.loc[open_.index, "stability"].isna()
    assert open_.loc[unchecked, "first_step"].notna().all()


def test_a_part_of_other_material_takes_the_crew_or_the_cleaner_away(
    listed: tuple[pd.DataFrame, pd.DataFrame],
) -> None:
    table, work = listed
    cleaned = work[work["method"].notna()]
    parts = table.loc[cleaned.index, "part"]
    assert not set(parts.dropna()) & {"gilding", "paint", "portrait", "unheard of"}
    assert (cleaned.loc[parts.isin(["plaque", "railing"]), "cleaner_l"] == 0).all()
    assert (cleaned.loc[parts.isin(["plaque", "railing"]), "skill"] == "brush").all()


def test_every_method_says_why_and_carries_minutes_water_and_a_day(listed: tuple[pd.DataFrame, pd.DataFrame]) -> None:
    cleaned = listed[1][listed[1]["method"].notna()]
    assert len(cleaned) > 10
    assert all("way" in codes(row) for _, row in cleaned.iterrows())
    assert (cleaned[["work_min", "water_l"]] > 0).all().all()
    assert (cleaned["due_on"] >= DAY).all()
    others = listed[1][listed[1]["method"].isna()]
    assert (others[["water_l", "cleaner_l"]] == 0).all().all()
    assert others["due_on"].isna().all()


def test_a_face_worked_out_as_hot_is_not_wetted_and_one_that_is_not_has_no_rule_of_thumb(
    listed: tuple[pd.DataFrame, pd.DataFrame],
) -> None:
    table, work = listed
    cleaned = work[work["method"].notna()]
    hot = cleaned.index.isin(table.index[::2])
    assert set(cleaned.loc[hot, "not_from"]) == {"13:00"}
    assert cleaned.loc[~hot, "not_from"].isna().all()


def test_without_temperatures_dark_stone_waits_by_the_clock_and_the_box_says_so() -> None:
    rows = [("dark granite", "lichen", None, "firm", None), ("marble", "lichen", None, "firm", None)]
    done = pipeline.run(site_of(rows), ["worklist"], typed={"worklist": {"as_of": DAY, "hot_from": "10:30"}}).site
    work: Any = done["worklist"].set_index("stone_id")
    assert work.loc["s0", ["not_from", "not_to"]].tolist() == ["10:30", "17:00"]
    assert pd.isna(work.loc["s1", "not_from"])
    said = next(record for record in done.log if record.analysis == "worklist").assumed
    assert any("no temperatures were worked out" in one for one in said)


def test_a_list_of_nothing_but_iron_and_lime_is_empty_for_crews_and_says_so() -> None:
    rows = [("marble", harm, None, "firm", None) for harm in ("staining", "encrustation", "orange stain")]
    done = pipeline.run(site_of(rows), ["worklist"], typed={"worklist": {"as_of": DAY}}).site
    assert not (done["worklist"]["who"] == "crew").any()
    notes = " ".join(next(record for record in done.log if record.analysis == "worklist").notes)
    assert "0 stones may go out to crews" in notes
    assert "3 stones show nothing but iron or lime" in notes


def test_a_military_marker_waits_for_leave_and_goes_out_when_it_is_granted() -> None:
    rows = [("marble", "lichen", None, "firm", None)] * 3
    site = site_of(rows)
    stones = site["stones"].assign(
        significance=np.array(["official military marker", "official military marker", None], dtype=object)
    )
    leave = pd.DataFrame({"stone_id": ["s1"], "kind": ["war-graves authority"], "status": ["granted"]})
    work = worklist(site.with_layers({"stones": stones, "permissions": leave}))
    assert work.loc["s0", "hold"] == "needs permission"
    assert "war-graves authority" in work.loc["s0", "hold_reason"]
    assert work.loc[["s1", "s2"], "hold"].isna().all()


def test_a_marker_nobody_has_looked_at_waits_for_leave_too() -> None:
    site = site_of([("marble", None, None, "firm", None)] * 2)
    stones = site["stones"].assign(significance=np.array(["official military marker", None], dtype=object))
    work = worklist(site.with_layers({"stones": stones}))
    assert work["treatment"].tolist() == ["look and record first"] * 2
    assert work["hold"].fillna("").tolist() == ["needs permission", ""]


def test_leave_for_a_section_holds_for_its_stones_only() -> None:
    site = site_of([("marble", "lichen", None, "firm", None)] * 3)
    stones = site["stones"].assign(section=["A", "A", "B"])
    leave = pd.DataFrame({"section": ["A"], "kind": ["owner"], "status": ["asked"]})
    work = worklist(site.with_layers({"stones": stones, "permissions": leave}))
    assert work["hold"].fillna("").tolist() == ["needs permission", "needs permission", ""]


def test_a_pond_takes_the_cleaner_away_within_its_buffer_and_hives_hold() -> None:
    site = site_of([("marble", "lichen", None, "firm", None)] * 4)  # stones 2 m apart in a row from (0, 0)
    ground = gpd.GeoDataFrame(
        {"kind": ["pond", "hives"], "buffer_m": [2.5, None]},
        geometry=[shapely.box(-4, -1, -1, 1), shapely.box(11.5, -1, 12, 1)], crs="EPSG:7854",
    )  # fmt: skip
    work = worklist(site.with_layers({"sensitive": ground}))
    # the pond ends 1 m before s0 and 3 m before s1; the hives begin 5.5 m after s3
    assert work["method"].tolist() == ["water only", "scrub now", "scrub now", "scrub now"]
    assert work["hold"].isna().all()
    nearer = ground.assign(geometry=np.array([shapely.box(-4, -1, -1, 1), shapely.box(10, -1, 12, 1)]))
    work = worklist(site.with_layers({"sensitive": nearer}))
    assert work["hold"].fillna("").tolist() == ["", "", "", "ask first: sensitive ground"]
    assert "5 m are to be kept" in work.loc["s3", "hold_reason"]


def test_a_cleaning_lately_holds_and_a_repeat_under_spray_says_mend_it_first() -> None:
    site = site_of([("marble", "lichen", None, "firm", None)] * 3)
    done = pd.DataFrame(
        {"stone_id": ["s0", "s1"], "what": ["cleaned", "cleaned"], "done_on": ["2026-06-01", "2020-06-01"]}
    )
    heads = gpd.GeoDataFrame(
        {"head_id": ["h"], "throw_m": [10.0]}, geometry=[shapely.Point(3, 0)], crs="EPSG:7854"
    )  # fmt: skip
    site = site.with_layers({"treatments": done, "heads": heads})
    run = pipeline.run(site, ["wetting", "worklist"], typed={"worklist": {"as_of": DAY}}).site
    work = run["worklist"].set_index("stone_id")
    assert work["hold"].fillna("").tolist() == ["cleaned lately", "", ""]
    assert work["fix_spray"].tolist() == [True, True, True]
    assert "regrowth_under_spray" in codes(work.loc["s1"])
    assert "regrowth_under_spray" not in codes(work.loc["s2"])
    assert worklist(site, clean_again="s0")["hold"].isna().all()


def test_minutes_of_your_own_take_the_place_of_the_table_and_say_how_many() -> None:
    site = site_of([("marble", "lichen", None, "firm", None)] * 7)
    done = pd.DataFrame(
        {
            "stone_id": [f"s{number}" for number in range(5)], "what": "cleaned", "done_on": "2020-01-01",
            "took_min": [40.0, 44.0, 46.0, 48.0, 60.0],
        }
    )  # fmt: skip
    site = site.with_layers({"stones": site["stones"].assign(height_m=0.8)})
    before = worklist(site)["work_min"]
    recorded = site.with_layers({"treatments": done})
    after = worklist(recorded)
    assert set(before) != {46.0}
    assert after["work_min"].tolist() == [46.0] * 7  # the middle one of the five
    assert all("own_minutes" in codes(row) for _, row in after.iterrows())
    assert worklist(recorded, own_minutes_n="6")["work_min"].tolist() == before.tolist()


def test_pinned_stones_come_first_and_banned_ones_not_at_all() -> None:
    work = worklist(site_of([("marble", "lichen", None, "firm", None)] * 3), pin="s2; s9", ban="s0")
    assert work["priority"].tolist() == [2, 2, 3]
    assert work["hold"].fillna("").tolist() == ["taken off the list", "", ""]
    assert "by hand" in work.loc["s0", "hold_reason"]


def ranked(site: Site, **layers: Frame) -> tuple[list[int], list[set[str]]]:
    """Priorities and codes of their reasons, with layers as somebody may have worked them out."""
    none = np.zeros(len(site["stones"]), np.bool_)
    found, why, _ = priorities(site.with_layers(layers), site["stones"], none, WorklistSettings())
    return found.tolist(), [{one["code"] for one in reasons} for reasons in why]


def test_a_stone_that_the_stream_strikes_and_harm_of_the_highest_urgency_move_up_and_say_so() -> None:
    site = pipeline.run(site_of([("marble", "lichen", None, "firm", None)] * 2), ["condition"]).site
    wet = pd.DataFrame({"stone_id": ["s0", "s1"], "reached": True, "state": ["struck", "rained on"], "margin_m": 1.0})
    found, why = ranked(site, stone_wetting=wet)
    assert found[0] == found[1] + 1
    assert "priority_struck" in why[0] - why[1]
    found, why = ranked(site, stone_condition=site["stone_condition"].assign(overall=1, urgency=[3, 0]))
    assert found == [3, 1]
    assert "priority_urgent" in why[0] - why[1]


def test_the_sheet_of_a_marble_tablet_with_heavy_growth_reads_step_by_step() -> None:
    site = site_of([("marble", "lichen", None, "unchecked", None)])
    heavy = site.with_layers(
        {"findings": site["findings"].assign(severity=3), "stones": site["stones"].assign(height_m=0.9)}
    )
    row = worklist(heavy).iloc[0]
    assert row["first_step"] == "leader checks first"
    wanted = (
        "protected", "Photograph the stone dry", "stop-signs", "small patch", "Wet the base", "Lift thick growth",
        "Rinse off", "water and a soft brush", "non-ionic", "put on the cleaner", "never mix", "colour may shift",
        "Brush small areas again", "run-off is clear", "Repeat at most once", "Photograph it wet", "new findings",
        "look again",
    )  # fmt: skip
    steps = row["steps"].split(" | ")
    assert len(steps) == len(wanted)
    for step, words in zip(steps, wanted, strict=True):
        assert words.lower() in step.lower()


def test_leave_with_strings_attached_keeps_the_crew_within_them() -> None:
    site = site_of([("marble", "lichen", None, "firm", None)] * 4)
    leave = pd.DataFrame(
        {
            "stone_id": ["s0", "s1", "s2"], "kind": ["heritage listing", "owner", "photo consent"],
            "status": ["granted", "granted", "refused"],
            "conditions": ["water and soft brushes only", "give notice", None],
        }
    )  # fmt: skip
    work = worklist(site.with_layers({"permissions": leave}))
    assert work["hold"].isna().all()
    assert work["method"].tolist() == ["water only", "scrub now", "scrub now", "scrub now"]
    assert work.loc["s0", "cleaner_l"] == 0
    assert work.loc["s0", "steps"].startswith("Agreed only as follows: water and soft brushes only | ")
    assert "leave_water_only" in codes(work.loc["s0"])
    assert work.loc["s1", "steps"].startswith("Agreed only as follows: give notice | ")
    assert "Photograph" not in work.loc["s2", "steps"]
    assert "no photograph" in work.loc["s2", "steps"]
    assert "Photograph" in work.loc["s3", "steps"]


def test_the_conditions_of_the_sample_hold_in_its_section(sample_run: Site) -> None:
    stones = sample_run["stones"].set_index("stone_id")
    work = sample_run["worklist"].set_index("stone_id")
    listed_ = work[(stones.loc[work.index, "section"] == "C").to_numpy() & work["method"].notna().to_numpy()]
    assert len(listed_) > 10
    assert (listed_["cleaner_l"] == 0).all()
    assert set(listed_["method"]) == {"water only"}


def test_a_name_typed_by_hand_that_no_stone_has_is_said() -> None:
    site = site_of([("marble", "lichen", None, "firm", None)])
    done = pipeline.run(site, ["worklist"], typed={"worklist": {"as_of": DAY, "ban": "s0; s00", "pin": "x"}}).site
    notes = " ".join(done.log[-1].notes)
    assert "no stone s00, named in ban" in notes
    assert "no stone x, named in pin" in notes


def test_figures_without_a_source_stand_in_the_box_with_the_value_used_and_only_where_they_counted() -> None:
    def box(*rows: tuple[Any, ...], **typed: str) -> str:
        done = pipeline.run(site_of(rows), ["worklist"], typed={"worklist": {"as_of": DAY, **typed}}).site
        return " ".join(next(record for record in done.log if record.analysis == "worklist").assumed)

    dark = ("dark granite", "lichen", None, "unchecked", None)
    said = box(dark, dark, hot_from="10:30", interval_days="400", gate_height_m="1.2")
    for words in ("no source", "gate_height_m 1.2 m", "interval_days 400 days", "hot_from 10:30", "rinse_kpa 140 kPa",
                  "leader_check_min 2 min", "container_l 20 l"):  # fmt: skip
        assert words in said
    assert "inspection_min" not in said
    assert "hot_from" not in box(("marble", "lichen", None, "unchecked", None))
    assert "interval_days" not in box(("marble", "staining", None, "unchecked", None))


def test_litres_can_be_set_and_the_label_on_file_outranks_our_strength() -> None:
    site = site_of([("marble", "lichen", None, "firm", None)])
    usual, less = worklist(site).iloc[0], worklist(site, water_factor="0.5", cleaner_factor="2").iloc[0]
    assert less["water_l"] == usual["water_l"] / 2
    assert less["cleaner_l"] == usual["cleaner_l"] * 2
    assert pd.isna(usual["concentrate_l"])  # no label: no figure
    soap = pd.DataFrame({"product_id": ["a"], "kind": ["soap"], "strength": ["1:99"]})
    assert pd.isna(worklist(site.with_layers({"products": soap})).iloc[0]["concentrate_l"])
    both = pd.DataFrame({"product_id": ["a", "b"], "kind": ["soap", "quat"], "strength": ["1:99", "1:4"],
                         "first_aid": ["x", "rinse eyes 15 min"]})  # fmt: skip
    row = worklist(site.with_layers({"products": both})).iloc[0]
    assert row["concentrate_l"] == pytest.approx(row["cleaner_l"] / 5)
    assert "rinse eyes 15 min" in row["steps"]
    assert "1:4" in row["steps"]


def test_only_a_tap_known_as_drinking_water_saves_bringing_water(listed: tuple[pd.DataFrame, pd.DataFrame]) -> None:
    crew = listed[1][(listed[1]["who"] == "crew") & listed[1]["hold"].isna()]
    for good in (True, False):
        load = load_for(crew["water_l"], crew["cleaner_l"], np.zeros(len(crew)), people_n=2, good_tap=good)
        assert load.bring_l == (0.0 if good else load.water_l)
        assert load.water_l > 0
    rinses = crew.loc[crew["steps"].str.contains("Rinse with"), "steps"]
    assert len(rinses) > 0
    assert rinses.str.contains("drinking-grade").all()


@pytest.mark.cited("consumables: 0.3 m2 4 to 8 l, tablet 15 to 35 l, 4 m2 50 to 120 l; common practice, no source")
def test_water_of_the_sample_lies_within_the_table_of_consumables(sample_run: Site) -> None:
    work = sample_run["worklist"]
    cleaned = work[work["method"] == "scrub now"]
    assert len(cleaned) > 20
    assert cleaned["water_l"].between(4, 120).all()
    assert cleaned["cleaner_l"].between(0.1, 2.0).all()
    assert (cleaned["work_min"].between(8, 182)).all()
    assert (work.loc[work["who"] != "crew", "work_min"] == 0).all()


def test_what_the_makers_of_the_sample_hid_in_it_comes_out(sample_run: Site) -> None:
    work, stones = sample_run["worklist"].set_index("stone_id"), sample_run["stones"].set_index("stone_id")
    military = stones.index[stones["significance"].fillna("").str.contains("military")]
    assert len(military) == 6
    # whatever is to be done there, a look too: nobody goes before the authority has agreed
    assert set(military) <= set(work.index)
    assert work.loc[military, "hold_reason"].str.contains("war-graves authority").all()
    assert set(work.loc[military, "hold"]) <= {"needs permission", "trained tester first", "moves", "do not approach"}
    crews = work[(work["who"] == "crew") & work["hold"].isna()]
    unchecked = crews[stones.loc[crews.index, "stability"].isin(["unchecked"]).to_numpy()]
    assert len(unchecked) > 0
    assert unchecked["first_step"].notna().all()
    assert (stones.loc[unchecked.index, "height_m"].fillna(0) <= 1.0).all()
