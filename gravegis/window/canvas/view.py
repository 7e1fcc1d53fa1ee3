"""Where the map looks: middle, scale and size, and the way between ground and screen."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gravegis.window.canvas.rings import Box

__all__ = ["View", "fitting"]

LEAST_PX_PER_M, MOST_PX_PER_M = 0.02, 400.0


@dataclass(frozen=True, slots=True)
class View:
    """Middle of the ground looked at [m], pixels per metre, and size in pixels of the screen (before its density)."""

    x_m: float
    y_m: float
    px_per_m: float
    width_px: int
    height_px: int

    @property
    def box_m(self) -> Box:
        """Ground that is seen."""
        across, up = self.width_px / 2 / self.px_per_m, self.height_px / 2 / self.px_per_m
        return self.x_m - across, self.y_m - up, self.x_m + across, self.y_m + up

    def to_ground(self, x_px: float, y_px: float) -> tuple[float, float]:
        """Return the place on the ground under a pixel. [m]"""
        return (
            self.x_m + (x_px - self.width_px / 2) / self.px_per_m,
            self.y_m - (y_px - self.height_px / 2) / self.px_per_m,
        )

    def to_screen(self, x_m: float, y_m: float) -> tuple[float, float]:
        """Return the pixel of a place on the ground."""
        return (
            self.width_px / 2 + (x_m - self.x_m) * self.px_per_m,
            self.height_px / 2 - (y_m - self.y_m) * self.px_per_m,
        )

    def moved(self, right_px: float, down_px: float) -> View:
        """Return a view in which the drawing has gone right and down by so many pixels."""
        return replace(self, x_m=self.x_m - right_px / self.px_per_m, y_m=self.y_m + down_px / self.px_per_m)

    def zoomed(self, factor: float, at_px: tuple[float, float] | None = None) -> View:
        """Return a view so many times larger, in which the place under a pixel stays (none given: the middle)."""
        x_px, y_px = at_px if at_px is not None else (self.width_px / 2, self.height_px / 2)
        stays = self.to_ground(x_px, y_px)
        scaled = replace(self, px_per_m=min(max(self.px_per_m * factor, LEAST_PX_PER_M), MOST_PX_PER_M))
        now = scaled.to_ground(x_px, y_px)
        return replace(scaled, x_m=scaled.x_m + stays[0] - now[0], y_m=scaled.y_m + stays[1] - now[1])

    def sized(self, width_px: int, height_px: int) -> View:
        """Return a view of another size with the same middle and scale."""
        return replace(self, width_px=max(width_px, 1), height_px=max(height_px, 1))

    def grown(self, share: float) -> View:
        """Return a view that shows so much more on each side, in whole pixels."""
        return self.sized(
            self.width_px + 2 * int(self.width_px * share), self.height_px + 2 * int(self.height_px * share)
        )


def fitting(box: Box, width_px: int, height_px: int) -> View:
    """Return the view that shows a box of ground whole."""
    west, south, east, north = box
    scale = min(width_px / max(east - west, 0.1), height_px / max(north - south, 0.1))
    scale = min(max(scale, LEAST_PX_PER_M), MOST_PX_PER_M)
    return View((west + east) / 2, (south + north) / 2, scale, max(width_px, 1), max(height_px, 1))
