"""README, DEVELOPERS and help say what is there."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from gravegis import cli, registry

if TYPE_CHECKING:
    from gravegis.site import Site

ROOT = Path(__file__).resolve().parents[2]
README, DEVELOPERS = ((ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md"))


def test_every_command_the_readme_names_is_there_and_none_is_left_out() -> None:
    typed = re.findall(r"`gravegis ([a-z_]+)|^(?:\$ )?gravegis ([a-z_]+)", README, flags=re.MULTILINE)
    named = {one or other for one, other in typed} - {"takes"}
    there = {*cli.gravegis.commands, *registry.names()}
    assert named <= there
    assert there - named <= set(re.findall(r"`([a-z_]+)`", README))


def test_the_output_the_readme_shows_is_what_the_sample_ground_gives(sample_run: Site) -> None:
    block = README.split("```\nwetting:\n")[1].split("```")[0]
    notes = {note for record in sample_run.log for note in record.notes}
    shown = [line.strip() for line in block.splitlines() if line.startswith("  ") and line.strip() != "..."]
    # another machine may round a walk otherwise and plan another day; all else is the same everywhere
    day = [line for line in shown if line.startswith("Crew ") or "are not planned" in line]
    assert len(day) == 3
    assert [line for line in shown if line not in notes and line not in day] == []
    assert len(shown) - len(day) >= 5


def test_every_file_the_readme_and_developers_name_is_there() -> None:
    for text in (README, DEVELOPERS):
        for name in re.findall(r"`((?:scripts|sample_layers|gravegis|tests)/[\w./]+)`", text):
            assert (ROOT / name).exists() or name.endswith("shade.py"), name
    picture = re.search(r"!\[[^]]*\]\(([^)]+)\)", README)
    assert picture is not None
    assert (ROOT / picture.group(1)).is_file()


def test_the_map_of_modules_names_each_of_them() -> None:
    inside = {path.name for path in (ROOT / "gravegis").iterdir() if not path.name.startswith("_")} - {"py.typed"}
    table = DEVELOPERS.split("## Map of the modules")[1].split("##")[0]
    named = set(re.findall(r"`(\w+(?:\.py)?)/?`", table))
    assert inside <= named, inside - named


@pytest.mark.parametrize("name", registry.names())
def test_the_help_page_explains_method_settings_and_sources(name: str) -> None:
    page = registry.load(name).reference()
    for part in ("Settings", "Needs", "Uses where there", "Gives", "Sources"):
        assert part in page
    assert "Source: ." not in page
