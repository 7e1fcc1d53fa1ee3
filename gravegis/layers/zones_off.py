"""Which zones somebody refused to turn off, and which stones nobody can work on for that reason.

A refusal is a row of `permissions` with the zone in `zone_id` and `status` refused. A plan leaves the stones of
`refused_stones` out with reason `ZONE_NOT_OFF` and the words given here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gravegis.layers.canonical import column
from gravegis.layers.stones import words
from gravegis.science.care.permissions import permission_states
from gravegis.science.care.zones_off import shut_off

if TYPE_CHECKING:
    from gravegis.layers.canonical import Frame

__all__ = ["ZONE_NOT_OFF", "refused_stones", "zone_answers"]

ZONE_NOT_OFF = "ZONE_NOT_OFF"
"""Reason code of a stone that is not planned because its zone stays on."""


def zone_answers(permissions: Frame | None, day: str = "") -> dict[str, tuple[str, str]]:
    """Return per zone how the request stands (granted, pending, refused, unknown) and the letter it stands in.

    The strictest row of a zone counts. A row whose `until` lies before the day (YYYY-MM-DD; empty for undated plans)
    says nothing any more.
    """
    states = permission_states()
    if permissions is None or "zone_id" not in permissions.columns:
        return {}
    rank = {"granted": 0, "unknown": 1, "pending": 2, "refused": 3}
    rows = zip(
        words(permissions, "permissions", "zone_id"), words(permissions, "permissions", "status"),
        [None if one is None or one != one else str(one) for one in column(permissions, "permissions", "until")],
        words(permissions, "permissions", "ref"), strict=True,
    )  # fmt: skip
    found: dict[str, tuple[str, str]] = {}
    for zone, status, until, ref in rows:
        if zone is None or (day and until and until < day):
            continue
        state = states.term(status or "") or "unknown"
        if zone not in found or rank.get(state, 1) > rank.get(found[zone][0], 1):
            found[zone] = (state, ref or "")
    return found


def refused_stones(links: Frame | None, permissions: Frame | None, day: str = "") -> dict[str, str]:
    """Return the stones a refused zone reaches, with the reason in words; links are those of `wetting_links`."""
    if links is None:
        return {}
    refused = {zone: ref for zone, (state, ref) in zone_answers(permissions, day).items() if state == "refused"}
    pairs = zip(words(links, "wetting_links", "stone_id"), words(links, "wetting_links", "zone_id"), strict=True)
    return shut_off(((str(stone), zone) for stone, zone in pairs if zone is not None), refused)
