"""Words that say that nothing is known: many at once as one by one, and said with their counts."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.layers import schema
from gravegis.layers.read.missing import is_missing, missing_among
from gravegis.layers.values import convert

WORDS = st.sampled_from(
    ["", " ", "-", "N/A", " n/a ", "none", "None", "NA", "?", "k.A.", "unknown", "marble"]
) | st.text(max_size=3)


@pytest.mark.parametrize("kind", schema.KINDS)
@given(words=st.lists(WORDS, max_size=8))
def test_many_words_are_judged_as_each_by_itself(kind: str, words: list[str]) -> None:
    assert missing_among(words, kind) == [place for place, word in enumerate(words) if is_missing(word, kind)]


@pytest.mark.parametrize("dtype", ["str", "object"])
def test_what_is_read_as_missing_is_said_with_its_counts_in_either_dtype(dtype: Any) -> None:
    column = schema.layer("heads").columns["fault"]
    series = pd.Series(["none", " n/a", "N/A", "n/a", "tilted", None, ""], dtype=dtype)
    done = convert(series, column, unit="", decimal=".", where="heads.fault")
    assert done.notes == ["fault: read as missing: 'n/a' (2), 'N/A' (1)"]
    assert done.values.isna().tolist() == [False, True, True, True, False, True, True]
