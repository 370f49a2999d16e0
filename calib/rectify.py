"""Grids that straighten the picture: rows of constant scale value, columns of constant width.

Sampled on a plane parallel to the scale at the depth of the tubes' axes, every tube is an
upright band of constant column whatever the camera's pose, and the row of a point on an axis
is its scale value free of parallax.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.calib.graduated_plane import Plane
from limbsight.vision.comb import Comb

FloatArray = NDArray[np.float64]

MESH = 9
"""Projection and distortion bend by less than 1e-3 px over this many pixels (odd)."""
EDGE_MARGIN_PX = 2.0
"""Bilinear sampling and the rim of a JPEG block need a neighbour or two."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """Where to sample the picture.

    Attributes
    ----------
    x_px, y_px : ndarray, shape (R, C), float32
        Positions in the picture.
    values : ndarray, shape (R,)
        Scale value of each row, falling from the top.
    across : ndarray, shape (C,)
        Distance of each column from the foot of the perpendicular [scale units].
    in_front
        Distance of the sampled plane from the scale [scale units].
    """

    x_px: NDArray[np.float32]
    y_px: NDArray[np.float32]
    values: FloatArray
    across: FloatArray
    in_front: float

    @property
    def step(self) -> float:
        """Scale units per row and per column."""
        return float(self.values[0] - self.values[1])

    def value_at(self, row: float) -> float:
        """Return the scale value of a fractional row."""
        return float(self.values[0] - row * self.step)

    def row_at(self, value: float) -> float:
        """Return the fractional row of a scale value."""
        return float((self.values[0] - value) / self.step)

    def across_at(self, column: float) -> float:
        """Return the distance across of a fractional column."""
        return float(self.across[0] + column * self.step)

    def column_at(self, across: float) -> float:
        """Return the fractional column of a distance across."""
        return float((across - self.across[0]) / self.step)

    def inside(self, width_px: int, height_px: int) -> NDArray[np.bool_]:
        """Return which points lie within a picture of this size, shape (R, C)."""
        return (
            (self.x_px >= EDGE_MARGIN_PX)
            & (self.x_px <= width_px - 1 - EDGE_MARGIN_PX)
            & (self.y_px >= EDGE_MARGIN_PX)
            & (self.y_px <= height_px - 1 - EDGE_MARGIN_PX)
        )


def make_grid(
    plane: Plane,
    *,
    values: tuple[float, float],
    across: tuple[float, float],
    step: float,
    in_front: float,
) -> Grid:
    """Lay a square grid over a rectangle of the plane.

    Parameters
    ----------
    plane
        The graduated plane.
    values, across
        Lowest and highest scale value; left and right end [scale units].
    step
        Distance of rows and of columns [scale units].
    in_front
        Depth of the sampled plane in front of the scale [scale units].
    """
    rows = np.arange(values[1], values[0] - 0.5 * step, -step)
    columns = np.arange(across[0], across[1] + 0.5 * step, step)
    coarse_rows = values[1] - step * MESH * np.arange(len(rows) // MESH + 2)
    coarse_columns = across[0] + step * MESH * np.arange(len(columns) // MESH + 2)
    x, y = plane.to_pixel(
        np.broadcast_to(coarse_columns[None, :], (len(coarse_rows), len(coarse_columns))),
        np.broadcast_to(coarse_rows[:, None], (len(coarse_rows), len(coarse_columns))),
        in_front,
    )
    return Grid(
        x_px=_refined(x, len(rows), len(columns)),
        y_px=_refined(y, len(rows), len(columns)),
        values=rows,
        across=columns,
        in_front=in_front,
    )


def _refined(coarse: FloatArray, rows: int, columns: int) -> NDArray[np.float32]:
    """Interpolate a mesh of every MESH-th point to all points."""
    size = (coarse.shape[1] * MESH, coarse.shape[0] * MESH)
    fine = cv2.resize(coarse.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)
    # Enlarging by an odd factor puts the coarse points in the middle of their blocks.
    half = MESH // 2
    return np.ascontiguousarray(fine[half : half + rows, half : half + columns])


def combs_across(
    plane: Plane, combs: tuple[Comb, ...], in_front: float
) -> tuple[float, float]:
    """Return the left and right end of the graduated columns [scale units]."""
    left = [plane.from_pixel(c.lines.left, c.lines.y, in_front)[0] for c in combs]
    right = [plane.from_pixel(c.lines.right, c.lines.y, in_front)[0] for c in combs]
    return (
        float(min(np.median(a) for a in left)),
        float(max(np.median(a) for a in right)),
    )


def print_columns(
    grid: Grid, plane: Plane, combs: tuple[Comb, ...], widest: float
) -> NDArray[np.bool_]:
    """Mark the columns of a grid that columns of graduations take up.

    Parameters
    ----------
    widest
        Lines longer than this [scale units] run behind the tubes and are not marked.

    Returns
    -------
    ndarray, shape (C,), bool
    """
    marked = np.zeros(len(grid.across), bool)
    for comb in combs:
        left = float(
            np.median(plane.from_pixel(comb.lines.left, comb.lines.y, grid.in_front)[0])
        )
        right = float(
            np.median(plane.from_pixel(comb.lines.right, comb.lines.y, grid.in_front)[0])
        )
        if right - left < widest:
            marked |= (grid.across >= left) & (grid.across <= right)
    return marked


def px_per_unit(plane: Plane, across: float, value: float, in_front: float = 0.0) -> float:
    """Return picture pixels per scale unit along the scale at a point of the plane."""
    h = 0.5 * plane.distance * 1e-3
    x, y = plane.to_pixel(
        np.array([across, across]), np.array([value - h, value + h]), in_front
    )
    return float(np.hypot(x[1] - x[0], y[1] - y[0]) / (2 * h))
