"""The report of `gravegis check` as one JSON object, for other programs."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from gravegis.outputs.assumed_json import assumed_line
from gravegis.outputs.check_words import remarks, verdict

if TYPE_CHECKING:
    from gravegis.report import Gap, Report

__all__ = ["FORMAT", "report_object"]

FORMAT = "gravegis check 1"
"""Name and version of the form; the number rises when a member changes its meaning or goes."""


def report_object(report: Report) -> dict[str, Any]:
    """Return the report as plain lists and maps, in the order of the report."""
    plain = asdict(report)
    return {
        "format": FORMAT,
        **{name: plain[name] for name in ("title", "crs", "crs_basis", "time_zone", "made_on", "layers", "analyses")},
        "verdict": verdict(report),
        "remarks": remarks(report),
        "missing": [_gap(place, gap) for place, gap in enumerate(report.gaps, 1)],
        "findings": [
            {"severity": one.severity, **asdict(one.problem), "kept_as_typed": one.is_kept} for one in report.findings
        ],
        "sources": list(report.sources),
        "brought_in": [assumed_line(line) for line in report.brought_in],
        "results": [
            {
                "analysis": one.analysis,
                "holds": one.holds,
                "state": one.state,
                "assumed": [assumed_line(line) for line in one.assumed],
            }
            for one in report.results
        ],
        "measurements": plain["measurements"],
    }


def _gap(place: int, gap: Gap) -> dict[str, Any]:
    return {"number": place, **asdict(gap), "nothing_assumed": gap.is_silent}
