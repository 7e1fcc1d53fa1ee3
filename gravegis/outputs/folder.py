"""What a run leaves in ``out/`` for people, and what to open first.

Everything is made in a folder of its own first and put in place at the end: a break leaves the older pages whole.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from gravegis.errors import StoreError
from gravegis.outputs import currency

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from gravegis.site import Site

__all__ = ["CONTENTS", "Made", "open_first", "remove_last_run", "write_all"]

CONTENTS = "contents.txt"
_HEAD = "Made by gravegis: these files are written anew by each run, notes typed into them are lost."


@dataclass(frozen=True, slots=True)
class Made:
    """One file made for people, and what it is for."""

    path: Path
    words: str


def write_all(site: Site, folder: Path, *, made_on: str, paper: str) -> list[Made]:
    """Write every map, sheet and table the results allow, and return them in the order to open them.

    Files of the last run go; files a person put into the folder stay.

    Parameters
    ----------
    made_on
        Day of making, printed on pages; given by the caller, for nothing here reads a clock.
    paper
        ``A4`` or ``Letter``.

    Raises
    ------
    StoreError
        When a file cannot be written, such as a PDF that a reader holds open.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".making-", dir=folder) as beside:
            made = _make(site, Path(beside), made_on, paper)
            remove_last_run(folder)
            for one in made:
                one.path.replace(folder / one.path.name)
            lines = [_HEAD, *currency.listed(site), *(f"{one.path.name}\t{one.words}" for one in made)]
            (folder / CONTENTS).write_text("\n".join(lines) + "\n", encoding="utf-8")
    except OSError as error:
        raise StoreError(
            f"maps and sheets cannot be written ({error})", where=str(folder),
            remedy="Close programs that hold a file there open, check write permission, then run again; "
            "the results themselves are saved.",
        ) from error  # fmt: skip
    return [replace(one, path=folder / one.path.name) for one in made]


def open_first(made: Sequence[Made]) -> list[Made]:
    """Return the pages a person should look at first, the one for the grounds superintendent before all others."""
    wanted = ("zones", "wetting_map", "heat_map", "crew_map", "day_of_crews")
    by_stem = {one.path.stem: one for one in made if one.path.suffix == ".pdf"}
    sheets = [one for stem, one in by_stem.items() if stem.startswith("crew_") and stem not in wanted]
    return [by_stem[stem] for stem in wanted if stem in by_stem] + sheets


def remove_last_run(folder: Path) -> list[str]:
    """Remove the files the last run made, as its own list names them; return their names."""
    contents = folder / CONTENTS
    if not contents.is_file():
        return []
    head, *lines = contents.read_text(encoding="utf-8", errors="replace").splitlines() or [""]
    names = [line.split("\t")[0] for line in lines if "\t" in line] if head == _HEAD else []
    gone = [name for name in names if Path(name).name == name and (folder / name).is_file()]
    for name in gone:
        (folder / name).unlink()
    if head == _HEAD:
        contents.unlink()
    return gone


def _make(site: Site, folder: Path, made_on: str, paper: str) -> list[Made]:
    made: list[Made] = []
    for step in (_maps, _harm_maps, _evidence, _zone_pages, _worklist_pages, _crew_sheets, _planning, _tables, _words):
        made.extend(step(site, folder, made_on, paper))
    return made


def _maps(site: Site, folder: Path, made_on: str, paper: str) -> list[Made]:
    from gravegis.outputs import maps, words

    plan = words.plan_hash(site) if site.has("stops") else ""
    pages: tuple[tuple[str, bool, Callable[..., object], str], ...] = (
        ("wetting_map", site.has("stone_wetting"), maps.wetting_map, "heads to look at first, stones reached"),
        ("rate_map", "water_rate" in site.grids, maps.rate_map, "how fast water falls while a zone runs, how evenly"),
        ("season_water_map", "water_season" in site.grids, maps.season_water_map, "how much water a season leaves"),
        (
            "condition_map",
            site.has("stone_condition", "overall"),
            maps.condition_map,
            "condition of each stone, groups",
        ),
        ("heat_map", "share_damaged" in site.grids, maps.heat_map, "share of damaged stones"),
        ("change_map", site.has("stone_change"), maps.change_map, "what got better or worse since the last survey"),
        ("crew_map", site.has("stops"), maps.crew_map, "which crew walks where"),
    )
    made: list[Made] = []
    for stem, wanted, draw, told in pages:
        if wanted:
            figure = draw(site, made_on=made_on, paper=paper, plan_hash=plan)
            files = maps.save_figure(figure, folder / stem)  # type: ignore[arg-type]
            made.extend(Made(file, told) for file in files)
    return made


def _harm_maps(site: Site, folder: Path, made_on: str, paper: str) -> list[Made]:
    from gravegis.outputs import maps, words

    plan = words.plan_hash(site) if site.has("stops") else ""
    made: list[Made] = []
    for harm in maps.harms_mapped(site):
        figure = maps.harm_map(site, harm, made_on=made_on, paper=paper, plan_hash=plan)
        files = maps.save_figure(figure, folder / f"harm_{harm.replace(' ', '_')}_map")
        made.extend(Made(file, f"{harm} on the stones, and where it gathers") for file in files)
    return made


def _evidence(site: Site, folder: Path, made_on: str, paper: str) -> list[Made]:
    from gravegis.outputs import evidence_pages

    files = evidence_pages.write_evidence_page(site, folder, made_on=made_on, paper=paper)
    return [Made(file, "does the water explain the harm, how sure, what it does not show") for file in files]


def _zone_pages(site: Site, folder: Path, made_on: str, paper: str) -> list[Made]:
    from gravegis.outputs import zone_pages

    if not site.has("head_stones"):
        return []
    file = zone_pages.write_zone_pages(site, folder / "zones.pdf", made_on=made_on, paper=paper)
    return [] if file is None else [Made(file, "a page per zone: one line per head, worst first, with its stones")]


def _worklist_pages(site: Site, folder: Path, made_on: str, paper: str) -> list[Made]:
    from gravegis.outputs import worklist_pages

    if not site.has("worklist"):
        return []
    told = {"to_ask": "whose leave to ask for, and for which stones", "pictures": "pictures to tell stones by"}
    files = worklist_pages.write_worklist_pages(site, folder, made_on=made_on, paper=paper)
    return [Made(file, told.get(file.stem, "the worklist by block, what to load, limits of the day")) for file in files]


def _crew_sheets(site: Site, folder: Path, made_on: str, paper: str) -> list[Made]:
    from gravegis.outputs import crew_sheet

    if not (site.has("stops") or site.has("unplanned")):
        return []
    files = crew_sheet.write_crew_sheets(site, folder, made_on=made_on, paper=paper)
    told = {"not_today": "stones nobody visits today, and why"}
    return [Made(file, told.get(file.stem, "crew sheet")) for file in files]


def _planning(site: Site, folder: Path, made_on: str, paper: str) -> list[Made]:
    """Write the pages around a day: what to ask for, and the season it stands in."""
    from gravegis.outputs import day_strips, season_page, zone_request_page

    pages: tuple[tuple[str, str, Callable[..., bytes | None], str], ...] = (
        ("day_of_crews", "crew_steps", day_strips.day_strips, "all crews over the day on one page, for the leader"),
        ("zone_requests", "zone_requests", zone_request_page.zone_request_page, "zones to be off, one page to sign"),
        ("season_plan", "season_plan", season_page.season_page, "which block in which month, what is never reached"),
    )
    made: list[Made] = []
    for stem, layer, draw, told in pages:
        pdf = draw(site, made_on=made_on, paper=paper) if site.has(layer) else None
        if pdf is not None:
            made.append(Made(folder / f"{stem}.pdf", told))
            made[-1].path.write_bytes(pdf)
    return made


def _tables(site: Site, folder: Path, made_on: str, paper: str) -> list[Made]:
    from gravegis.outputs import day_geojson, exchange

    del made_on, paper
    files = [*exchange.write_tables(site, folder), *exchange.write_gpx(site, folder)]
    files += day_geojson.write_day_geojson(site, folder)
    told = {
        ".gpx": "walk of a crew for phones",
        ".geojson": "stops and walk of a crew for map programs on phones",
        ".csv": "table; what was assumed for it stands in assumed.txt",
    }
    return [Made(file, told.get(file.suffix, "what was missing and what was assumed in the tables")) for file in files]


def _words(site: Site, folder: Path, made_on: str, paper: str) -> list[Made]:
    """Write the answers and what was assumed, as printed by the run."""
    del paper
    from gravegis import staleness
    from gravegis.outputs import words

    late = currency.listed(site)
    lines = [f"{site.info.title}, {made_on}", *late, ""]
    stale = {one.analysis for one in staleness.stale(site)}
    for record in site.log:
        mark = f", {currency.OUT_OF_DATE}" if record.analysis in stale else ""
        lines += [f"{record.analysis}{mark}", *(f"  {note}" for note in record.notes), ""]
    lines += ["Assumed", *(f"  {one}" for one in words.assumed(site))]
    file = folder / "answers.txt"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return [Made(file, "answers in words, and what was assumed")]
