"""The map from place to index of lines on a flat board.

    v = (a x + b y + c) / (g x + h y + 1)

with radial distortion: the lines of a board are parallel and evenly spaced, whatever the pose
of the camera. It serves to find the lines; what heights rest on is limbsight.calib.scale_map.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

PERSPECTIVE_PRIOR = 0.15
DISTORTION_PRIOR = 0.02
"""Standard deviations of g, h and k1 before looking, as in limbsight.calib.scale_fit: there
the first two are the tilt's over the focal length, here a usual one (``FOCAL_GUESS``)."""
PRIOR_WEIGHT = np.array(
    [0.0, 0.0, 0.0, PERSPECTIVE_PRIOR**-2, PERSPECTIVE_PRIOR**-2, DISTORTION_PRIOR**-2]
)
KEPT_REGULAR = 1e-6
"""Added to the weights, so that too few places make a poor map and not an error."""
POSITION_ERROR = 0.08
"""Of one place [divisions], for the weight of the priors."""
LEAST_DENOMINATOR = 0.05
"""Beyond the vanishing line the map has no meaning; places near it are kept finite."""
FOCAL_GUESS = 1.85
"""Half diagonals: a 40 mm lens on the 36 mm x 24 mm frame; only the lean of the uprights
depends on it, and only where the board is turned about both axes."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoardMap:
    """Index of the lines as a function of place.

    Attributes
    ----------
    parameters : ndarray, shape (6,)
        a, b, c, g, h in half diagonals from the picture's centre, and k1.
    size_px
        Width and height of the picture.
    """

    parameters: FloatArray
    size_px: tuple[int, int]

    @property
    def half_diagonal_px(self) -> float:
        """Unit of length of the parameters."""
        return 0.5 * float(np.hypot(*self.size_px))

    def across(self, x: FloatArray, y: FloatArray, focal: float = FOCAL_GUESS) -> FloatArray:
        """Distance across the board, to the right, in pixels as at the given places' middle.

        Parameters
        ----------
        focal
            Focal length in half diagonals.

        Notes
        -----
        Uprights of the board meet where its vanishing line (g, h, 1) meets what is orthogonal
        to the vanishing point of the graduations under the image of the absolute conic
        diag(1, 1, f^2) (Hartley & Zisserman, 2nd ed., section 8.6: from memory).
        """
        a, b, c, g, h, k = self.parameters
        horizon = np.array([g, h, 1.0])
        along = np.cross([a, b, c], horizon)
        upright = np.cross(along * [1.0, 1.0, focal**2], horizon)
        xn, yn = self._normalised(x, y)
        stretch = 1 + k * (xn * xn + yn * yn)
        xs, ys = xn * stretch, yn * stretch
        middle = np.array([float(xs.mean()), float(ys.mean()), 1.0])
        line = np.cross(upright, middle)
        below = np.maximum(g * xs + h * ys + 1.0, LEAST_DENOMINATOR)
        found = (line[0] * xs + line[1] * ys + line[2]) / below
        size = float(np.hypot(line[0], line[1])) / (horizon @ middle)
        return np.asarray(found * self.half_diagonal_px / size * (np.sign(line[0]) or 1.0))

    def index_at(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Fractional index of places [px]."""
        xn, yn = self._normalised(x, y)
        return self._value(xn, yn)[0]

    def per_px(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Change of the index over one pixel upward."""
        return self.index_at(x, y - 0.5) - self.index_at(x, y + 0.5)

    def _normalised(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        width, height = self.size_px
        half = self.half_diagonal_px
        return (x - 0.5 * (width - 1)) / half, (y - 0.5 * (height - 1)) / half

    def _value(self, xn: FloatArray, yn: FloatArray) -> tuple[FloatArray, FloatArray]:
        a, b, c, g, h, k = self.parameters
        stretch = 1 + k * (xn * xn + yn * yn)
        below = np.maximum((g * xn + h * yn) * stretch + 1.0, LEAST_DENOMINATOR)
        return ((a * xn + b * yn) * stretch + c) / below, below

    def fitted(
        self, x: FloatArray, y: FloatArray, index: FloatArray, scale: float, rounds: int = 2
    ) -> BoardMap:
        """Return the map after some robust Gauss-Newton steps.

        Parameters
        ----------
        scale
            Deviation [divisions] at which a piece counts half.
        """
        now = self
        for _ in range(rounds):
            value, design = now.design(x, y)
            miss = index - value
            weight = 1.0 / (1.0 + (miss / scale) ** 2) / POSITION_ERROR**2
            normal = (design * weight) @ design.T + np.diag(PRIOR_WEIGHT + KEPT_REGULAR)
            target = (design * weight) @ miss - PRIOR_WEIGHT * now.parameters
            now = now.moved(np.asarray(np.linalg.solve(normal, target)))
        return now

    def moved(self, change: FloatArray) -> BoardMap:
        """Return the map with its parameters changed."""
        return BoardMap(parameters=self.parameters + change, size_px=self.size_px)

    def design(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Index of places, and its change per unit of each parameter, shape (6, N)."""
        xn, yn = self._normalised(x, y)
        value, below = self._value(xn, yn)
        a, b, _, g, h, k = self.parameters
        r2 = xn * xn + yn * yn
        stretch = 1 + k * r2
        bent = r2 * ((a * xn + b * yn) - value * (g * xn + h * yn))
        xs, ys = xn * stretch, yn * stretch
        by_each = np.stack([xs, ys, np.ones_like(xs), -value * xs, -value * ys, bent])
        return value, np.asarray(by_each / below)
