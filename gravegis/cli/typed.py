"""What people type after a command, read and refused in one place."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from gravegis import registry
from gravegis.errors import GravegisError, Problem, SettingError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

__all__ = ["check_zone", "layer_and_file", "settings_typed", "without_saved"]


def layer_and_file(text: str) -> tuple[str, Path]:
    """Read ``stones=stones.csv``."""
    layer, found, file = text.partition("=")
    if not found or not file:
        raise SettingError(f"'{text}' is not LAYER=FILE", remedy="Write it such as stones=stones.csv.")
    return layer, Path(file)


def settings_typed(pairs: tuple[str, ...]) -> dict[str, dict[str, str]]:
    """Read ``wetting.near_m=2``, each checked; raises one error with what is wrong in any of them."""
    typed: dict[str, dict[str, str]] = {}
    for pair in pairs:
        name, found, value = pair.partition("=")
        analysis, dot, setting = name.partition(".")
        if not (found and dot):
            raise SettingError(f"'{pair}' is not ANALYSIS.SETTING=VALUE", remedy="Write it such as wetting.near_m=2.")
        setting = setting.replace("-", "_")
        if setting in typed.setdefault(analysis, {}):
            raise SettingError(f"{analysis}.{setting} is given twice", remedy="Give it once.")
        typed[analysis][setting] = value
    return _checked(typed)


def _checked(typed: dict[str, dict[str, str]]) -> dict[str, dict[str, str]]:
    """Return the settings typed; raises one error with what is wrong in any of them."""
    problems: list[Problem] = []
    for analysis, given in typed.items():
        try:
            registry.load(analysis).read(given)
        except GravegisError as error:
            problems.extend(error.problems)
    if problems:
        raise SettingError.of(problems)
    return typed


def without_saved(settings: Mapping[str, Mapping[str, object]], forget: Sequence[str]) -> dict[str, dict[str, object]]:
    """Return the saved settings without those named; raises SettingError for one that is not saved."""
    kept = {analysis: dict(values) for analysis, values in settings.items()}
    for name in forget:
        analysis, _, setting = name.partition(".")
        if kept.get(analysis, {}).pop(setting.replace("-", "_"), None) is None:
            saved = ", ".join(f"{one}.{other}" for one, values in settings.items() for other in values)
            raise SettingError(f"'{name}' is not saved", remedy=f"Saved are: {saved or 'none'}.")
    return {analysis: values for analysis, values in kept.items() if values}


def check_zone(name: str) -> None:
    """Refuse a time zone that nobody knows."""
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    try:
        if name:
            ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise SettingError(f"'{name}' is no time zone", remedy="Use an IANA name such as Australia/Adelaide.") from None
