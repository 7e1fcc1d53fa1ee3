"""From findings and classes to the grade of each harm per stone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.layers.stones import findings_of, numbers
from gravegis.science.condition.harms import HarmGrades, grade_harms

if TYPE_CHECKING:
    from gravegis.layers.canonical import Frame

__all__ = ["OVERALL", "grades_of"]

OVERALL = "overall"
"""The condition class of the stone, beside the single harms."""


def grades_of(stones: Frame, findings: Frame | None, condition: Frame | None) -> HarmGrades:
    """Return the grade of each harm of these stones, the condition class first, under the name "overall".

    Where nobody looked a grade is NaN, never 0; without classes the overall grade is unknown.
    """
    found, _ = findings_of(stones, findings)
    single = grade_harms(found, numbers(stones, "stones", "quick_score"))
    overall = np.full(len(stones), np.nan)
    if condition is not None:
        classes = condition.set_index("stone_id").reindex(stones["stone_id"])
        overall = numbers(classes, "stone_condition", "overall")
    present = np.where(np.isnan(overall), np.nan, (overall > 0).astype(np.float64))
    return HarmGrades(
        names=(OVERALL, *single.names),
        grade=np.column_stack([overall, single.grade]),
        present=np.column_stack([present, single.present]),
    )
