"""The report of `gravegis check` as one page: a single file without scripts, pictures or anything from elsewhere.

It follows the light or dark theme of the reader and prints on A4 and Letter. Everything that came from a file or a
person is escaped; signs that turn the direction of writing are left out.
"""

from __future__ import annotations

import base64
import hashlib
from html import escape
from importlib.resources import files
from typing import TYPE_CHECKING

from gravegis.outputs.check_words import facts, remarks, sections, verdict
from gravegis.outputs.words import one_line

if TYPE_CHECKING:
    from gravegis.outputs.check_words import Entry, Section
    from gravegis.report import Report

__all__ = ["page", "style"]


def style() -> str:
    """Return the style sheet of the page."""
    return files("gravegis.outputs").joinpath("data", "check_report.css").read_text(encoding="utf-8")


def page(report: Report) -> str:
    """Return the report as an HTML page; the same report gives the same page."""
    parts = sections(report)
    title = escape(one_line(report.title) or "site")
    css = style()
    allowed = base64.b64encode(hashlib.sha256(css.encode()).digest()).decode()
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            '<meta name="color-scheme" content="light dark">',
            '<meta http-equiv="Content-Security-Policy" '
            f"content=\"default-src 'none'; style-src 'sha256-{allowed}'\">",
            f"<title>{title}: what can be answered</title>",
            f"<style>{css}</style>",
            "</head>",
            "<body>",
            "<header>",
            f'<h1 dir="auto">{title}</h1>',
            f'<p dir="auto">{escape(facts(report))}</p>',
            f"<p><strong>{escape(verdict(report))}</strong> {escape(remarks(report))}</p>",
            "<nav><ul>",
            *(f'<li><a href="#{one.key}">{escape(one.title)}</a> ({len(one.entries)})</li>' for one in parts),
            "</ul></nav>",
            "</header>",
            "<main>",
            *(line for one in parts for line in _section(one)),
            "</main>",
            "</body>",
            "</html>",
            "",
        ]
    )


def _section(one: Section) -> list[str]:
    head = [f'<section id="{one.key}">', f"<h2>{escape(one.title)}</h2>"]
    if one.intro:
        head.append(f'<p class="intro">{escape(one.intro)}</p>')
    if not one.entries:
        return [*head, f"<p>{escape(one.empty)}</p>", "</section>"]
    return [*head, "<ul>", *(_entry(entry) for entry in one.entries), "</ul>", "</section>"]


def _entry(one: Entry) -> str:
    label, anchor = escape(one.label), ""
    if one.label.startswith("["):
        anchor = f' id="gap-{escape(one.label.strip("[]"))}"'
    notes = "".join(f'<p dir="auto">{_linked(note)}</p>' for note in one.notes)
    command = f"<p><code>{escape(one.command)}</code></p>" if one.command else ""
    return (
        f'<li class="{one.tone}"{anchor}><p dir="auto"><b class="label">{label}</b> <b>{escape(one.head)}</b></p>'
        f"{notes}{command}</li>"
    )


def _linked(note: str) -> str:
    """Return a note, with the numbers of what is missing for an analysis as links."""
    lead, found, numbers = note.partition("missing for it: ")
    if lead or not found:
        return escape(note)
    links = (f'<a href="#gap-{one}">[{one}]</a>' for one in (escape(two.strip("[]")) for two in numbers.split()))
    return f"{found}{' '.join(links)}"
