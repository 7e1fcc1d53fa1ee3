"""One report over a site: what can be answered, what is missing and how to mend it, what is doubtful, what to do next.

Site in, frozen values out; nothing is drawn or printed here.
"""

from __future__ import annotations

from gravegis.report.build import report_of
from gravegis.report.model import AnalysisState, Gap, Instead, LayerLine, Report, ResultState
from gravegis.report.weigh import RULE

__all__ = ["RULE", "AnalysisState", "Gap", "Instead", "LayerLine", "Report", "ResultState", "report_of"]
