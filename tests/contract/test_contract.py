"""Every registered analysis keeps the contract on a cut of the sample site."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from gravegis import registry
from gravegis.testing import CHECKS

if TYPE_CHECKING:
    from collections.abc import Callable

    from gravegis.site import Site


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
@pytest.mark.parametrize("name", registry.names())
def test_analysis_keeps_the_contract(name: str, check: Callable[..., None], small_run: Site) -> None:
    check(registry.load(name), small_run)
