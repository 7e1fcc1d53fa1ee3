"""By words on the screen alone, from the first page: the stone that is struck hardest, and the head that strikes it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gravegis import store
from gravegis.window import inout, startpage
from tests.window.walker import Walker

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import pytest

MOST_ACTIONS = 8


def hardest(site: Any) -> tuple[str, str]:
    """The stone whose striking head stands nearest, and that head, found anew from the links."""
    states = dict(zip(site["stone_wetting"]["stone_id"], site["stone_wetting"]["state"], strict=True))
    links = site["wetting_links"].to_dict("records")
    mine = [one for one in links if one["struck"] is True and states[one["stone_id"]] == "struck"]
    found = min(mine, key=lambda one: (one["distance_m"], one["head_id"], one["stone_id"]))
    return found["stone_id"], found["head_id"]


def walk(window: Any, settled: Callable[[], None], first: str, *, is_new: bool) -> list[str]:
    person = Walker(window, settled)
    person.press(first)
    if is_new:
        person.choose("Question", "Water on stones and their faces")
        person.press("Work it out")
    told = person.press("Struck hardest")
    stone, head = hardest(window.desk.site)
    assert f"stone {stone}," in told
    assert told.endswith(f"from head {head}")
    assert any(f"Stone {stone}" in one for one in person.words())
    person.press(f"head {head}:")
    assert any(f"Head {head}" in one for one in person.words())
    assert window.picked == ("heads", head)
    return person.actions


def test_the_stone_struck_hardest_and_its_head_are_found_by_words_alone(
    window: Any, ground: Path, settled: Callable[[], None]
) -> None:
    window.resize(1400, 950)
    startpage.remember(window.settings, ground)
    window.start.show_recent(startpage.recent(window.settings))
    actions = walk(window, settled, str(ground), is_new=False)
    assert len(actions) <= MOST_ACTIONS, actions


def test_the_same_on_the_sample_ground_that_nobody_has_worked_on(
    window: Any, tmp_path: Path, settled: Callable[[], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(inout, "sample_folder", lambda: tmp_path / "sample")
    window.resize(1400, 950)
    actions = walk(window, settled, "sample ground", is_new=True)
    assert len(actions) <= MOST_ACTIONS, actions
    assert store.load(tmp_path / "sample").has("wetting_links")
