"""From pixel to scale value: one projective map of the graduated plane.

In a distortion-free picture the scale value v of a point (x, y) of the graduated plane is

    v = (a x + b y + c) / (g x + h y + 1)

five numbers, whatever the pose, because a homography maps the plane to the picture and v is
one of the plane's coordinates. With the focal length known these five numbers also give the
pose up to a rotation about the plane's normal that does not matter here
(limbsight.calib.graduated_plane). Radial distortion is the sixth (limbsight.calib.camera).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from limbsight.calib.camera import FOCAL_RELATIVE_UNCERTAINTY, Frame, normalise
from limbsight.calib.graduated_plane import Plane, Pose, plane_of, pose_of

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScaleMap:
    """Projective map from pixels to scale values.

    Attributes
    ----------
    parameters : ndarray, shape (6,)
        a, b, c, g, h in half diagonals from the picture's centre, and k1.
    covariance : ndarray, shape (6, 6)
        Of the parameters, from the residuals of the graduations.
    residual_px
        Robust standard deviation of one graduation about the map.
    count
        Number of graduations used.
    lean
        How far the ends of a lone column move across for each unit up the scale, by this map:
        what it misses of the plane's turn about the scale.
    u_slope
        Standard uncertainty of the slope of a lone column's lines in the picture.
    """

    frame: Frame
    parameters: FloatArray
    covariance: FloatArray
    residual_px: float
    count: int
    lean: float = 0.0
    u_slope: float = 0.0

    def value_at(self, x_px: ArrayLike, y_px: ArrayLike) -> FloatArray:
        """Return the scale value where the line of sight meets the graduated plane."""
        return _value(self.parameters, self.frame, np.asarray(x_px), np.asarray(y_px))

    def sensitivity(self, x_px: float, y_px: float) -> FloatArray:
        """Return the change of ``value_at`` per unit of each parameter, shape (6,)."""
        return by_each(lambda p: _value(p, self.frame, x_px, y_px), self.parameters)

    def gradient(self, x_px: ArrayLike, y_px: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Return scale units per pixel along x and along y."""
        x, y = np.asarray(x_px, float), np.asarray(y_px, float)
        dx = self.value_at(x + 0.5, y) - self.value_at(x - 0.5, y)
        dy = self.value_at(x, y + 0.5) - self.value_at(x, y - 0.5)
        return dx, dy

    def renumbered(self, step: float, start: float) -> ScaleMap:
        """Return the map of ``start + step * value``: the same lines under other numbers."""
        change = np.eye(6)
        change[:3, :3] *= step
        # start * (g x + h y + 1) joins the numerator.
        change[0, 3] = change[1, 4] = start
        parameters = change @ self.parameters
        parameters[2] += start
        return ScaleMap(
            frame=self.frame,
            parameters=parameters,
            covariance=change @ self.covariance @ change.T,
            residual_px=self.residual_px,
            count=self.count,
            lean=self.lean,
            u_slope=self.u_slope,
        )

    def pose(self) -> Pose:
        """Return where the camera stands."""
        return pose_of(self.parameters, self.frame, self.frame.focal_px)

    def with_focal(self, factor: float) -> ScaleMap:
        """Return the same map seen by a camera of another focal length, known as from EXIF."""
        frame = replace(
            self.frame,
            focal_px=self.frame.focal_px * factor,
            focal_relative_uncertainty=FOCAL_RELATIVE_UNCERTAINTY,
        )
        return replace(self, frame=frame)

    def with_centre(self, dx_px: float, dy_px: float) -> ScaleMap:
        """Return the same map seen by a camera whose axis meets the picture elsewhere.

        Values in the picture stay, but for what distortion about another centre would do.
        """
        half = self.frame.half_diagonal_px
        a, b, c, g, h, k1 = self.parameters
        dx, dy = dx_px / half, dy_px / half
        over = 1.0 + g * dx + h * dy
        moved = np.array([a, b, c + a * dx + b * dy, g, h]) / over
        x, y = self.frame.offset_px
        return replace(
            self,
            parameters=np.array([*moved, k1]),
            frame=replace(self.frame, offset_px=(x + dx_px, y + dy_px), u_offset_px=0.0),
        )

    def plane(self) -> Plane:
        """Return the graduated plane in camera coordinates, for rectification."""
        plane = plane_of(self.parameters, self.frame, self.frame.focal_px)
        return replace(plane, lean=self.lean)

    def true_value_at(self, x_px: float, y_px: float, axis_to_scale: float) -> float:
        """Return the value of a point that stands in front of the scale.

        Parameters
        ----------
        axis_to_scale
            Distance of the point from the graduated plane, towards the camera, in units of
            the scale.

        Notes
        -----
        By similar triangles v = v_c + (v_read - v_c)(1 - d/D), v_c opposite the camera, D its
        distance.
        """
        return _true_value(
            self.parameters, self.frame, self.frame.focal_px, x_px, y_px, axis_to_scale
        )

    def true_sensitivity(
        self, x_px: float, y_px: float, axis_to_scale: float
    ) -> tuple[FloatArray, float]:
        """Return the sensitivities of ``true_value_at``.

        Returns
        -------
        parameters : ndarray, shape (6,)
            Per unit of each map parameter.
        focal
            Per relative change of the focal length.
        """

        def at(parameters: FloatArray, focal_px: float) -> float:
            return _true_value(parameters, self.frame, focal_px, x_px, y_px, axis_to_scale)

        focal = self.frame.focal_px
        by_parameter = by_each(lambda p: at(p, focal), self.parameters)
        by_focal = (
            at(self.parameters, 1.01 * focal) - at(self.parameters, 0.99 * focal)
        ) / 0.02
        return by_parameter, by_focal


def _value(p: FloatArray, frame: Frame, x_px: ArrayLike, y_px: ArrayLike) -> FloatArray:
    x, y = normalise(np.asarray(x_px, float), np.asarray(y_px, float), frame)
    factor = 1 + p[5] * (x * x + y * y)
    x, y = x * factor, y * factor
    return np.asarray((p[0] * x + p[1] * y + p[2]) / (p[3] * x + p[4] * y + 1.0))


def value_slopes(
    p: FloatArray, frame: Frame, x_px: FloatArray, y_px: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Values, (N,), and their derivatives by the parameters, (N, 6), and by y [per px]."""
    x, y = normalise(x_px, y_px, frame)
    square = x * x + y * y
    factor = 1 + p[5] * square
    straight_x, straight_y = x * factor, y * factor
    over = 1.0 / (p[3] * straight_x + p[4] * straight_y + 1.0)
    value = (p[0] * straight_x + p[1] * straight_y + p[2]) * over
    by_x, by_y = (p[0] - value * p[3]) * over, (p[1] - value * p[4]) * over
    by_parameter = np.column_stack(
        [
            straight_x * over,
            straight_y * over,
            over,
            -value * straight_x * over,
            -value * straight_y * over,
            (by_x * x + by_y * y) * square,
        ]
    )
    turned = 2 * p[5] * y
    by_height = by_x * turned * x + by_y * (factor + turned * y)
    return value, by_parameter, by_height / frame.half_diagonal_px


def _true_value(
    p: FloatArray, frame: Frame, focal_px: float, x_px: float, y_px: float, in_front: float
) -> float:
    seen = float(_value(p, frame, x_px, y_px))
    if in_front == 0.0:
        return seen
    pose = pose_of(p, frame, focal_px)
    return pose.opposite_value + (seen - pose.opposite_value) * (1 - in_front / pose.distance)


def by_each(function: Callable[[FloatArray], ArrayLike], p: FloatArray) -> FloatArray:
    """Derivatives by each parameter, first axis, from central differences."""
    steps = 1e-6 * np.eye(len(p))
    return np.array(
        [(np.asarray(function(p + step)) - function(p - step)) / 2e-6 for step in steps]
    )
