"""Values below detection without a limit stay that, figures that stand for nothing are named."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import pytest

from gravegis.errors import LayerError
from gravegis.layers import schema, suggest
from gravegis.layers.bring import bring_in
from gravegis.layers.mapping import apply_mapping
from gravegis.layers.mapping_file import HEAD
from gravegis.layers.not_detected import given_limit, is_not_detected
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path

LAB = """sample_id,date,Fe mg/L,Alkalinity as CaCO3 (mg/L),Ca mg/L,pH
W1,2026-05-01,<0.05,120,45,7.1
W2,2026-05-02,ND,130,nd,8
W3,2026-06-05,0.31,-,BDL,7
W4,2026-05-02,n.d.,130,1.2E1,7
"""
COLUMNS = ("iron_mg_l=Fe mg/L", "alkalinity_mg_l=Alkalinity as CaCO3 (mg/L)", "calcium_mg_l=Ca mg/L")
IRON = schema.layer("water").columns["iron_mg_l"]


def new() -> Site:
    return Site(SiteInfo("Test ground", ""))


def write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def test_not_detected_without_a_limit_is_kept_as_that(tmp_path: Path) -> None:
    brought = bring_in(new(), "water", write(tmp_path / "lab.csv", LAB), mapping=COLUMNS)
    water = brought.site["water"]
    assert water["iron_mg_l"].fillna(-1).tolist() == [-1, -1, 0.31, -1]
    assert water["iron_below_mg_l"].fillna(-1).tolist() == [0.05, -1, -1, -1]
    assert water["iron_not_detected_mg_l"].fillna("").tolist() == ["", "yes", "", "yes"]
    assert water["calcium_not_detected_mg_l"].fillna("").tolist() == ["", "yes", "yes", ""]
    assert water["alkalinity_mg_l"].fillna(-1).tolist() == [120, 130, -1, 130]
    assert set(water["alkalinity_as"]) == {"CaCO3"}
    said = next(words for words in brought.notes if words.startswith("iron_mg_l: 2 values below detection"))
    assert "'ND' (1), 'n.d.' (1)" in said
    assert "value,iron_mg_l,ND,<LIMIT" in said
    assert not any("empty" in words for words in brought.notes)


def test_the_line_that_is_named_gives_the_limit(tmp_path: Path) -> None:
    lines = [",".join(HEAD), "value,iron_mg_l,ND,<0.02", "value,iron_mg_l,n.d.,<0.02"]
    path = write(tmp_path / "m.csv", "\n".join(lines))
    brought = bring_in(new(), "water", write(tmp_path / "lab.csv", LAB), mapping=COLUMNS, mapping_file=path)
    assert brought.site["water"]["iron_below_mg_l"].fillna(-1).tolist() == [0.05, 0.02, -1, 0.02]
    assert "iron_not_detected_mg_l" not in brought.site["water"].columns


@pytest.mark.parametrize("text", ["ND", "nd", "n.d.", "N.D.", "BDL", "b.d.l.", "Not detected", "non-detect",
                                  "below detection limit", "<LOD", "< MDL", "<DL", "<RL", "ND mg/L"])  # fmt: skip
def test_words_for_below_detection_are_known(text: str) -> None:
    assert is_not_detected(text, IRON)
    assert not is_not_detected(text, schema.layer("water").columns["ph"])


@pytest.mark.parametrize("text", ["", "-", "0.05", "<0.05", "trace", "no data", "unknown", "N", "d", "ND (0.05)"])
def test_other_words_are_not(text: str) -> None:
    assert not is_not_detected(text, IRON)


@pytest.mark.parametrize(
    ("text", "limit"),
    [("ND (0.05)", "0.05"), ("nd<0.05", "0.05"), ("BDL (<0,05 mg/l)", "0,05 mg/l"), ("ND", ""), ("1", "")],
)
def test_a_limit_behind_the_word_is_a_limit(text: str, limit: str) -> None:
    assert given_limit(text) == limit


def test_alkalinity_under_its_usual_name_is_proposed(tmp_path: Path) -> None:
    rows = suggest.look("water", write(tmp_path / "lab.csv", LAB)).rows
    assert {row.in_file: row.becomes for row in rows}["Alkalinity as CaCO3 (mg/L)"] == "alkalinity_mg_l"


def stones(code: str, times: int, column: str = "height_m") -> pd.DataFrame:
    values = ["0.8", "1.2", "0.9", *[code] * times]
    return pd.DataFrame({"stone_id": [str(n) for n in range(len(values))], column: pd.Series(values, dtype="str")})


@pytest.mark.parametrize("code", ["-9999", "-999", "-99", "9999", "999"])
def test_a_repeated_figure_for_nothing_is_named_with_its_mapping_line(code: str) -> None:
    done = apply_mapping(stones(code, 2), schema.layer("stones"))
    assert f"'{code}' stands 2 times" in done.problems[0].problem
    assert f"value,height_m,{code}, (nothing behind" in done.problems[0].remedy


def test_the_line_that_is_named_leaves_the_figure_out(tmp_path: Path) -> None:
    text = "stone_id,lat,lon,height_m\nA,44.05,-121.3,0.8\nB,44.0501,-121.3,-9999\nC,44.0502,-121.3,-9999\n"
    path = write(tmp_path / "s.csv", text)
    with pytest.raises(LayerError, match="'-9999' stands 2 times and most likely means that nothing is known"):
        bring_in(new(), "stones", path)
    lines = write(tmp_path / "m.csv", f"{','.join(HEAD)}\nvalue,height_m,-9999,\n")
    found = bring_in(new(), "stones", path, mapping_file=lines).site["stones"]
    assert found["height_m"].fillna(-1).tolist() == [0.8, -1, -1]


def test_once_or_among_others_like_it_a_figure_is_a_figure() -> None:
    assert apply_mapping(stones("-9999", 1), schema.layer("stones")).problems == ()
    frame = pd.DataFrame({"sample_id": ["1", "2", "3"], "conductivity_us_cm": ["999", "999", "990"]})
    done = apply_mapping(frame, schema.layer("water"))
    assert done.problems == ()
    assert not any("most likely" in words for words in done.notes)
