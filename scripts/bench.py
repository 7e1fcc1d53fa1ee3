"""Measure gravegis against the general-library way and print one JSON object a line.

``python scripts/bench.py [--only NAME ...] [--quick] [--json FILE] [--folder FOLDER]``. Both ways
must give the same before a ratio is told. ``--quick`` takes small data sets: it shows that a benchmark works, not how
fast anything is.
"""

from __future__ import annotations

import argparse
import importlib
import json
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

ROOT = Path(__file__).resolve().parents[1]
if str(ROOT) not in sys.path:  # run as a script, only scripts/ is on the path
    sys.path.insert(0, str(ROOT))

from scripts.benches import GROUPS  # noqa: E402  (after the path is set, as all below)
from scripts.benches.figure import Figure, Work, as_line  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

SEED = 20261125


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the groups asked for; return 1 when one broke or (not quick) a target does not hold, else 0."""
    asked = _asked(arguments)
    lines = []
    with tempfile.TemporaryDirectory(prefix="gravegis-bench-") as scratch:
        work = Work(asked.folder or Path(scratch), SEED, asked.quick)
        work.folder.mkdir(parents=True, exist_ok=True)
        for group in asked.only or GROUPS:
            for line in _lines(group, work):
                lines.append(line)
                print(json.dumps(line), flush=True)
    if asked.json:
        asked.json.write_text("".join(f"{json.dumps(line)}\n" for line in lines), encoding="utf-8")
    broken = any("broken" in line for line in lines)
    return int(broken or (not asked.quick and any(line["holds"] is False for line in lines)))


def _lines(group: str, work: Work) -> Iterator[dict[str, Any]]:
    """Give the lines of a group; one that breaks is told and does not stop the others."""
    try:
        module = importlib.import_module(f"scripts.benches.{group}")
        for figure in module.run(work):
            yield as_line(figure, work)
    except Exception as error:  # noqa: BLE001 - whatever it is, it is told and the next group runs
        figure = Figure(name=group, value=None, unit="", n=0, data_set="", warm_up="none")
        yield {**as_line(figure, work), "broken": f"{type(error).__name__}: {error}"}


def _asked(arguments: Sequence[str] | None) -> argparse.Namespace:
    about = "\n".join(f"  {name:12} {words}" for name, words in GROUPS.items())
    parser = argparse.ArgumentParser(
        description=(__doc__ or "").splitlines()[0], epilog=f"groups:\n{about}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    parser.add_argument(
        "--only", metavar="NAME", action="append", choices=list(GROUPS), help="this group; may be repeated"
    )
    parser.add_argument("--quick", action="store_true", help="small data sets, for checking that it works")
    parser.add_argument("--json", metavar="FILE", type=Path, help="write the lines there too")
    parser.add_argument(
        "--folder", metavar="FOLDER", type=Path, help="keep data sets there; default: a folder that goes"
    )
    return parser.parse_args(arguments)


if __name__ == "__main__":
    raise SystemExit(main())
