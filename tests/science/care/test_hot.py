"""Hot hours from worked-out temperatures: the same as a plain loop over the table, whatever its order."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.errors import LayerError
from gravegis.science.care.hot import by_temperature

HOURS = st.integers(0, 23)
ROWS = st.lists(st.tuples(st.integers(0, 4), HOURS, st.floats(-20, 60) | st.just(float("nan"))), max_size=40)


def plain_hours(rows: list[tuple[int, int, float]], stone: int, limit_k: float) -> tuple[float, float] | None:
    """Return first hot time and the one after the last, by looking at every row."""
    times = sorted({hour * 3600.0 for _, hour, _ in rows})
    hot = [hour * 3600.0 for one, hour, over in rows if one == stone and over > limit_k]
    if not hot:
        return None
    later = [at for at in times if at > max(hot)]
    return min(hot), later[0] if later else 86_399.0


@given(ROWS, st.floats(0, 40))
def test_hot_hours_are_those_of_a_plain_loop(rows: list[tuple[int, int, float]], limit_k: float) -> None:
    stones, hours, over = (np.array([row[k] for row in rows], dtype=np.float64) for k in range(3))
    made = by_temperature(5, stones.astype(np.intp), hours * 3600.0, over, limit_k=limit_k)
    for stone in range(5):
        wanted = plain_hours(rows, stone, limit_k)
        found = (made.from_s[stone], made.to_s[stone])
        assert found == wanted if wanted else np.isnan(found).all()
        worst = max((row[2] for row in rows if row[0] == stone and row[2] > limit_k), default=None)
        assert [one["values"]["over_k"] for one in made.reasons[stone]] == ([] if worst is None else [round(worst, 1)])


def test_columns_of_different_length_are_refused() -> None:
    with pytest.raises(LayerError, match="2 stones, 1 times, 1 differences"):
        by_temperature(2, [0, 1], [0.0], [5.0])
