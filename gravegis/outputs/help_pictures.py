"""Pictures that belong to a help page, with the words below them (data/help_pictures.csv)."""

from __future__ import annotations

import csv
from importlib.resources import files
from typing import NamedTuple

__all__ = ["HelpPicture", "help_pictures"]


class HelpPicture(NamedTuple):
    """One picture of a help page: its file and what it shows."""

    file: str
    words: str


def help_pictures(topic: str) -> tuple[HelpPicture, ...]:
    """Return the pictures of the help page of an analysis; none for most."""
    data = files("gravegis.outputs").joinpath("data")
    text = data.joinpath("help_pictures.csv").read_text(encoding="utf-8")
    return tuple(
        HelpPicture(str(data.joinpath(row["file"])), row["words"])
        for row in csv.DictReader(text.splitlines())
        if row["topic"] == topic
    )
