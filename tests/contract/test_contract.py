"""Every registered analysis keeps the contract on a cut of the sample site."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pytest

from gravegis import registry
from gravegis.testing import CHECKS

if TYPE_CHECKING:
    from collections.abc import Callable

    from gravegis.site import Site


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
@pytest.mark.parametrize("name", registry.names())
def test_analysis_keeps_the_contract(name: str, check: Callable[..., None], small_run: Site) -> None:
    check(registry.load(name), _surveyed_before(small_run) if name == "change" else small_run)


def _surveyed_before(site: Site) -> Site:
    """The sample ground has been surveyed once: give it an earlier visit, with another grade here and there."""
    found = site["findings"]
    grade = (found["severity"] + np.arange(len(found)) % 3 - 1).clip(0, 3)
    earlier = found.assign(finding_id="earlier " + found["finding_id"], severity=grade, found_on="2024-05-01")
    scores = pd.DataFrame(
        {"survey_id": site["stones"]["stone_id"], "stone_id": site["stones"]["stone_id"], "quick_score": 1}
    ).assign(surveyed_on="2024-05-01", by="A")
    return site.with_layers({"findings": pd.concat([found, earlier]), "surveys": scores})
