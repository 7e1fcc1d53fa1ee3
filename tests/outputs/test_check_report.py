from __future__ import annotations

import json
import re
from typing import Any

import pytest

from gravegis.outputs import check_report, symbols
from gravegis.outputs.check_json import FORMAT, report_object
from gravegis.outputs.check_words import sections
from gravegis.report import Report, report_of
from gravegis.site import Site, SiteInfo
from tests.outputs.hostile import EVIL, Page, hostile


def sites(sample_run: Site) -> list[Report]:
    bare = [Site(SiteInfo("", "")), hostile(), sample_run]
    return [report_of(site, folder=EVIL, made_on="2026-11-25") for site in bare]


def test_the_page_is_well_formed_and_holds_all_that_is_said(sample_run: Site) -> None:
    for report in sites(sample_run):
        page = Page(check_report.page(report))
        for section in sections(report):
            for entry in section.entries:
                for words in (entry.label, entry.head, *entry.notes, entry.command):
                    assert " ".join(words.split()) in page.text


def test_the_page_has_no_script_and_asks_for_nothing_from_elsewhere(sample_run: Site) -> None:
    for report in sites(sample_run):
        text = check_report.page(report)
        page = Page(text)
        tags = {tag for tag, _ in page.tags}
        assert not tags & {
            "script",
            "img",
            "link",
            "iframe",
            "object",
            "embed",
            "base",
            "form",
            "svg",
            "audio",
            "video",
        }
        for _, attributes in page.tags:
            assert not any(name.startswith("on") or name in ("src", "style", "srcset") for name in attributes)
            assert attributes.get("href", "#").startswith("#")
        assert not re.search(r"url\(|@import|https?:", check_report.style())
        [policy] = [a["content"] for t, a in page.tags if a.get("http-equiv") == "Content-Security-Policy"]
        assert policy.startswith("default-src 'none'; style-src 'sha256-")


def test_every_link_of_the_page_leads_to_one_place_on_it(sample_run: Site) -> None:
    page = Page(check_report.page(report_of(sample_run)))
    places = [attributes["id"] for _, attributes in page.tags if "id" in attributes]
    assert len(places) == len(set(places))
    links = {attributes["href"] for tag, attributes in page.tags if tag == "a"}
    assert len(links) > len(sections(report_of(sample_run)))
    assert {link.removeprefix("#") for link in links} <= set(places)


def test_hostile_names_stay_text_and_turn_nothing_round() -> None:
    text = check_report.page(report_of(hostile(), folder=EVIL))
    assert "<script" not in text
    assert "<img" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text
    assert not re.search("[\u200e\u200f\u202a-\u202e\u2066-\u2069\x00-\x08\x0b-\x1f\x7f-\x9f]", text)
    for section in sections(report_of(hostile(), folder=EVIL)):
        for entry in section.entries:
            assert not re.search("[\u202a-\u202e\u2066-\u2069\x00-\x1f\x7f-\x9f]", "".join((entry.head, *entry.notes)))


def test_the_same_report_gives_the_same_page(sample_run: Site) -> None:
    assert check_report.page(report_of(sample_run)) == check_report.page(report_of(sample_run))


@pytest.mark.parametrize("theme", ["light", "dark", "print"])
def test_text_of_each_theme_stands_out_from_its_ground(theme: str) -> None:
    begin = {"light": r"^:root", "dark": r"prefers-color-scheme: dark\) \{ :root", "print": r"@media print \{ :root"}
    found = re.search(begin[theme] + r" \{(.*?)\}", check_report.style(), re.DOTALL | re.MULTILINE)
    assert found is not None
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", found.group(1)))
    assert set(colours) == {"paper", "ink", "soft", "line", "link", "box", "bad", "doubt", "good"}
    for name in ("ink", "soft", "link", "bad", "doubt", "good"):
        # WCAG 2.2, success criteria 1.4.3 (text) and 1.4.11 (lines)
        assert symbols.contrast(colours[name], colours["paper"]) >= 4.5
    assert symbols.contrast(colours["ink"], colours["box"]) >= 4.5
    assert symbols.contrast(colours["line"], colours["paper"]) >= 3.0


GAP = {
    "number": int, "layer": str, "column": str, "name": str, "rows_n": (int, type(None)), "of_n": (int, type(None)),
    "stones_n": int, "blocks": list, "instead": list, "results": list, "answers_n": int, "measure": str, "command": str,
    "nothing_assumed": bool,
}  # fmt: skip
ANALYSIS = {
    "name": str, "title": str, "question": str, "can_run": bool, "state": str, "lacks": list, "gaps": list,
    "gives": list,
}  # fmt: skip
LINE = {"layer": (str, type(None)), "column": (str, type(None)), "rows_n": (int, type(None)), "words": str, "text": str}
OBJECT = {
    "format": str, "title": str, "crs": str, "crs_basis": str, "time_zone": str, "made_on": str, "layers": list,
    "analyses": list, "verdict": str, "remarks": str, "missing": list, "findings": list, "sources": list,
    "brought_in": list, "results": list, "measurements": list,
}  # fmt: skip


def assert_form(value: dict[str, Any], form: dict[str, Any]) -> None:
    assert set(value) == set(form)
    for name, kind in form.items():
        assert isinstance(value[name], kind), name


FORMS: dict[str, dict[str, Any]] = {
    "missing": GAP,
    "analyses": ANALYSIS,
    "findings": {"severity": str, "problem": str, "where": str, "remedy": str, "kept_as_typed": bool},
    "results": {"analysis": str, "holds": bool, "state": str, "assumed": list},
    "measurements": {"words": str, "changes_n": int, "waits_for": str},
    "layers": {"layer": str, "role": str, "words": str, "rows_n": int},
    "brought_in": LINE,
}


def test_the_json_object_has_the_form_it_names(sample_run: Site) -> None:
    for report in sites(sample_run):
        made = json.loads(json.dumps(report_object(report), allow_nan=False))
        assert made["format"] == FORMAT
        assert_form(made, OBJECT)
        for name, form in FORMS.items():
            for one in made[name]:
                assert_form(one, form)
        for two in (two for one in made["missing"] for two in one["instead"]):
            assert_form(two, {"analysis": str, "words": str, "from_result": bool})
        for line in (line for one in made["results"] for line in one["assumed"]):
            assert_form(line, LINE)
        assert all(isinstance(number, int) for one in made["analyses"] for number in one["gaps"])


def test_json_keeps_hostile_names_as_they_are() -> None:
    assert json.loads(json.dumps(report_object(report_of(hostile()))))["title"] == EVIL
