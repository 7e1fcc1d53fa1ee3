"""Zone walks: a page a zone on paper, and what is typed back becomes observations, once however often it is typed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from gravegis.errors import LayerError
from gravegis.layers import bring
from gravegis.outputs import walk_form
from gravegis.science.routing.short_walk import short_walk
from tests.outputs.pdftext import outside, overlaps, pages
from tests.outputs.test_forms import fill

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.site import Site

DAY = {"seen_on": "2026-11-20", "by": "S"}


@pytest.fixture(scope="module")
def ground(sample_site: Site) -> Site:
    """Stones, heads and where a walk begins; nothing is worked out."""
    kept = ("stones", "heads", "bases")
    return sample_site.without(tuple(name for name in sample_site if name not in kept))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_each_zone_has_one_page_with_all_its_heads(ground: Site, tmp_path: Path, paper: str) -> None:
    read = pages(walk_form.write_walk(ground, tmp_path, paper=paper)[0].read_bytes())
    zones = ground["heads"].groupby("zone_id")["head_id"].agg(list)
    assert len(read) == len(zones)
    for page, (zone, heads) in zip(read, zones.items(), strict=True):
        assert f"zone {zone}" in page.text
        assert all(head in page.text for head in heads)
        assert outside(page, 20.0) == []
        assert overlaps(page) == []


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_a_walk_typed_back_gives_observations_and_faults_and_typed_twice_replaces(
    ground: Site, tmp_path: Path, kind: str
) -> None:
    walk_form.write_walk(ground, tmp_path)
    file = tmp_path / f"zone_walk.{kind}"
    fill(file, {0: {**DAY, "seen": "S", "face": "f", "wet_from_m": 0.2, "wet_to_m": 0.6, "fault": "sunk"},
                1: {**DAY, "seen": "dry"}})  # fmt: skip
    done = bring.bring_in(ground, "observations", file)
    seen = done.site["observations"]
    assert sorted(seen["seen"]) == ["dry", "struck"]
    row = seen[seen["seen"] == "struck"].iloc[0]
    assert (row["face"], row["wet_from_m"], row["wet_to_m"], row["by"]) == ("front", 0.2, 0.6, "S")
    heads = done.site["heads"].set_index("head_id")
    assert heads["fault"].loc[row["head_id"]] == "sunk"
    assert heads["seen_on"].loc[row["head_id"]] == "2026-11-20"
    fill(file, {1: {"seen": "M"}})
    again = bring.bring_in(done.site, "observations", file, more=True).site["observations"]
    assert sorted(again["seen"]) == ["mist", "struck"]
    fill(file, {0: {"seen_on": "2026-11-27"}, 1: {"seen_on": "2026-11-27"}})
    later = bring.bring_in(done.site, "observations", file, more=True).site["observations"]
    assert len(later) == 4


def test_a_word_that_is_none_of_the_four_is_refused_like_in_any_file(ground: Site, tmp_path: Path) -> None:
    walk_form.write_walk(ground, tmp_path)
    file = tmp_path / "zone_walk.csv"
    fill(file, {0: {**DAY, "seen": "dry", "wet_to_m": 300}})
    with pytest.raises(LayerError, match="300"):
        bring.bring_in(ground, "observations", file)
    fill(file, {0: {"wet_to_m": "", "fault": "sunk", "head_id": "nobody"}})
    with pytest.raises(LayerError, match="heads that are not known"):
        bring.bring_in(ground, "observations", file)


def test_a_site_without_zones_has_no_walk(ground: Site, tmp_path: Path) -> None:
    bare = ground.with_layers({"heads": ground["heads"].drop(columns="zone_id")})
    assert walk_form.write_walk(bare, tmp_path) == []


def test_a_walk_along_a_line_goes_from_end_to_end() -> None:
    xy = np.array([[30.0, 0], [0, 0], [20, 0], [10, 0]])
    assert short_walk(xy, np.array([-5.0, 0])).tolist() == [1, 3, 2, 0]


def test_a_walk_is_never_longer_than_always_to_the_nearest() -> None:
    rng = np.random.default_rng(3)
    for count in (2, 5, 12, 25):
        xy = rng.uniform(0, 50, (count, 2))
        order = short_walk(xy, np.zeros(2))
        assert sorted(order.tolist()) == list(range(count))
        near, left = [int(order[0])], set(range(count)) - {int(order[0])}
        while left:
            near.append(min(left, key=lambda one: float(np.hypot(*(xy[near[-1]] - xy[one])))))
            left.discard(near[-1])
        length = [float(np.hypot(*np.diff(xy[np.array(some)], axis=0).T).sum()) for some in (order.tolist(), near)]
        assert length[0] <= length[1] + 1e-9
