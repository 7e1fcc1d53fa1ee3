"""A grid in classes as areas: every cell in just one, none without a value."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from gravegis.science.condition.areas import class_areas, class_of

EDGES = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)


@given(arrays(np.float64, (6, 7), elements=st.sampled_from([np.nan, 0.0, 0.1, 0.2, 0.5, 0.8, 1.0])))
def test_each_cell_with_a_value_lies_in_one_area_of_its_class(
    values: np.ndarray[tuple[int, int], np.dtype[np.float64]],
) -> None:
    made = class_areas(values, EDGES, left_m=100.0, top_m=50.0, cell_m=0.5)
    areas = np.array([area for _, area in made], dtype=object)
    for row, column in np.ndindex(values.shape):
        middle = shapely.Point(100.0 + 0.5 * (column + 0.5), 50.0 - 0.5 * (row + 0.5))
        at = [one for (one, _), hit in zip(made, shapely.contains(areas, middle), strict=True) if hit] if made else []
        assert at == ([] if np.isnan(values[row, column]) else [int(class_of(values[row, column], EDGES))])
    assert sum(area.area for _, area in made) == pytest.approx(np.isfinite(values).sum() * 0.25)


def test_a_value_on_an_edge_is_in_the_upper_class_and_one_in_the_last() -> None:
    assert class_of([0.0, 0.19, 0.2, 0.999, 1.0, np.nan], EDGES).tolist() == [0, 0, 1, 4, 4, -1]
