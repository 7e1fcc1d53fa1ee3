"""Make and fill the project's own Python environment, with nothing but Python and pip; the second time it is there.

Used by scripts/demo.py and scripts/test.py. Only the standard library is imported here.
"""

from __future__ import annotations

import hashlib
import os
import platform
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / ".venv"
OLDEST = (3, 11)
# Loading these shows at once whether a system library is missing.
PROBE = "import numpy, pandas, shapely, pyproj, pyogrio, rasterio, scipy, matplotlib, reportlab, geopandas"


def python(*, extra: str = "") -> Path:
    """Return the Python of the environment, made and filled if need be; ends the program with one clear line if not."""
    if sys.version_info < OLDEST:
        _stop(f"Python {OLDEST[0]}.{OLDEST[1]} or newer is needed; this is {platform.python_version()}.")
    inside = FOLDER / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    stamp = FOLDER / f"filled{'-' + extra if extra else ''}.txt"
    mark = _mark(extra)
    if inside.exists() and stamp.is_file() and stamp.read_text(encoding="utf-8") == mark:
        return inside
    print(f"Making the environment in {FOLDER} (once; needs pip's package index) ...", flush=True)
    if not inside.exists():
        _make()
    _fill(inside, extra)
    _probe(inside)
    stamp.write_text(mark, encoding="utf-8")
    return inside


def run(*command: str | Path) -> int:
    """Run a command in the project folder and return its exit code; our output and its output keep their order."""
    sys.stdout.flush()
    return subprocess.run([str(part) for part in command], cwd=ROOT, check=False).returncode


def _mark(extra: str) -> str:
    digest = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    return f"{platform.python_version()} {platform.machine()} {ROOT} {extra} {digest}"


def _make() -> None:
    """Make the environment; some Linux systems ship Python without ensurepip, then this Python's pip fills it."""
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    full = subprocess.run([sys.executable, "-m", "venv", "--clear", str(FOLDER)], check=False, **quiet)  # type: ignore[call-overload]
    if full.returncode:
        bare = subprocess.run(
            [sys.executable, "-m", "venv", "--clear", "--without-pip", str(FOLDER)],
            check=False, capture_output=True, text=True,
        )  # fmt: skip
        if bare.returncode:
            _stop(
                "Python's venv module does not work here. On Debian or Ubuntu: apt-get install python3-venv python3-pip"
            )


def _fill(inside: Path, extra: str) -> None:
    has_pip = subprocess.run([str(inside), "-m", "pip", "--version"], check=False, capture_output=True).returncode == 0
    pip = [str(inside), "-m", "pip"] if has_pip else [sys.executable, "-m", "pip", "--python", str(inside)]
    what = f"{ROOT}[{extra}]" if extra else str(ROOT)
    code = subprocess.run(
        [*pip, "install", "--quiet", "--disable-pip-version-check", "--editable", what], cwd=ROOT, check=False
    ).returncode
    if code:
        _stop("pip could not install what gravegis needs (see above). Check the network and pip, then run this again.")


def _probe(inside: Path) -> None:
    found = subprocess.run([str(inside), "-c", PROBE], check=False, capture_output=True, text=True)
    if found.returncode:
        last = found.stderr.strip().splitlines()[-1] if found.stderr.strip() else "unknown reason"
        _stop(
            f"A library does not load on this system: {last}\n"
            "If it names a missing .so file, install it with the system's package manager, then run this again."
        )


def _stop(words: str) -> None:
    print(words, file=sys.stderr)
    raise SystemExit(2)
