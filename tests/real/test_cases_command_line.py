"""Every small input that broke other people's day, through the command line as stones, heads and plots."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from gravegis import cli, store
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path

PARTS = {".shx", ".dbf", ".prj", ".cpg", ".md"}


@pytest.mark.parametrize("layer", ["stones", "heads", "plots"])
def test_each_comes_in_or_ends_with_2_and_one_clear_message(
    shared: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], layer: str
) -> None:
    cases = shared / "cases"
    if not cases.is_dir():
        pytest.skip(f"no {cases}")
    came_in, refused = [], []
    for file in sorted(one for one in cases.iterdir() if one.suffix not in PARTS):
        site = tmp_path / f"{file.stem}-{file.suffix[1:]}"
        store.save(Site(SiteInfo("cases", "")), site)
        before = (site / "site.gpkg").read_bytes()
        with pytest.raises(SystemExit) as left:
            cli.main(["add", str(site), layer, str(file)])
        said = capsys.readouterr()
        if left.value.code in (0, None):
            came_in.append(file.name)
            assert layer in store.load(site)
            continue
        refused.append(file.name)
        assert left.value.code == 2, (file.name, said.err)
        assert "Traceback" not in said.err + said.out, file.name
        assert "To mend it:" in said.err, (file.name, said.err)
        assert (site / "site.gpkg").read_bytes() == before, file.name
    assert came_in
    assert {"noprj.shp", "crsmember_unknown.geojson"} <= set(refused)
