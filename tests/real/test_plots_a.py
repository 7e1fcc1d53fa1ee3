"""The whole job on the plots of a real ground that nobody here drew; skipped where the data is missing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pytest
import shapely

from gravegis import cli, store
from gravegis.layers import bring, match
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path

FACTS = "facts measured on the public files, shared/real/README.md"


@pytest.fixture(scope="module")
def plots_a(shared: Path) -> Path:
    folder = shared / "real" / "plots_a"
    if not folder.is_dir():
        pytest.skip(f"no {folder}")
    return folder


@pytest.fixture(scope="module")
def ground(plots_a: Path) -> Site:
    """The ground with sections, rows and plots."""
    site = Site(SiteInfo("plots_a", "EPSG:32636", "typed"))
    site = bring.bring_in(site, "sections", plots_a / "section.geojson", mapping=["section=sectionnum"]).site
    site = bring.bring_in(site, "rows", plots_a / "rows.geojson").site
    return bring.bring_in(site, "plots", plots_a / "graves.geojson", mapping=["plot_id=id"]).site


@pytest.mark.cited(FACTS)
def test_plots_rows_and_sections_come_in_with_the_areas_known(ground: Site) -> None:
    area = ground["plots"].area
    assert (len(ground["plots"]), len(ground["rows"]), len(ground["sections"])) == (2152, 98, 10)
    assert area.sum() == pytest.approx(7951.7, abs=0.05)
    assert (area.mean(), area.min(), area.max()) == pytest.approx((3.695, 2.283, 5.769), abs=5e-4)


@pytest.mark.cited(FACTS)
def test_rows_and_sections_join_by_place_without_a_mismatch(ground: Site) -> None:
    told: Any = ground["plots"].set_index("plot_id")[["section", "row"]]
    layers = {name: ground[name] for name in ground}
    layers["plots"] = layers["plots"].drop(columns=["section", "row"])
    filled: Any = match.fill_places(layers).layers["plots"].set_index("plot_id")[["section", "row"]]
    assert len(filled) == 2152
    assert (filled["section"] == told["section"]).all()
    assert (filled["row"] == told["row"]).all()


def with_stones_and_heads(ground: Site) -> dict[str, Any]:
    """One stone at each plot's representative point, heads of 11 m throw on an 11 m grid, seeded scores, a crew."""
    rng = np.random.default_rng(7)
    plots: Any = ground["plots"]
    stones = gpd.GeoDataFrame(
        {"stone_id": plots["plot_id"], "quick_score": rng.choice(4, len(plots), p=[0.4, 0.35, 0.2, 0.05])},
        geometry=plots.representative_point(), crs=plots.crs,
    )  # fmt: skip
    west, south, east, north = plots.total_bounds
    x, y = np.meshgrid(np.arange(west, east + 11, 11), np.arange(south, north + 11, 11))
    heads = gpd.GeoDataFrame(
        {"head_id": [f"H{i:04d}" for i in range(x.size)], "throw_m": 11.0},
        geometry=gpd.points_from_xy(x.ravel(), y.ravel()), crs=plots.crs,
    )  # fmt: skip
    base = gpd.GeoDataFrame({"base_id": ["gate"]}, geometry=[shapely.Point(west - 5, south - 5)], crs=plots.crs)
    return {"stones": stones, "heads": heads, "bases": base}


def test_the_whole_plan_runs_from_files_and_every_output_is_made(
    ground: Site, plots_a: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, frame in with_stones_and_heads(ground).items():
        frame.to_crs("EPSG:4326").to_file(tmp_path / f"{name}.geojson", driver="GeoJSON", COORDINATE_PRECISION=9)
    (tmp_path / "crews.csv").write_text("crew_id,shift_from,shift_to,base_id\nA,08:00,16:00,gate\n")
    site = tmp_path / "site"
    files = [f"{layer}={tmp_path / layer}.geojson" for layer in ("stones", "heads", "bases")]
    for arguments in (
        ["new", site, "--title", "Plots A", "--crs", "EPSG:32636"],
        ["add", site, "sections", plots_a / "section.geojson", "--column", "section=sectionnum"],
        ["add", site, "rows", plots_a / "rows.geojson"],
        ["add", site, "plots", plots_a / "graves.geojson", "--column", "plot_id=id"],
        *[["add", site, *one.split("=")] for one in files],
        ["add", site, "crews", tmp_path / "crews.csv"],
        ["run", site],
    ):
        with pytest.raises(SystemExit) as left:
            cli.main([str(one) for one in arguments])
        assert not left.value.code, capsys.readouterr().err
    done = store.load(site)
    assert len(done["stones"]) == 2152
    assert done["stones"]["section"].notna().all()
    # the heads stand on a square grid with the throw as spacing: no stone is farther than 7.8 m from one
    assert done["stone_wetting"]["reached"].all()
    assert done["stone_wetting"]["nearest_head_m"].max() <= np.hypot(5.5, 5.5)
    assert done["stone_wetting"]["season_h"].isna().all()
    assert len(done["stops"]) + len(done["unplanned"]) == len(done["worklist"])
    made = {path.name for path in (site / "out").iterdir()}
    assert {
        "wetting_map.pdf", "condition_map.pdf", "heat_map.pdf", "crew_map.pdf", "zones.pdf", "crew_A_day-1.pdf",
        "worklist.csv", "stops.csv", "heads.csv", "crew_A_day-1.gpx", "not_today.pdf",
    } <= made, made  # fmt: skip
