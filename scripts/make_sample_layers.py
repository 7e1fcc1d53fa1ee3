"""Write the invented sample grounds into sample_layers/, or check that they are still the same.

``python scripts/make_sample_layers.py`` writes the files; with ``--check`` it makes them again elsewhere and
compares byte for byte.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
if str(ROOT) not in sys.path:  # run as a script, only scripts/ is on the path
    sys.path.insert(0, str(ROOT))

from scripts.juniper_bench import build as juniper  # noqa: E402  (after the path is set, as below)
from scripts.sample_site import build as emberfield  # noqa: E402

FOLDER = ROOT / "sample_layers"
MAKERS = {
    "emberfield_rise": emberfield.build,
    "emberfield_rise_truth": emberfield.build_truth,
    "juniper_bench": juniper.build,
    "juniper_bench_truth": juniper.build_truth,
}


def build(folder: Path, names: tuple[str, ...] = tuple(MAKERS)) -> None:
    """Make every file of every ground, each ground in its own folder."""
    for name in names:
        (folder / name).mkdir(parents=True, exist_ok=True)
        MAKERS[name](folder / name)


def differences(made: Path, kept: Path) -> list[str]:
    """Return the names of files that differ, are missing, or are too many."""
    names = {
        str(path.relative_to(folder))
        for folder in (made, kept)
        for ground in MAKERS
        for path in (folder / ground).rglob("*")
        if path.is_file()
    }

    def same(name: str) -> bool:
        ours, theirs = made / name, kept / name
        return ours.is_file() and theirs.is_file() and ours.read_bytes() == theirs.read_bytes()

    return sorted(name for name in names if not same(name))


def main(arguments: list[str] | None = None) -> int:
    """Write the files, or with --check compare; return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--check", action="store_true", help="compare with the files kept, write nothing")
    parser.add_argument("--folder", type=Path, default=FOLDER, help="folder to write or compare: sample_layers")
    options = parser.parse_args(arguments)
    if not options.check:
        build(options.folder)
        print(f"written: {', '.join(MAKERS)} in {options.folder}")
        return 0
    with tempfile.TemporaryDirectory() as scratch:
        build(Path(scratch))
        differ = differences(Path(scratch), options.folder)
    if differ:
        print("differ from what the script makes: " + ", ".join(differ), file=sys.stderr)
        return 1
    print("the same as what the script makes")
    return 0


if __name__ == "__main__":
    sys.exit(main())
