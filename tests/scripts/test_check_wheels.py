"""Wheels for each target: markers are those of the target, and what the index does not carry is not called missing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from packaging.requirements import Requirement

from scripts import check_wheels
from scripts.check_wheels import PYTHONS, ROOT, SYSTEMS, Target, needs_of, resolve, row, verdict

if TYPE_CHECKING:
    from collections.abc import Sequence

LINUX, MAC, INTEL_MAC, WINDOWS = (Target("3.12", system) for system in SYSTEMS)
SHELF: dict[str, list[str]] = {
    "numpy": [],
    "click": ["colorama; platform_system == 'Windows'", "typing-extensions; python_version < '3.12'"],
    "colorama": [],
    "typing-extensions": [],
    "frames": ["numpy>=2", "tables[fast]>=1; extra == 'io'"],
    "tables": ["speed; extra == 'fast'", "lost; extra == 'slow'"],
    "speed": [],
}
"""Packages of an invented index, and what each needs."""


class Index:
    """An index that has everything of the shelf for every system, but for what is said to be missing."""

    def __init__(self, missing: dict[str, set[str]]) -> None:
        self.missing = missing
        self.asked: list[str] = []

    def ask(self, target: Target, wanted: Sequence[str]) -> tuple[list[dict[str, Any]], str]:
        installs = []
        for line in wanted:
            name = Requirement(line).name
            self.asked.append(name)
            if name not in SHELF or self.missing.get(name, set()) & set(target.system.tags):
                return [], f"ERROR: No matching distribution found for {line}"
            url = f"https://index.invalid/files/{name}-1-py3-none-any.whl"
            installs.append({"metadata": {"name": name, "requires_dist": SHELF[name]}, "download_info": {"url": url}})
        return installs, ""


@pytest.fixture
def index(monkeypatch: pytest.MonkeyPatch) -> Index:
    made = Index({})
    monkeypatch.setattr(check_wheels, "ask_pip", made.ask)
    return made


def needs(*lines: str) -> list[Requirement]:
    return [Requirement(line) for line in lines]


def test_markers_are_those_of_the_target_and_not_of_this_python(index: Index) -> None:
    roots = needs("click")
    assert set(resolve(WINDOWS, roots).files) == {"click", "colorama"}
    assert set(resolve(LINUX, roots).files) == {"click"}
    assert set(resolve(Target("3.11", SYSTEMS[0]), roots).files) == {"click", "typing-extensions"}
    assert set(resolve(LINUX, needs("click; sys_platform == 'win32'")).files) == set()


def test_extras_are_followed_and_only_those_asked_for(index: Index) -> None:
    assert set(resolve(LINUX, needs("frames[io]")).files) == {"frames", "numpy", "tables", "speed"}
    assert set(resolve(LINUX, needs("frames")).files) == {"frames", "numpy"}


def test_a_package_without_a_wheel_is_named_for_the_group_that_needs_it_only(index: Index) -> None:
    index.missing = {"speed": {"win_amd64"}}
    groups = {"runtime": needs("click"), "more": needs("frames[io]")}
    verdicts, found = row(WINDOWS, groups)
    assert verdicts == {"runtime": "ok", "more": "no wheel: speed"}
    assert "numpy" in found.files
    assert row(LINUX, groups)[0] == {"runtime": "ok", "more": "ok"}


def test_several_packages_without_a_wheel_are_all_named(index: Index) -> None:
    index.missing = {"speed": {"win_amd64"}, "click": {"win_amd64"}}
    roots = needs("frames[io]", "click")
    assert verdict(WINDOWS, roots, resolve(WINDOWS, roots)) == "no wheel: click, speed"


def test_a_wheel_for_newer_systems_only_is_said_to_be_one_and_followed(index: Index) -> None:
    index.missing = {"frames": {"macosx_13_0_x86_64"}, "speed": {"macosx_13_0_x86_64", "macosx_15_0_x86_64"}}
    roots = needs("frames[io]")
    found = resolve(INTEL_MAC, roots)
    assert verdict(INTEL_MAC, roots, found) == "no wheel: speed; only from macOS 15 on: frames"


def test_an_index_without_the_known_wheel_says_nothing_about_the_others(index: Index) -> None:
    index.missing = {"numpy": {"macosx_14_0_arm64"}}
    verdicts, found = row(MAC, {"runtime": needs("click")})
    assert verdicts["runtime"].startswith("not known: the index offers no wheel of numpy")
    assert not found.files


def test_what_pip_says_in_words_nobody_knows_is_not_called_ok(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(check_wheels, "ask_pip", lambda *_: ([], "ERROR: ResolutionImpossible"))
    found = resolve(LINUX, needs("click"))
    assert verdict(LINUX, needs("click"), found).startswith("not known")


def test_a_group_that_fits_nothing_leaves_the_others_their_verdict(
    index: Index, monkeypatch: pytest.MonkeyPatch
) -> None:
    def ask(target: Target, wanted: Sequence[str]) -> tuple[list[dict[str, Any]], str]:
        return ([], "ERROR: ResolutionImpossible") if "speed" in wanted else index.ask(target, wanted)

    monkeypatch.setattr(check_wheels, "ask_pip", ask)
    verdicts, found = row(LINUX, {"runtime": needs("click"), "more": needs("frames[io]"), "few": needs("frames")})
    assert verdicts["runtime"] == verdicts["few"] == "ok"
    assert verdicts["more"].startswith("not known: pip found no set")
    assert set(found.files) == {"click"}


def test_a_second_requirement_is_asked_together_with_the_first(index: Index) -> None:
    resolve(LINUX, needs("numpy<3", "frames"))
    assert index.asked == ["numpy", "frames", "numpy", "numpy"]


def test_the_needs_of_this_project_are_read_with_their_extras() -> None:
    groups = needs_of((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert {"runtime", "dev"} <= set(groups)
    assert "numpy" in {one.name for one in groups["runtime"]}


def test_an_extra_that_names_another_of_the_project_stands_for_its_needs() -> None:
    text = """[project]
name = "stone-frames"
dependencies = ["numpy"]
[project.optional-dependencies]
window = ["tables"]
all = ["click", "stone_frames[window,all]"]
"""
    assert {name: [one.name for one in lines] for name, lines in needs_of(text).items()} == {
        "runtime": ["numpy"], "window": ["tables"], "all": ["click", "tables"]
    }  # fmt: skip


def test_no_address_is_printed(
    index: Index, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(check_wheels, "needs_of", lambda _: {"runtime": needs("click")})
    assert check_wheels.main(["--verbose"]) == 0
    shown = capsys.readouterr().out
    assert shown.count("runtime: ok") == len(PYTHONS) * len(SYSTEMS)
    assert "click-1-py3-none-any.whl" in shown
    assert "://" not in shown
    assert "index.invalid" not in shown


@pytest.mark.full
def test_everything_has_a_wheel_on_this_kind_of_system() -> None:
    groups = needs_of((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    verdicts, _ = row(Target("3.12", SYSTEMS[0]), {"runtime": groups["runtime"]})
    if verdicts["runtime"].startswith("not known: the index"):
        pytest.skip(verdicts["runtime"])
    assert verdicts == {"runtime": "ok"}
