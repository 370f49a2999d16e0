"""The graduated plane in camera coordinates, from a scale map and the focal length.

Of the five numbers of a map (limbsight.calib.scale_map) (g, h, 1) is the plane's vanishing
line. With K the camera matrix, n = K'(g, h, 1) is the plane's normal and
w = K'(a, b, c) = (D e - v0 n) in units of the scale, where e is the unit vector along the
scale, D the distance of the camera from the plane and v0 minus the scale value opposite the
camera (Hartley & Zisserman, Multiple View Geometry, 2nd ed., sections 8.6 and 13: from memory;
checked against synthetic cameras in tests/calib/test_graduated_plane.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from limbsight.calib.camera import Frame, distort, normalise

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plane:
    """The graduated plane in camera coordinates (x right, y down, z into the scene).

    Lengths are in scale units.

    Attributes
    ----------
    normal, along, across : ndarray, shape (3,)
        Unit vectors: away from the camera; up the scale; across it, to the right.
    distance
        From the camera to the plane.
    opposite_value
        Scale value at the foot of the perpendicular.
    lean
        How far uprights move across for each unit up the scale; distances across are along
        lines of one value from the upright through the foot.
    """

    normal: FloatArray
    along: FloatArray
    across: FloatArray
    distance: float
    opposite_value: float
    frame: Frame
    distortion: float
    lean: float = 0.0

    def to_pixel(
        self, across: ArrayLike, value: ArrayLike, in_front: float = 0.0
    ) -> tuple[FloatArray, FloatArray]:
        """Project points given by their distance across (from the foot) and scale value.

        Parameters
        ----------
        across, value
            Plane coordinates, arrays that broadcast.
        in_front
            Distance in front of the plane, towards the camera.

        Returns
        -------
        x_px, y_px
        """
        v = (np.asarray(value, float) - self.opposite_value)[..., None]
        u = np.asarray(across, float)[..., None] + self.lean * v
        point = (self.distance - in_front) * self.normal + u * self.across + v * self.along
        focal = self.frame.focal_px / self.frame.half_diagonal_px
        x = focal * point[..., 0] / point[..., 2]
        y = focal * point[..., 1] / point[..., 2]
        return distort(x, y, self.frame, self.distortion)

    def from_pixel(
        self, x_px: ArrayLike, y_px: ArrayLike, in_front: float = 0.0
    ) -> tuple[FloatArray, FloatArray]:
        """Invert ``to_pixel``: return (across, value) of points so far in front."""
        x, y = normalise(np.asarray(x_px, float), np.asarray(y_px, float), self.frame)
        factor = 1 + self.distortion * (x * x + y * y)
        focal = self.frame.focal_px / self.frame.half_diagonal_px
        ray = np.stack([x * factor, y * factor, np.full_like(x, focal)], axis=-1)
        scale = (self.distance - in_front) / (ray @ self.normal)
        up = (ray @ self.along) * scale
        return (
            np.asarray((ray @ self.across) * scale - self.lean * up),
            np.asarray(up + self.opposite_value),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """The camera as the graduated plane sees it, lengths in scale units.

    Attributes
    ----------
    opposite_value
        Scale value at the foot of the perpendicular from the camera to the plane.
    distance
        Length of that perpendicular.
    """

    opposite_value: float
    distance: float


def plane_of(p: FloatArray, frame: Frame, focal_px: float) -> Plane:
    """The plane by parameters of a map, seen by a camera of this focal length."""
    focal = focal_px / frame.half_diagonal_px
    camera = np.array([focal, focal, 1.0])
    # K'l for l in centred, half-diagonal units: rays are (x/f, y/f, 1).
    normal = camera * np.array([p[3], p[4], 1.0])
    size = float(np.linalg.norm(normal))
    normal = normal / size
    along_scaled = camera * np.array([p[0], p[1], p[2]]) / size
    opposite = float(along_scaled @ normal)
    rest = along_scaled - opposite * normal
    distance = float(np.linalg.norm(rest))
    along = rest / distance
    across = along[[1, 2, 0]] * normal[[2, 0, 1]] - along[[2, 0, 1]] * normal[[1, 2, 0]]
    # Up, across to the right, into the scene: with y down this makes across point right.
    if across[0] < 0:
        across = -across
    return Plane(
        normal=normal,
        along=along,
        across=across,
        distance=distance,
        opposite_value=opposite,
        frame=frame,
        distortion=float(p[5]),
    )


def pose_of(p: FloatArray, frame: Frame, focal_px: float) -> Pose:
    """Where the camera stands, by the same."""
    plane = plane_of(p, frame, focal_px)
    return Pose(opposite_value=plane.opposite_value, distance=plane.distance)
