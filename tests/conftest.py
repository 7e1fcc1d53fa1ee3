"""What all tests share: hypothesis profile, marker of cited figures, the sample site, the folder of shared data."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings

if TYPE_CHECKING:
    from gravegis.site import Site

ROOT = Path(__file__).resolve().parent.parent
SHARED = Path(os.environ.get("GRAVEGIS_SHARED", ROOT.parent / "shared"))

# A first call may compile or import for seconds, and a test must fail the same way each time.
settings.register_profile(
    "gravegis", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.load_profile("gravegis")


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
