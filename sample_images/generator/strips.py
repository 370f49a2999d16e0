"""A camera that sees one tube straightened, as the reader does: no resampling, exact rows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_images.generator.fluids import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class StripCamera:
    """Pinhole with its image plane in the plane of the tubes' axes; rows fall along the tube.

    Attributes
    ----------
    origin_mm : tuple of float
        Where the pinhole is.
    left_mm, top_mm : float
        Left and upper edge of the strip.
    depth_mm : float
        Distance of the plane of the axes from the board.
    step_mm : float
        Width and height of a pixel.
    width_px, height_px : int
        Columns and rows.
    """

    origin_mm: tuple[float, float, float]
    left_mm: float
    top_mm: float
    depth_mm: float
    step_mm: float
    width_px: int
    height_px: int

    def project(self, points_mm: Floats) -> Floats:
        """Pixel positions, shape (N, 2), of points, shape (N, 3)."""
        origin = np.asarray(self.origin_mm)
        rel = np.asarray(points_mm, float) - origin
        depth = np.minimum(rel[:, 2], -1.0)
        reach = (self.depth_mm - origin[2]) / depth
        x = origin[0] + reach * rel[:, 0]
        y = origin[1] + reach * rel[:, 1]
        return np.stack(
            [(x - self.left_mm) / self.step_mm - 0.5, (self.top_mm - y) / self.step_mm - 0.5],
            axis=1,
        )

    def directions(self, x_px: Floats, y_px: Floats) -> Floats:
        """Unit ray directions, shape (N, 3), of pixel positions (N,)."""
        at = np.stack(
            [
                self.left_mm + (x_px + 0.5) * self.step_mm,
                self.top_mm - (y_px + 0.5) * self.step_mm,
                np.full(len(x_px), self.depth_mm),
            ],
            axis=1,
        )
        d = at - np.asarray(self.origin_mm)
        return np.asarray(d / np.linalg.norm(d, axis=1, keepdims=True))

    def row_of(self, y_mm: float) -> float:
        """Row of a height on a tube's axis."""
        return (self.top_mm - y_mm) / self.step_mm - 0.5
