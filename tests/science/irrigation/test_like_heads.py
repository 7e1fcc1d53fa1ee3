"""Flows nobody measured, from like heads."""

from __future__ import annotations

import numpy as np
import pytest

from gravegis.science.irrigation.like_heads import flow_of_like_heads


@pytest.mark.cited("matched heads: quarter, half and full circle send out 1:2:4 (common practice)")
def test_a_quarter_and_a_full_circle_are_filled_from_half_circles() -> None:
    flow = np.array([9.0, 9.0, np.nan, np.nan])
    filled, is_taken = flow_of_like_heads(flow, np.array([180.0, 180, 90, 360]), np.zeros(4, np.int64), least_n=2)
    np.testing.assert_allclose(filled, [9, 9, 4.5, 18])
    assert is_taken.tolist() == [False, False, True, True]


def test_too_few_known_or_another_group_leave_it_unknown() -> None:
    flow, size, like = np.array([9.0, np.nan, 5, 5, np.nan]), np.full(5, 180.0), np.array([0, 0, 1, 1, 2])
    filled, is_taken = flow_of_like_heads(flow, size, like, least_n=2)
    assert np.isnan(filled[[1, 4]]).all()
    assert not is_taken.any()
