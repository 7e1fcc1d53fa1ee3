"""A plan in feet, gallons and psi with names cut to ten letters comes in with eight commands, right to a centimetre."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pytest
import shapely
from click.testing import CliRunner
from pyproj import Transformer

from gravegis import cli, store

if TYPE_CHECKING:
    from gravegis.site import Site

ROOT = Path(__file__).resolve().parents[2]
SENT = ROOT / "sample_layers" / "juniper_bench"
TRUTH = ROOT / "sample_layers" / "juniper_bench_truth"
README = (ROOT / "README.md").read_text(encoding="utf-8")
MOST_COMMANDS = 8


def commands() -> list[list[str]]:
    """Return the commands as the README prints them."""
    block = README.split("worked through: Juniper Bench")[1].split("```")[1]
    return [shlex.split(line)[1:] for line in block.splitlines() if line.startswith("gravegis ")]


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Site:
    folder = tmp_path_factory.mktemp("juniper") / "bench"
    files = {path.name: str(path) for path in SENT.iterdir()}
    for words in commands():
        typed = [str(folder) if word == "bench" else files.get(word, word) for word in words]
        done = CliRunner().invoke(cli.gravegis, typed, catch_exceptions=False)
        assert done.exit_code == 0, done.output
    return store.load(folder)


def truth(name: str) -> pd.DataFrame:
    text = {"plot_id": str, "head_id": str, "zone_id": str, "stone_id": str, "lot": str}
    return pd.read_csv(TRUTH / f"{name}.csv", dtype=text).set_index(f"{name.removesuffix('s')}_id")


def apart_m(layer: Any, known: pd.DataFrame) -> float:
    """Return how far shapes are off at most, corner by corner whatever they start with (Hausdorff). [m]"""
    shapes = layer.set_index(known.index.name).geometry.reindex(known.index)
    return float(shapely.hausdorff_distance(shapes.to_numpy(), shapely.from_wkt(known["wkt"].to_numpy())).max())


def test_few_commands_are_enough_and_the_grid_is_the_metric_twin(bench: Site) -> None:
    assert 1 <= len(commands()) <= MOST_COMMANDS
    assert bench.info.crs == "EPSG:32149"
    assert {name: len(bench[name]) for name in bench} == {
        "plots": 272,
        "heads": 25,
        "zones": 3,
        "stones": 250,
        "water": 1,
    }


@pytest.mark.parametrize("name", ["plots", "heads"])
def test_shapes_in_us_survey_feet_are_right_to_a_centimetre(bench: Site, name: str) -> None:
    assert apart_m(bench[name], truth(name)) < 0.01


@pytest.mark.parametrize("name", ["plots", "heads"])
def test_an_independent_way_from_the_file_gives_the_same_places(bench: Site, name: str) -> None:
    """The raw numbers of the file, from feet to degrees and from degrees to metres, by calls of our own."""
    import pyogrio

    raw = pyogrio.raw.read(SENT / f"{name}.shp")
    shapes = shapely.from_wkb(raw[2])
    to_degrees = Transformer.from_crs("EPSG:2286", "EPSG:4269", always_xy=True)
    to_metres = Transformer.from_crs("EPSG:4269", "EPSG:32149", always_xy=True)
    corners = shapely.get_coordinates(shapes)
    expected = np.column_stack(to_metres.transform(*to_degrees.transform(corners[:, 0], corners[:, 1])))
    ids = raw[3][list(raw[0]["fields"]).index("PLOT_NUMBE" if name == "plots" else "HEAD_NUMBE")]
    given = shapely.set_coordinates(shapes.copy(), expected)
    ours = bench[name].set_index(f"{name.removesuffix('s')}_id").geometry.reindex(ids).to_numpy()
    assert shapely.hausdorff_distance(ours, given).max() < 0.01
    # one US survey foot is 1200/3937 m by definition: the two grids differ in their unit only
    assert np.abs(corners * 1200 / 3937 - expected).max() < 0.01


@pytest.mark.cited("NIST Special Publication 811, appendix B: foot 0.3048 m, US gallon 3.785411784 L, psi 6.894757 kPa")
def test_heads_are_right_in_metres_litres_and_kilopascals(bench: Site) -> None:
    known = truth("heads")
    heads = bench["heads"].set_index("head_id").reindex(known.index)
    for column in ("throw_m", "flow_l_min", "pressure_kpa", "arc_from_deg", "arc_sweep_deg", "riser_m"):
        assert heads[column].to_numpy() == pytest.approx(known[column].to_numpy(), abs=1e-4), column
    assert heads["zone_id"].tolist() == known["zone_id"].tolist()
    assert heads["kind"].tolist() == known["kind"].tolist()
    assert known["throw_m"].between(34 * 0.3048, 36 * 0.3048).all()


def test_zones_are_a_table_with_their_limits(bench: Site) -> None:
    known = truth("zones")
    zones = bench["zones"].set_index("zone_id").reindex(known.index)
    assert zones["valve_limit_l_min"].to_numpy() == pytest.approx(known["valve_limit_l_min"].to_numpy(), abs=1e-3)
    assert zones["source_id"].tolist() == known["source_id"].tolist()


def test_stones_stand_where_the_phone_put_them_and_truth_tells_by_how_much_it_erred(bench: Site) -> None:
    known = truth("stones")
    stones = bench["stones"].set_index("stone_id").reindex(known.index)
    assert apart_m(bench["stones"], known) < 0.01
    for column in ("width_m", "thickness_m", "height_m"):
        assert stones[column].to_numpy() == pytest.approx(known[column].to_numpy(), abs=1e-4), column
    assert stones["position_error_m"].to_numpy() == pytest.approx(10 * 0.3048)
    assert stones["plot_id"].tolist() == known["plot_id"].tolist()
    off = np.column_stack([stones.geometry.x - known["true_e_m"], stones.geometry.y - known["true_n_m"]])
    # standard deviation of 250 draws: 3 m to within three of its standard errors
    assert off.std(axis=0) == pytest.approx([3.0, 3.0], abs=3 * 3.0 / np.sqrt(2 * len(off)))


def test_names_of_columns_are_cut_to_ten_letters() -> None:
    import pyogrio

    for name in ("plots", "heads", "zones"):
        fields = list(pyogrio.read_info(SENT / f"{name}.shp")["fields"])
        assert all(len(field) <= 10 for field in fields)
        assert any(len(field) == 10 for field in fields)


def test_the_laboratory_sheet_is_what_the_truth_says() -> None:
    """Recomputed from the sheet by hand: hardness as CaCO3 to the ion, degrees Fahrenheit to Celsius."""
    sheet = pd.read_csv(SENT / "lab_sheet.csv").set_index("Parameter")["Result"]
    known = pd.read_csv(TRUTH / "water.csv").iloc[0]
    assert float(sheet["Calcium hardness"]) * 40.078 / 100.086 == pytest.approx(known["calcium_mg_l"], abs=0.01)
    assert float(sheet["Magnesium hardness"]) * 24.305 / 100.086 == pytest.approx(known["magnesium_mg_l"], abs=0.01)
    assert (float(sheet["Temperature"]) - 32) / 1.8 == pytest.approx(known["temp_degc"], abs=1e-3)
    below = [str(name) for name, value in sheet.items() if re.match(r"<\s*\d", value)]
    assert sorted(below) == ["Iron, dissolved", "Manganese, dissolved"]
