"""The contract suite: what every analysis promises, for our own and for those of others.

In a plugin's tests::

    import pytest
    from gravegis.testing import CHECKS

    @pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
    def test_contract(check, site):
        check(ANALYSIS, site)

`site` holds every input layer the analysis reads, and the results of the analyses before it. Each check raises
AssertionError with the reason.
"""

from __future__ import annotations

import re
from dataclasses import MISSING, FrozenInstanceError, fields
from typing import TYPE_CHECKING, Any

from gravegis.contract import FACTS, Job, Number
from gravegis.site import Site
from gravegis.staleness import table_hashes

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gravegis.contract import Analysis, Result
    from gravegis.layers.canonical import Frame

__all__ = ["CHECKS"]

# Inside unit -> how the name of a setting in that unit must end.
SUFFIX = {
    "m": ("_m",), "mm": ("_mm",), "mm/h": ("_mm_h",), "l/min": ("_l_min",), "kPa": ("_kpa",), "l": ("_l",),
    "deg": ("_deg",), "degC": ("_degc",), "K": ("_k",), "s": ("_s",), "min": ("_min",), "h": ("_h",), "m/s": ("_m_s",),
    "m2": ("_m2",), "kg": ("_kg",), "days": ("_days",), "years": ("_years",), "mg/l": ("_mg_l",),
    "uS/cm": ("_us_cm",), "W/m2": ("_w_m2",), "1": ("_n", "_frac", "_factor", "_ratio"),
}  # fmt: skip


def check_declaration(analysis: Analysis[Any], site: Site) -> None:
    """Names, question, meanings and sources are there; layers and columns stand in the schema."""
    from gravegis.layers import schema

    del site
    assert re.fullmatch(r"[a-z][a-z0-9_]*", analysis.name), f"'{analysis.name}' is no plain name"
    assert analysis.question.endswith("?"), "the question must be one"
    assert analysis.title, "there is no title"
    assert analysis.sources, "no source is named"
    assert all(analysis.sources), "a source is empty"
    assert analysis.run.__doc__, "run has no docstring: it is the method on the help page"
    assert set(analysis.facts) <= set(FACTS), f"facts are {FACTS}"
    missing = [name for name in analysis.tables or () if name not in table_hashes()]
    assert not missing, f"there are no tables called {missing} in gravegis/science/data"
    for layer, columns in analysis.gives.items():
        known = schema.layer(layer).columns
        unknown = [column for column in columns if column not in known]
        assert not unknown, f"{layer} gives columns the schema does not know: {unknown}"
        assert all(columns.values()), f"a column of {layer} has no meaning"


def check_settings(analysis: Analysis[Any], site: Site) -> None:
    """Require frozen settings with unit, range and source, defaults within their range."""
    del site
    for name, (default, kind) in analysis.kinds().items():
        assert default is not MISSING, f"{name} has no default"
        assert kind.help.strip(), f"{name} has no meaning"
        assert kind.source.strip(), f"{name} does not say where its default comes from"
        assert kind.range_text(), f"{name} has no range"
        if isinstance(kind, Number):
            assert name.endswith(SUFFIX[kind.unit]), f"{name} is in {kind.unit} and must end in {SUFFIX[kind.unit]}"
            assert isinstance(default, (int, float)), f"the default of {name} is no number"
            assert kind.low <= default <= kind.high, f"the default of {name} lies outside its range"
    made = analysis.settings()
    for one in fields(made)[:1]:
        try:
            setattr(made, one.name, None)
        except FrozenInstanceError:
            continue
        raise AssertionError("settings can be changed after they are made")


def check_faces(analysis: Analysis[Any], site: Site) -> None:
    """Command line, saved settings and Python give the same settings; the help page names each."""
    from gravegis.contract import _as_typed

    del site
    plain = analysis.settings()
    values = {one.name: getattr(plain, one.name) for one in fields(plain)}
    assert analysis.read(_as_typed(values)) == plain, "settings typed on the command line differ from Python's"
    assert analysis.read({}, values) == plain, "settings saved in a site differ from Python's"
    page = analysis.reference()
    missing = [name for name in values if name not in page]
    assert not missing, f"the help page does not name {missing}"


def check_result(analysis: Analysis[Any], site: Site) -> None:
    """Layers and columns come as declared, hold something and vary, and lie in the CRS of the site."""
    result = _run(analysis, site)
    _as_declared(analysis, result.layers)
    assert set(result.grids) == set(analysis.gives_grids), f"grids {set(result.grids)} are not those declared"
    site.with_layers(result.layers)
    for layer, frame in result.layers.items():
        assert len(frame), f"{layer} is empty on the sample site"
        for column in analysis.gives[layer]:
            if f"{layer}.{column}" in analysis.may_be_missing or len(frame) < 2:
                continue
            assert frame[column].notna().any(), f"{layer}.{column} holds nothing on the sample site"
            assert frame[column].astype("str").nunique() > 1, f"{layer}.{column} is the same in every row"


def check_pure(analysis: Analysis[Any], site: Site) -> None:
    """Require that the site is not changed and that the same seed gives the same answer."""
    from gravegis.layers.canonical import conform, content_hash

    before = {name: content_hash(site[name]) for name in site}
    first, second = _run(analysis, site), _run(analysis, site)
    assert {name: content_hash(site[name]) for name in site} == before, "the site was changed"
    for name in first.layers:
        one, other = (content_hash(conform(result.layers[name], name)) for result in (first, second))
        assert one == other, f"two runs give different {name}"
    assert first.notes == second.notes, "two runs give different words"


def check_empty(analysis: Analysis[Any], site: Site) -> None:
    """Empty layers give empty layers with all columns."""
    from gravegis.layers import canonical

    bare = {name: site[name].iloc[:0] for name in analysis.reads() if name in site}
    result = _run(analysis, Site(site.info).with_layers(bare))
    _as_declared(analysis, result.layers)
    for name, frame in result.layers.items():
        assert len(canonical.conform(frame, name)) == 0, f"{name} has rows that come from nothing"


def check_uses(analysis: Analysis[Any], site: Site) -> None:
    """Without any one layer or column it uses, it still answers, with the same columns; an assumption is said."""
    for layer, columns in analysis.uses.items():
        if layer not in site or layer in analysis.needs:
            continue
        result = _run(analysis, site.without((layer,)))
        _as_declared(analysis, result.layers)
        if columns.get("*"):
            assert any(one.what == layer for one in result.assumed), f"nothing is said to be assumed without {layer}"
    for layer, columns in analysis.uses.items():
        for column, words in columns.items():
            if layer in site and column in site[layer].columns and column not in ("*", "geometry"):
                _without_column(analysis, site, f"{layer}.{column}", words)


def _without_column(analysis: Analysis[Any], site: Site, name: str, words: str) -> None:
    layer, column = name.split(".")
    from gravegis.layers import schema

    if schema.layer(layer).columns.get(column) is not None and schema.layer(layer).columns[column].required:
        return
    bare = site.with_layers({layer: site[layer].drop(columns=column)})
    result = _run(analysis, bare)
    _as_declared(analysis, result.layers)
    if words:
        assert any(one.what == name for one in result.assumed), f"nothing is said to be assumed without {name}"


def check_progress(analysis: Analysis[Any], site: Site) -> None:
    """Progress is reported within 0 to 1 and never runs back; a cancelled job stops."""
    from gravegis.errors import Cancelled

    shares: list[float] = []
    analysis.work(site, None, Job(seed=site.info.seed, report=lambda share, words: shares.append(share)))
    assert shares, "no progress is reported"
    assert shares == sorted(shares), "progress runs back"
    try:
        analysis.work(site, None, Job(seed=site.info.seed, cancelled=lambda: True))
    except Cancelled:
        return
    raise AssertionError("a cancelled job goes on to its end")


CHECKS = (
    check_declaration,
    check_settings,
    check_faces,
    check_result,
    check_pure,
    check_empty,
    check_uses,
    check_progress,
)
"""Every promise of the contract, each a function of an analysis and a site."""


def _run(analysis: Analysis[Any], site: Site) -> Result:
    return analysis.work(site, None, Job(seed=site.info.seed))


def _as_declared(analysis: Analysis[Any], layers: Mapping[str, Frame]) -> None:
    assert set(layers) == set(analysis.gives), f"it gives {set(layers)}, declared are {set(analysis.gives)}"
    for layer, frame in layers.items():
        missing = [column for column in analysis.gives[layer] if column not in frame.columns]
        assert not missing, f"{layer} lacks the declared columns {missing}"
