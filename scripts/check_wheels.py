"""Look whether all that gravegis needs installs without a compiler, for each Python and system it is meant for.

``python scripts/check_wheels.py [--python 3.12 ...] [--system NAME ...] [--verbose]``. The needs of pyproject.toml,
runtime and each extra, are followed with their dependencies, wheels only, through pip and the package index it is set
up for. Environment markers are worked out here for the target: pip works them out for the Python it runs in. Of each
package the newest version that fits is taken, without going back to an older one: pip itself may find another way.
"""

from __future__ import annotations

import argparse
import json
import re
import subprocess
import sys
import tempfile
import tomllib
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

ROOT = Path(__file__).resolve().parents[1]
PYTHONS = ("3.11", "3.12", "3.13", "3.14")
RUNTIME = "runtime"
PROBE = "numpy"
"""Known to have wheels for every target: an index without them says nothing about other packages."""
_LOST = re.compile(r"No matching distribution found for ([A-Za-z0-9._-]+)")
_ROUNDS = 40


@dataclass(frozen=True, slots=True)
class System:
    """A system: its wheel tags, what markers see of it; tags of a newer one, asked for what the old one lacks."""

    name: str
    tags: tuple[str, ...]
    markers: Mapping[str, str]
    newer: tuple[str, ...] = ()
    newer_name: str = ""


def _markers(os_name: str, sys_platform: str, platform_system: str, machine: str) -> dict[str, str]:
    return {
        "os_name": os_name, "sys_platform": sys_platform, "platform_system": platform_system,
        "platform_machine": machine, "platform_release": "", "platform_version": "", "implementation_name": "cpython",
        "platform_python_implementation": "CPython",
    }  # fmt: skip


# The oldest systems meant: glibc 2.28, macOS 14 on arm64 and 13 on Intel. Common practice, no source.
_LINUX_TAGS = (*(f"manylinux_2_{minor}_x86_64" for minor in range(28, 4, -1)), "manylinux2014_x86_64")
_NEWER_LINUX_TAGS = (*(f"manylinux_2_{minor}_x86_64" for minor in range(34, 28, -1)), *_LINUX_TAGS)
SYSTEMS = (
    System(
        "Linux x86_64",
        _LINUX_TAGS,
        _markers("posix", "linux", "Linux", "x86_64"),
        _NEWER_LINUX_TAGS,
        "glibc 2.34",
    ),
    System(
        "macOS arm64",
        ("macosx_14_0_arm64",),
        _markers("posix", "darwin", "Darwin", "arm64"),
        ("macosx_15_0_arm64",),
        "macOS 15",
    ),
    System(
        "macOS x86_64",
        ("macosx_13_0_x86_64",),
        _markers("posix", "darwin", "Darwin", "x86_64"),
        ("macosx_15_0_x86_64",),
        "macOS 15",
    ),
    System("Windows amd64", ("win_amd64",), _markers("nt", "win32", "Windows", "AMD64")),
)


@dataclass(frozen=True, slots=True)
class Target:
    """A Python on a system."""

    python: str
    system: System

    @property
    def name(self) -> str:
        """Name of the row in the table."""
        return f"{self.system.name}, Python {self.python}"

    def wants(self, one: Requirement, extras: Iterable[str] = ()) -> bool:
        """Whether a requirement counts here, asked for by a package with these extras."""
        if one.marker is None:
            return True
        seen = {**self.system.markers, "python_version": self.python, "python_full_version": f"{self.python}.9"}
        return any(one.marker.evaluate({**seen, "extra": extra}) for extra in ("", *extras))


@dataclass(slots=True)
class Found:
    """What the index offered for a target.

    File and dependencies by package; what it has no wheel of, and which of these it has for newer systems only; whether
    nothing fits together.
    """

    files: dict[str, str] = field(default_factory=dict)
    needs: dict[str, list[Requirement]] = field(default_factory=dict)
    lost: set[str] = field(default_factory=set)
    newer: set[str] = field(default_factory=set)
    clash: bool = False


def needs_of(text: str) -> dict[str, list[Requirement]]:
    """Return the requirements of a pyproject.toml by group: runtime and each extra.

    An extra that names the project's own extras stands for what those ask for.
    """
    project = tomllib.loads(text)["project"]
    groups = {RUNTIME: project["dependencies"], **project.get("optional-dependencies", {})}
    needs = {name: [Requirement(one) for one in lines] for name, lines in groups.items()}
    own = canonicalize_name(project["name"])
    return {name: _spelled_out(needs, own, name) for name in needs}


def _spelled_out(needs: Mapping[str, Sequence[Requirement]], own: str, group: str) -> list[Requirement]:
    others = [one for one in needs[group] if canonicalize_name(one.name) != own]
    names = {extra for one in needs[group] if canonicalize_name(one.name) == own for extra in one.extras}
    return others + [one for extra in sorted(names - {group}) for one in _spelled_out(needs, own, extra)]


def ask_pip(target: Target, wanted: Sequence[str]) -> tuple[list[dict[str, Any]], str]:
    """Return what pip would install for a target, wheels only and without dependencies, and what it complained of."""
    with tempfile.TemporaryDirectory() as scratch:
        report = Path(scratch) / "report.json"
        command = [
            sys.executable, "-m", "pip", "install", "--dry-run", "--ignore-installed", "--no-deps", "--quiet",
            "--disable-pip-version-check", "--only-binary=:all:", "--target", str(Path(scratch) / "none"),
            "--implementation", "cp", "--python-version", target.python, "--report", str(report),
            *(part for tag in target.system.tags for part in ("--platform", tag)), *wanted,
        ]  # fmt: skip
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode or not report.exists():
            return [], done.stderr
        installs: list[dict[str, Any]] = json.loads(report.read_text(encoding="utf-8"))["install"]
        return installs, ""


def resolve(target: Target, roots: Iterable[Requirement]) -> Found:
    """Follow the requirements of a target through their dependencies."""
    found = Found()
    wanted = {bare(one): one for one in roots if target.wants(one)}
    pending = {canonicalize_name(one.name) for one in wanted.values()}
    for _ in range(_ROUNDS):
        # without dependencies packages know nothing of each other: only those with a new requirement are asked again
        asked = [line for line, one in wanted.items() if canonicalize_name(one.name) in pending - found.lost]
        installs, complaint = ask_pip(target, asked) if asked else ([], "")
        if complaint:
            lost = _LOST.search(complaint)
            if lost is None or canonicalize_name(lost[1]) in found.lost:
                break
            installs = _lose(target, canonicalize_name(lost[1]), wanted, found)
        else:
            pending = set()
        for one in installs:
            _take(one, found)
        more = {bare(one): one for one in _children(target, wanted.values(), found)}
        pending |= {canonicalize_name(one.name) for line, one in more.items() if line not in wanted}
        if not pending - found.lost:
            return found
        wanted |= more
    found.clash = True
    return found


def _lose(target: Target, name: str, wanted: Mapping[str, Requirement], found: Found) -> list[dict[str, Any]]:
    """Note a package without a wheel, and return the one that a newer system would get."""
    found.lost.add(name)
    if not target.system.newer:
        return []
    later = replace(target, system=replace(target.system, tags=target.system.newer))
    installs, _ = ask_pip(later, [line for line, one in wanted.items() if canonicalize_name(one.name) == name])
    if installs:
        found.newer.add(name)
    return installs


def _take(one: Mapping[str, Any], found: Found) -> None:
    name = canonicalize_name(one["metadata"]["name"])
    # the last part of the address only: where an index stands is nobody's business
    found.files[name] = one["download_info"]["url"].rsplit("/", 1)[-1]
    found.needs[name] = [Requirement(line) for line in one["metadata"].get("requires_dist", [])]


def _children(target: Target, wanted: Iterable[Requirement], found: Found) -> Iterable[Requirement]:
    for parent in wanted:
        for child in found.needs.get(canonicalize_name(parent.name), ()):
            if target.wants(child, parent.extras):
                yield child


def bare(one: Requirement) -> str:
    """Return a requirement without its marker, as pip is to take it: whether it counts was found out before."""
    extras = f"[{','.join(sorted(one.extras))}]" if one.extras else ""
    return f"{one.name}{extras}{one.specifier}"


def verdict(target: Target, roots: Iterable[Requirement], found: Found) -> str:
    """Return ``ok``, or which packages of a group, with what they stand on, have no wheel."""
    if found.clash:
        return "not known: pip found no set that fits together"
    seen = {bare(one): one for one in roots if target.wants(one)}
    while (more := {bare(one): one for one in _children(target, seen.values(), found)}).keys() - seen.keys():
        seen |= more
    lost = sorted({canonicalize_name(one.name) for one in seen.values()} & found.lost)
    none, later = [one for one in lost if one not in found.newer], [one for one in lost if one in found.newer]
    words = [f"no wheel: {', '.join(none)}"] if none else []
    words += [f"only from {target.system.newer_name} on: {', '.join(later)}"] if later else []
    return "; ".join(words) or "ok"


def row(target: Target, groups: Mapping[str, Sequence[Requirement]]) -> tuple[dict[str, str], Found]:
    """Return the verdict on each group for a target, and what was offered."""
    probe, _ = ask_pip(target, [PROBE])
    if not probe:
        words = f"not known: the index offers no wheel of {PROBE} for it, or cannot be reached"
        return dict.fromkeys(groups, words), Found()
    found = resolve(target, [one for roots in groups.values() for one in roots])
    if not found.clash:
        return {name: verdict(target, roots, found) for name, roots in groups.items()}, found
    # one group spoils it for the others: each by itself, as it is installed, with the runtime
    alone = {name: resolve(target, [*groups.get(RUNTIME, ()), *roots]) for name, roots in groups.items()}
    verdicts = {name: verdict(target, roots, alone[name]) for name, roots in groups.items()}
    return verdicts, alone.get(RUNTIME, found)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print a line per target; return 1 when the runtime of one has no wheels or is not known, else 0."""
    asked = _asked(arguments)
    groups = needs_of((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    short = False
    for system in SYSTEMS:
        for python in asked.python or PYTHONS:
            if asked.system and system.name not in asked.system:
                continue
            target = Target(python, system)
            verdicts, found = row(target, groups)
            short |= verdicts[RUNTIME] != "ok"
            offered = (
                f"{len(found.files)} wheels, {sum(not _is_pure(one) for one in found.files.values())} of them compiled"
            )
            print(
                f"{target.name:32} | {' | '.join(f'{name}: {words}' for name, words in verdicts.items())} | {offered}"
            )
            if asked.verbose:
                print("\n".join(f"    {file}" for file in sorted(found.files.values())), flush=True)
    return int(short)


def _is_pure(file: str) -> bool:
    return file.endswith("-none-any.whl")


def _asked(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--python", action="append", choices=PYTHONS, help="this Python only; may be repeated")
    parser.add_argument("--system", action="append", choices=[one.name for one in SYSTEMS], help="this system only")
    parser.add_argument("--verbose", action="store_true", help="name every wheel that was offered")
    return parser.parse_args(arguments)


if __name__ == "__main__":
    raise SystemExit(main())
