"""`import gravegis` and `gravegis --help` start at once: nothing heavy is loaded."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

HEAVY = {
    "geopandas", "pandas", "shapely", "pyogrio", "fiona", "rasterio", "scipy", "matplotlib", "numba", "pvlib",
    "PySide6", "statsmodels", "pyvrp", "reportlab", "ezdxf", "openpyxl", "PIL", "pyarrow",
}  # fmt: skip
HELP = """
import contextlib, io, gravegis.cli
with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):
    gravegis.cli.main({})
"""
STARTS = {
    "import": "import gravegis\n",
    "help": HELP.format(["--help"]),
    "list": HELP.format(["list"]),
    "one": HELP.format(["throw", "--help"]),
}


@pytest.mark.parametrize("start", STARTS)
def test_nothing_heavy_is_loaded(start: str) -> None:
    code = STARTS[start] + "import json, sys; print(json.dumps(sorted(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = {name.split(".")[0] for name in json.loads(done.stdout.splitlines()[-1])}
    assert not HEAVY & loaded


def test_public_names_are_pinned() -> None:
    import gravegis

    assert set(gravegis.__all__) == {
        "Analysis", "Assumption", "GravegisError", "Job", "Raster", "Result", "Site", "SiteInfo",
    }  # fmt: skip
