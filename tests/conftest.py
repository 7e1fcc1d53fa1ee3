"""What all tests share: hypothesis profile, marker of cited figures, the sample site, the folder of shared data."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import pytest
from hypothesis import HealthCheck, settings

from gravegis.science.compiled import cache_folder

if TYPE_CHECKING:
    from collections.abc import Callable

    from gravegis.site import Site

# The window is tested without a screen; where a system library of Qt is missing its tests are skipped.
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ["PYTEST_QT_API"] = "pyside6"
try:
    import PySide6.QtWidgets  # noqa: F401
    import pytestqt  # noqa: F401
except ImportError:
    pytest_plugins: tuple[str, ...] = ()
else:
    pytest_plugins = ("pytestqt.plugin",)

ROOT = Path(__file__).resolve().parent.parent
SHARED = Path(os.environ.get("GRAVEGIS_SHARED", ROOT.parent / "shared"))

# Compiled loops of the tests are kept apart from those of the user, by content, so that none is stale.
os.environ.setdefault("NUMBA_CACHE_DIR", str(ROOT / ".pytest_cache" / "numba" / cache_folder().name))

# A first call may compile or import for seconds, and a test must fail the same way each time.
settings.register_profile(
    "gravegis", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.load_profile("gravegis")


class Run(NamedTuple):
    """Exit code of a command and what it printed."""

    code: int
    out: str
    err: str


@pytest.fixture
def gravegis(capsys: pytest.CaptureFixture[str]) -> Callable[..., Run]:
    """A command as a person types it, in this process."""
    from gravegis import cli

    def call(*arguments: object) -> Run:
        with pytest.raises(SystemExit) as left:
            cli.main([str(one) for one in arguments])
        caught = capsys.readouterr()
        code = left.value.code
        return Run(code if isinstance(code, int) else 0, caught.out, caught.err)

    return call


@pytest.fixture(scope="session")
def shared() -> Path:
    """Folder of public data and small cases; tests that need it are skipped where it is missing."""
    if not SHARED.is_dir():
        pytest.skip(f"no shared data in {SHARED}")
    return SHARED


@pytest.fixture(scope="session")
def sample_site() -> Site:
    """The sample site with its inputs, read from the committed files."""
    from gravegis import sample

    return sample.read(ROOT / "sample_layers" / "emberfield_rise")


@pytest.fixture(scope="session")
def sample_run(sample_site: Site) -> Site:
    """The sample site after every analysis."""
    from gravegis import pipeline

    return pipeline.run(sample_site).site


SMALL_ROWS = ("A3", "A4", "A5", "C2", "C3", "E2", "E3")
"""Rows of the small cut: watered and dry, surveyed and by phone."""
SMALL_ZONES = ("Z1", "Z2", "Z5", "Z8")
SMALL_CREWS = ("C1", "V1")


@pytest.fixture(scope="session")
def small_site(sample_site: Site) -> Site:
    """A quarter of the sample site, for tests that run it many times: some rows, the zones that wet them, two crews."""
    stones, heads = sample_site["stones"], sample_site["heads"]
    kept = stones[stones["row"].isin(SMALL_ROWS)]
    layers = {"stones": kept, "heads": heads[heads["zone_id"].isin(SMALL_ZONES)]}
    for layer, column, names in (
        ("plots", "row", SMALL_ROWS),
        ("findings", "stone_id", tuple(kept["stone_id"])),
        ("zones", "zone_id", SMALL_ZONES),
        ("schedules", "zone_id", SMALL_ZONES),
        ("crews", "crew_id", SMALL_CREWS),
    ):
        layers[layer] = sample_site[layer][sample_site[layer][column].isin(names)]
    return sample_site.without(("weather",)).with_layers(layers)


@pytest.fixture(scope="session")
def small_run(small_site: Site) -> Site:
    """The small cut after every analysis."""
    from gravegis import pipeline

    return pipeline.run(small_site).site
