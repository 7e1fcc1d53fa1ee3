"""The command that opens the window; the window itself is an extra and is loaded when asked for."""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path

import click

from gravegis.errors import PluginError

__all__ = ["window"]


@click.command()
@click.argument("site", required=False, type=click.Path(path_type=Path, file_okay=False))
def window(site: Path | None) -> None:
    """Open the desk: the map, the questions of the job, the day's clock. Without SITE: its first page."""
    try:
        # by its name: nothing below the window may import it
        main = import_module("gravegis.window.main")
    except ImportError as error:
        if "PySide6" not in str(error) and not str(error.name or "").startswith("PySide6"):
            if "lib" not in str(error):
                raise
            remedy = "Install the system library it names with the package manager of this computer."
        else:
            remedy = 'In the folder of gravegis: python -m pip install ".[window]"'
        raise PluginError(f"the window cannot be opened here ({error})", remedy=remedy) from None
    sys.exit(main.open_window(site))
