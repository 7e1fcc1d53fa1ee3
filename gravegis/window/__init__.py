"""The practitioner's desk: the only package that imports Qt.

`desk`, `stages`, `state`, `evidence`, `clock`, `crews`, `job`, `reading` and `typing_in` know no Qt and are tested
without it; the other modules show what they give and gather what a person types.
"""
