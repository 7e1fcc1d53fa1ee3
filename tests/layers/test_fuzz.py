"""Damaged files end in one clear error or come in: no traceback, no hang, no changed site."""

from __future__ import annotations

import os
import random
import time
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gravegis.layers import bring, canonical
from gravegis.layers.read import read_file
from gravegis.site import Site, SiteInfo
from tests.layers import every_kind, fuzzing

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.skipif(os.name != "posix", reason="a hang is stopped by a signal")

_LARGEST = 300_000  # of the shared files, so that thousands of copies are damaged in minutes


@pytest.fixture(scope="module")
def sources(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    return list(every_kind.make_all(tmp_path_factory.mktemp("sound")).values())


@pytest.fixture(scope="module")
def ground(sources: list[Path]) -> Site:
    """A small site with stones and heads, as it stands before each damaged file."""
    folder = sources[0].parent
    site = bring.bring_in(Site(SiteInfo("fuzz", "")), "stones", folder / "a.gpkg").site
    text = "head_id,x,y,throw_m\nK1,372000,6250000,5\nK2,372005,6250000,5\n"
    (folder / "heads of the ground").mkdir(exist_ok=True)
    path = folder / "heads of the ground" / "heads.csv"
    path.write_text(text)
    return bring.bring_in(site, "heads", path).site


def words(catches: list[fuzzing.Catch]) -> str:
    return "\n".join(f"{one.what}\n{one.trouble}" for one in catches[:5])


def files_only(sources: list[Path]) -> list[Path]:
    skipped = (".shx", ".dbf", ".prj", ".cpg")
    return [one for one in sources if one.is_file() and one.suffix not in skipped]


def test_the_sound_files_come_in_or_are_refused_in_words(sources: list[Path], ground: Site) -> None:
    for path in files_only(sources):
        for layer in fuzzing.LAYERS:
            assert fuzzing.attempt(ground, path, layer, {}) == ""


def test_three_hundred_damaged_files_end_well(sources: list[Path], ground: Site, tmp_path: Path) -> None:
    catches = fuzzing.hunt(ground, files_only(sources), tmp_path, random.Random(1871), inputs=300)
    assert not catches, words(catches)


@pytest.mark.full
def test_five_thousand_damaged_files_end_well(
    sources: list[Path], ground: Site, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    every = files_only(sources)
    try:
        shared: Path = request.getfixturevalue("shared")
    except pytest.skip.Exception:
        shared = tmp_path / "none"
    found = sorted(one for one in shared.rglob("*") if one.is_file() and 0 < one.stat().st_size < _LARGEST)
    every += [one for one in files_only(found) if {"cases", "real"} & set(one.parts) and one.suffix != ".md"]
    catches = fuzzing.hunt(ground, every, tmp_path, random.Random(1790), inputs=5_500)
    assert not catches, words(catches)


@settings(max_examples=60)
@given(
    st.lists(st.lists(st.text(max_size=12), min_size=1, max_size=6), min_size=1, max_size=6),
    st.sampled_from(",;\t|"),
    st.sampled_from(fuzzing.LAYERS),
)
def test_any_table_of_text_ends_well(
    tmp_path_factory: pytest.TempPathFactory, ground: Site, rows: list[list[str]], separator: str, layer: str
) -> None:
    path = tmp_path_factory.mktemp("t") / "a.csv"
    head = [
        "stone_id",
        "head_id",
        "lat",
        "lon",
        "x",
        "y",
        "year",
        "height_m",
        "surveyed_on",
        "from_1",
        "distance_1",
        "from_2",
        "distance_2",
        "side",
    ]
    names = random.Random(len(rows)).sample(head, len(rows[0]))
    text = "\n".join(separator.join(row) for row in (names, *rows))
    path.write_bytes(text.encode("utf-8", errors="replace"))
    assert fuzzing.attempt(ground, path, layer, {}) == ""


class _Planted:
    """Puts a fault into the road of a file, for one in a few files."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, fault: Any) -> None:
        sound = read_file

        def read(path: Path, **options: Any) -> Any:
            if path.suffix == ".geojson":
                fault()
            return sound(path, **options)

        monkeypatch.setattr(bring, "read_file", read)


@pytest.mark.parametrize("error", [KeyError, RecursionError, ZeroDivisionError, SystemExit])
def test_a_planted_crash_is_caught(
    sources: list[Path], ground: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: type[BaseException]
) -> None:
    def crash() -> None:
        raise error("planted")

    _Planted(monkeypatch, crash)
    catches = fuzzing.hunt(ground, files_only(sources), tmp_path, random.Random(1), inputs=30)
    assert catches
    assert all("geojson" in one.what and "planted" in one.trouble for one in catches)


def test_a_planted_hang_is_caught(
    sources: list[Path], ground: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _Planted(monkeypatch, lambda: time.sleep(30))
    chosen = [one for one in sources if one.name == "a.geojson"]
    began = time.monotonic()
    catches = fuzzing.hunt(ground, chosen, tmp_path, random.Random(1), inputs=2, most_s=0.3)
    assert time.monotonic() - began < 10
    assert catches
    assert all("more than 0.3 s" in one.trouble for one in catches)


def test_a_planted_change_of_the_site_is_caught(
    sources: list[Path], ground: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = {"n": 0}

    def changed(frame: Any) -> str:
        before["n"] += 1
        return f"{len(frame)} {before['n']}"

    monkeypatch.setattr(canonical, "content_hash", changed)
    catches = fuzzing.hunt(ground, files_only(sources)[:3], tmp_path, random.Random(1), inputs=3)
    assert len(catches) == 3
    assert all("the site given was changed" in one.trouble for one in catches)
