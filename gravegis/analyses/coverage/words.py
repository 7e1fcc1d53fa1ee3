"""The coverage in words: how much, how even, how much is lost, and what was not looked at."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.contract import listed

if TYPE_CHECKING:
    from gravegis.analyses.coverage.water import Sent
    from gravegis.layers.canonical import Frame
    from gravegis.layers.spraying import Sprayers

__all__ = ["LIMITS", "notes_of"]

LIMITS = (
    "Not looked at: slope, trees, walls, gusts, and stones that keep water off the ground behind them; the ground is "
    "taken as open. Rates and evenness are worked out from flows and throws, not measured: a test with cans on the "
    "ground shows how true they are."
)
_FEW = 3
_LOSS_FRAC = 0.02
"""Zones that lose less than this off the site are not named: own choice."""


def notes_of(table: Frame, sent: Sent, found: Sprayers) -> list[str]:
    """Return the answer: rates first, then the least even zones, then what leaves the site, then what is unknown."""
    known = table.dropna(subset=["rate_mm_h"])
    return [*_rates(known), *_evenness(known), *_losses(table), *_season(known), *_unknown(table, sent, found)]


def _rates(known: Frame) -> list[str]:
    if known.empty:
        return ["No zone has a flow for every head: no rate and no evenness can be said. Read the meter before and "
                "after one zone runs: that gives its flow."]  # fmt: skip
    low, high = known["rate_mm_h"].min(), known["rate_mm_h"].max()
    span = f"{low:.0f}" if round(low) == round(high) else f"{low:.0f} to {high:.0f}"
    zones = "1 zone puts" if len(known) == 1 else f"{len(known)} zones put"
    return [f"{zones} {span} mm an hour on the ground to be watered: what lies between their heads."]


def _evenness(known: Frame) -> list[str]:
    worst = known.dropna(subset=["du_lq"]).sort_values(["du_lq", "zone_id"], kind="stable").head(_FEW)
    said = [f"{zone} {share:.0f} %" for zone, share in zip(worst["zone_id"], worst["du_lq"], strict=True)]
    if not said:
        return []
    return [f"Least even (driest quarter against the mean): {', '.join(said)}. A rotor zone at 70 % or more is usual "
            "good practice (landscape-planning chapter, read second-hand)."]  # fmt: skip


def _losses(table: Frame) -> list[str]:
    lost = table[table["off_site_frac"] >= _LOSS_FRAC].sort_values("off_site_frac", ascending=False, kind="stable")
    said = [f"{zone} {share:.0%}" for zone, share in zip(lost["zone_id"], lost["off_site_frac"], strict=True)]
    if not said:
        return []
    return [f"Water that falls off the site, at least: {listed(said)}. The site counts as far as plots, paths, "
            "barriers and stones reach, or where only stones are drawn, stones and heads."]  # fmt: skip


def _season(known: Frame) -> list[str]:
    depth = known["season_mm"].dropna()
    if depth.empty:
        return []
    low, high = (f"{round(one, -1):,.0f}" for one in (depth.min(), depth.max()))
    return [f"By the schedule a season leaves {low if low == high else f'{low} to {high}'} mm there, on the mean."]


def _unknown(table: Frame, sent: Sent, found: Sprayers) -> list[str]:
    out = []
    gaps = table[table["rate_mm_h"].isna() & ~table["basis"].str.startswith(("flows", "some flows"))]
    if len(gaps) and len(gaps) < len(table):
        out.append(f"Nothing is said of zones {listed(gaps['zone_id'].tolist())}: flow or ground of a head is unknown.")
    no_flow, no_ground = int(np.isnan(sent.flow_l_h).sum()), len(found.frame) - len(found.rows)
    if no_flow:
        out.append(f"{no_flow} heads of unknown flow: ground they wet is left blank on the raster.")
    if no_ground:
        out.append(f"{no_ground} heads whose throw is not known are not on the raster: more water falls than it shows.")
    return out
