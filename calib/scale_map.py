"""From pixel to scale value: one projective map of the graduated plane, and the camera's pose.

In a distortion-free picture the scale value v of a point (x, y) of the graduated plane is

    v = (a x + b y + c) / (g x + h y + 1)

five numbers, whatever the pose, because a homography maps the plane to the picture and v is
one of the plane's coordinates. (g, h, 1) is the plane's vanishing line. With the focal length
known these five numbers also give the pose up to a rotation about the plane's normal that
does not matter here: with K the camera matrix, n = K'(g, h, 1) is the plane's normal and
w = K'(a, b, c) = (D e - v0 n) in units of the scale, where e is the unit vector along the
scale, D the distance of the camera from the plane and v0 minus the scale value opposite the
camera (Hartley & Zisserman, Multiple View Geometry, 2nd ed., sections 8.6 and 13: from
memory; checked against synthetic cameras in tests/calib/test_scale_map.py).

Radial distortion is one parameter k1 on the half diagonal of the picture:
x_u = x_c + (x - x_c) (1 + k1 r^2).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from limbsight.calib.robust_fit import fit_robustly
from limbsight.errors import NotMeasurable
from limbsight.vision.graduations import Comb

FloatArray = NDArray[np.float64]

DISTORTION_PRIOR = 0.02
"""Standard deviation of k1 before looking: phone pictures show up to 2 % at the corner
(METHODS of the project, camera model; common practice, no source)."""
TILT_PRIOR = 0.27
"""Standard deviation of the tangent of the plane's tilt to the camera, either way, before
looking: 15 degrees, the most that is read."""
TILT_BIAS_PRIOR_PX = 0.3
"""Standard deviation of the difference in height of the two ends of a short line that motion
blur can feign (see limbsight.vision.segments)."""
LONE_TILT_BIAS_PRIOR_PX = 1.5
"""The same for a lone column, whose lines a tube may cut: against the maps of 60 photos, stubs
of 8 to 16 px lay flat by 0.3 to 1.5 px. Others lose nothing by it (16 single limbs)."""
SHORTEST_SLOPED_PX, POINT_PX = 12.0, 1e-3
"""Slopes of shorter lines are left out: against the maps of 60 photos, where lines sloped by
0.04 or more, those of up to 8 px were 0.78 too flat (median), up to 10 px 0.45, 12 px 0.31,
16 px 0.20, 24 px 0.06. Stubs beside a tube turned the map of a lone column by that, and a
level was 2.5 mm off. (A line of no length at all would leave its bias without weight.)"""
FLAT_PX, FLAT_POWER = 7.2, 2.2
"""Share by which lines lie too flat, by length: (FLAT_PX / length) ** FLAT_POWER is within
0.04 of the medians above."""
SLOPE_NOISE_PX = 0.25
"""Scatter of slopes, in height over a line's length, that is noise: 0.09 to 0.22 px in seven
lone columns of clean lines. In five whose lines a tube cuts it was 0.7 to 0.9; figures 124 px
beside one of them seemed to stand at the next line, which they alone had to tell."""
UNCUT_SHARE, LONGEST_QUANTILE = 0.7, 0.95
"""Of the length of a lone column's longest lines, from which on others tell its direction:
what is shorter may have been cut by a tube, whose edge bends it. Stubs of 12 to 24 px sloped
by 0.03 where whole lines did by 0.13, and a level 90 px beside them was 1 mm off; levels
beside 15 metre sticks and rulers of whole lines are no farther off without their short
ones."""
SPINE_SCATTER, SPINE_POINTS = 3.0, 16
"""Ends of lines farther off their spine, in medians of the rest, are figures or knots; places
along it that stand for all."""
SQUARE_PRIOR, TILT_SHARE = 0.004, 0.03
"""Standard deviation of the angle of graduations to their spine about a right one [rad]: a
quarter of a degree of print (judgement, no source), and what a wrong focal length makes of a
plane turned by 7 degrees and tilted by 15, the product of both sines, as a share of its
relative uncertainty."""
CORNER_PX, U_SQUARE_SIZE = 0.1, 0.03
"""Standard uncertainty of a corner of a printed square: drawn ones are found to 0.02 px (root
mean square), paper is not as flat; and of its size as a share: printers' scaling, and a label
that is some millimetres nearer to the camera than the graduations (judgement, no source)."""
SQUARE_MISFIT = 4.0
"""Standard deviations by which a square may be none before it counts as not on the board."""
SQUARE_PARTS = 100
"""The angle counts as so many witnesses of a tenth of its weight: it is no stray line, however
far off the fit begins."""
FULL_FRAME_DIAGONAL_MM = 43.267
"""Diagonal of the 36 mm x 24 mm frame that 35 mm-equivalent focal lengths refer to."""
FOCAL_RELATIVE_UNCERTAINTY = 0.025
"""Standard uncertainty of a 35 mm-equivalent focal length from EXIF: whether it refers to the
diagonal or the width differs by 3.8 % (rectangular half-width, u = 2.2 %); rounding: 1 %."""
FOCAL_GUESS_MM = 37.0
FOCAL_GUESS_RELATIVE_UNCERTAINTY = 0.4
"""Phones and cameras hold 24 mm to 80 mm equivalents. Parallax and elevation go with 1 / f:
the guess is the middle of that, which covers them as +-1.4 sigma."""
CUT_SHARE, CUT_RELATIVE_UNCERTAINTY, CUT_OFFSET = 0.7, 0.3, 0.15
"""Of a picture cut out of another: its diagonal as a share of the whole one's, 0.4 to 1, with
the standard uncertainty as a share of that; and standard uncertainty of the distance of their
middles in half diagonals: what is photographed fills the picture, its middle within a tenth of
the longer side from the picture's (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Square:
    """A square of known size in the graduated plane, or close to it: a printed label.

    Attributes
    ----------
    corners_px : ndarray, shape (4, 2)
        In order around it.
    edge
        In scale units.
    """

    corners_px: FloatArray
    edge: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """What the camera matrix is made of: picture size and focal length."""

    width_px: int
    height_px: int
    focal_px: float
    focal_relative_uncertainty: float
    taken_size_px: tuple[int, int] | None = None
    """Width and height as taken, of a picture that was turned about its middle."""
    offset_px: tuple[float, float] = (0.0, 0.0)
    u_offset_px: float = 0.0
    """Of the principal point from the middle of the picture, which may be cut out of a larger
    one; and its standard uncertainty in each direction."""
    square: Square | None = None
    """Seen on the board, where there is one."""

    @property
    def centre_px(self) -> tuple[float, float]:
        """Principal point: the middle of the picture, unless that was cut out of one."""
        dx, dy = self.offset_px
        return 0.5 * (self.width_px - 1) + dx, 0.5 * (self.height_px - 1) + dy

    @property
    def half_diagonal_px(self) -> float:
        """Unit of length for distortion and of the fit's own coordinates."""
        return 0.5 * float(np.hypot(*(self.taken_size_px or (self.width_px, self.height_px))))

    def turned(self, width_px: int, height_px: int) -> Frame:
        """Return the frame of this picture turned about its middle, onto another canvas."""
        return replace(
            self,
            width_px=width_px,
            height_px=height_px,
            taken_size_px=(self.width_px, self.height_px),
        )

    @classmethod
    def of_picture(
        cls, width_px: int, height_px: int, focal_35mm: float | None, *, whole: bool = True
    ) -> Frame:
        """Build from the picture's size and EXIF focal length, or the stated guess.

        A picture that is not ``whole`` was cut out of one whose focal length that is.
        """
        diagonal = float(np.hypot(width_px, height_px))
        if focal_35mm is None:
            focal, relative = FOCAL_GUESS_MM, FOCAL_GUESS_RELATIVE_UNCERTAINTY
        elif whole:
            focal, relative = focal_35mm, FOCAL_RELATIVE_UNCERTAINTY
        else:
            focal, relative = focal_35mm / CUT_SHARE, CUT_RELATIVE_UNCERTAINTY
        return cls(
            width_px=width_px,
            height_px=height_px,
            focal_px=focal / FULL_FRAME_DIAGONAL_MM * diagonal,
            focal_relative_uncertainty=relative,
            u_offset_px=0.0 if whole else CUT_OFFSET * 0.5 * diagonal,
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
        return _by_each(lambda p: _value(p, self.frame, x_px, y_px), self.parameters)

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
        return _pose(self.parameters, self.frame, self.frame.focal_px)

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
        plane = _plane(self.parameters, self.frame, self.frame.focal_px)
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
        by_parameter = _by_each(lambda p: at(p, focal), self.parameters)
        by_focal = (
            at(self.parameters, 1.01 * focal) - at(self.parameters, 0.99 * focal)
        ) / 0.02
        return by_parameter, by_focal


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
        return _distort(x, y, self.frame, self.distortion)

    def from_pixel(
        self, x_px: ArrayLike, y_px: ArrayLike, in_front: float = 0.0
    ) -> tuple[FloatArray, FloatArray]:
        """Invert ``to_pixel``: return (across, value) of points so far in front."""
        x, y = _normalise(np.asarray(x_px, float), np.asarray(y_px, float), self.frame)
        factor = 1 + self.distortion * (x * x + y * y)
        focal = self.frame.focal_px / self.frame.half_diagonal_px
        ray = np.stack([x * factor, y * factor, np.full_like(x, focal)], axis=-1)
        scale = (self.distance - in_front) / (ray @ self.normal)
        up = (ray @ self.along) * scale
        return (
            np.asarray((ray @ self.across) * scale - self.lean * up),
            np.asarray(up + self.opposite_value),
        )


def fit_scale_map(
    combs: tuple[Comb, ...], values: tuple[FloatArray, ...], frame: Frame
) -> ScaleMap:
    """Fit the projective map to graduations of known value.

    Parameters
    ----------
    combs
        Columns of graduations of one plane.
    values
        Scale value of each line of each comb.
    frame
        Picture size and focal length.

    Returns
    -------
    ScaleMap

    Raises
    ------
    NotMeasurable
        The graduations do not lie on one plane scale (code ``scale_uneven``).

    Notes
    -----
    A square in the frame tells how the plane is turned where the graduations leave that open;
    one that is none on their plane is left aside.
    """
    if frame.square is not None:
        plain = replace(frame, square=None)
        found = _fit(combs, values, frame)
        misfit, _ = _unsquare(found.parameters, frame.square, frame)
        if np.abs(misfit).max() < SQUARE_MISFIT:
            return replace(found, frame=plain)
        frame = plain
    return _fit(combs, values, frame)


def _fit(combs: tuple[Comb, ...], values: tuple[FloatArray, ...], frame: Frame) -> ScaleMap:
    x = np.concatenate([comb.lines.x for comb in combs])
    y = np.concatenate([comb.lines.y for comb in combs])
    slope = np.concatenate([comb.lines.slope for comb in combs])
    length = np.concatenate([_found_length(comb) for comb in combs])
    grain = np.concatenate([np.full(len(comb.lines), comb.found_px) for comb in combs])
    v = np.concatenate(values)
    # Two points a line: its middle half. Their difference in height carries the direction of
    # the graduations, and with it the common bias that motion blur gives to short lines.
    # Lines too short to tell it are one point each.
    shortest = SHORTEST_SLOPED_PX if len(combs) > 1 else _shortest_sloped_px(length)
    arm = grain * np.where(length < shortest, POINT_PX, np.maximum(length / 4, 1.0))
    # Most of the noise of a line is common to its two points (print, paper, JPEG).
    noise_px = max(float(np.median([comb.residual_px for comb in combs])), 0.03)
    unit = 1.0 / float(np.median(np.abs(_step_per_px(combs, values))))
    # Two columns beside each other tell the direction of the graduations better than that.
    spine = _points_of_spine(combs[0]) if len(combs) == 1 else None

    def model(p: FloatArray) -> tuple[FloatArray, FloatArray]:
        lean = slope - p[6] * TILT_BIAS_PRIOR_PX / length
        misses, slopes = [], []
        for way in (-1.0, 1.0):
            px, py = x + way * arm, y + way * arm * lean
            value, by_parameter, by_y = _value_slopes(p[:6], frame, px, py)
            by_bias = -by_y * way * arm * TILT_BIAS_PRIOR_PX / length
            misses.append((value - v) * weight)
            slopes.append(np.column_stack([by_parameter, by_bias]) * weight)
        if spine is not None:
            askew, by_each = _askew(p, spine, frame)
            misses.append(np.full(SQUARE_PARTS, askew))
            slopes.append(np.tile(by_each, (SQUARE_PARTS, 1)))
        if frame.square is not None:
            unsquare, by_all = _unsquare(p[:6], frame.square, frame)
            share = 1.0 / np.sqrt(SQUARE_PARTS)
            misses.append(np.tile(unsquare * share, SQUARE_PARTS))
            slopes.append(np.tile(by_all * share, (SQUARE_PARTS, 1)))
        return np.concatenate([*misses, prior @ p]), np.vstack([*slopes, prior])

    weight = unit / (np.sqrt(2.0) * noise_px)
    prior = np.zeros((4, 7))
    # The vanishing line's coefficients are tangents of tilts over the focal length.
    prior[0, 3] = prior[1, 4] = frame.focal_px / (TILT_PRIOR * frame.half_diagonal_px)
    prior[2, 5] = 1.0 / DISTORTION_PRIOR
    prior[3, 6] = 1.0 if spine is None else TILT_BIAS_PRIOR_PX / LONE_TILT_BIAS_PRIOR_PX
    start = np.concatenate([_linear_start(x, y, v, frame), [0.0, 0.0]])
    fit = fit_robustly(model, start, scale=2.0)
    miss_px = fit.residuals[: 2 * len(x)].reshape(2, -1).mean(axis=0) * np.sqrt(2.0) * noise_px
    spread = 1.4826 * float(np.median(np.abs(miss_px)))
    pitch_px = unit * float(np.median(np.abs(np.diff(values[0]))))
    if spread > 0.2 * pitch_px:
        raise NotMeasurable(
            "the graduations do not follow one even scale on one flat board; "
            "retake the photo facing the scale, or check the instrument's scale",
            code="scale_uneven",
        )
    covariance = np.asarray(np.linalg.pinv(fit.normal, hermitian=True), np.float64)
    covariance *= max(spread / noise_px, 1.0) ** 2
    scale_map = ScaleMap(
        frame=frame,
        parameters=fit.at[:6],
        covariance=covariance[:6, :6],
        residual_px=spread,
        count=len(x),
    )
    if spine is None:
        return scale_map
    scale_map = replace(scale_map, lean=_lean(spine, scale_map.plane()))
    return _turning(scale_map, spine, _u_slope(scale_map, combs[0]))


def _turning(scale_map: ScaleMap, spine: _Spine, u_slope: float) -> ScaleMap:
    """A map that may be turned about a lone column: values on its spine stay, one pixel beside
    it they change by the slope."""
    x, y = _normalise(spine.x, spine.y, scale_map.frame)
    drift, start = np.polyfit(y, x, 1)
    by_y = float(np.median(scale_map.gradient(spine.x, spine.y)[1]))
    each = u_slope * by_y * scale_map.frame.half_diagonal_px
    turn = each * np.array([1.0, -drift, -start, 0.0, 0.0, 0.0])
    return replace(
        scale_map, covariance=scale_map.covariance + np.outer(turn, turn), u_slope=u_slope
    )


def _found_length(comb: Comb) -> FloatArray:
    """Lengths of the lines in pixels of the picture in which their slopes were seen."""
    return comb.lines.length / comb.found_px


def _shortest_sloped_px(length_px: FloatArray) -> float:
    """From which length on lines of a lone column tell its direction; others may be cut."""
    return max(
        SHORTEST_SLOPED_PX, UNCUT_SHARE * float(np.quantile(length_px, LONGEST_QUANTILE))
    )


def tells_direction(comb: Comb) -> NDArray[np.bool_]:
    """Which lines tell a lone column's direction: the long ones, or all where none is."""
    length = _found_length(comb)
    sloped = length >= _shortest_sloped_px(length)
    return np.asarray(sloped if sloped.any() else ~sloped)


def _u_slope(scale_map: ScaleMap, comb: Comb) -> float:
    """By how much the lines of a column may slope wrongly together.

    Short ones lock to the rows of the picture, by a share of their slope; lines that a tube
    cuts end in its edge, where they bend. They may be wrong by as much as they scatter beyond
    their noise, either way.
    """
    lines = comb.lines
    by_x, by_y = scale_map.gradient(lines.x, lines.y)
    slope, length, sloped = -by_x / by_y, _found_length(comb), tells_direction(comb)
    flat = np.minimum((FLAT_PX / length[sloped]) ** FLAT_POWER, 1.0)
    together = float(np.median(np.abs(slope[sloped]) * flat))
    scatter_px = 1.4826 * float(np.median((np.abs(lines.slope - slope) * length)[sloped]))
    excess_px = np.sqrt(max(scatter_px**2 - SLOPE_NOISE_PX**2, 0.0) / 3.0)
    return float(np.hypot(together, excess_px / np.median(length[sloped])))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Spine:
    """Places on the line that the lines of a column end on [px], (SPINE_POINTS,) each."""

    x: FloatArray
    y: FloatArray


def _points_of_spine(comb: Comb) -> _Spine:
    ends, y = comb.spine_x, comb.lines.y
    middle, half = 0.5 * (y.max() + y.min()), 0.5 * (y.max() - y.min())
    at = (y - middle) / half
    kept = np.ones(len(y), dtype=bool)
    curve: FloatArray = np.zeros(3)
    for _ in range(2):
        # A lens bends it.
        curve = np.polyfit(at[kept], ends[kept], 2)
        off = np.abs(ends - np.polyval(curve, at))
        kept = off <= SPINE_SCATTER * max(float(np.median(off)), 1e-9)
    places = np.linspace(-1.0, 1.0, SPINE_POINTS)
    return _Spine(x=np.asarray(np.polyval(curve, places)), y=middle + half * places)


def _lean(spine: _Spine, plane: Plane) -> float:
    """Return how far a spine moves across for each unit up the scale.

    Graduations stand at right angles to it. Their own slopes, short as they are, tell that
    less well than its length: on 16 photos of metre sticks lone columns leaned by up to 2.4
    diameters of a tube over their length, and the tubes with them by the same (within 0.06).
    """
    across, value = plane.from_pixel(spine.x, spine.y)
    up = value - value.mean()
    return float(up @ across / (up @ up))


def _askew(p: FloatArray, spine: _Spine, frame: Frame) -> tuple[float, FloatArray]:
    """The lean by parameters of a map, over its standard deviation; and derivatives, (7,)."""
    u = float(np.hypot(SQUARE_PRIOR, TILT_SHARE * frame.focal_relative_uncertainty))
    share = 1.0 / (u * float(np.sqrt(SQUARE_PARTS)))

    def lean(at: FloatArray) -> float:
        return _lean(spine, _plane(at, frame, frame.focal_px)) * share

    return lean(p[:6]), np.append(_by_each(lean, p[:6]), 0.0)


def _unsquare(p: FloatArray, square: Square, frame: Frame) -> tuple[FloatArray, FloatArray]:
    """How far sides and diagonals of a square seen are from those of one, over their standard
    deviations, (7,), the last its size; and derivatives by parameters of a map, (7, 7)."""
    corners = square.corners_px
    sides_px = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    u_length = np.sqrt(2.0) * CORNER_PX / float(sides_px.mean())

    def misfit(at: FloatArray) -> FloatArray:
        plane = _plane(at, frame, frame.focal_px)
        place = np.stack(plane.from_pixel(*corners.T), axis=1)
        ways = np.concatenate([np.roll(place, -1, axis=0) - place, place[2:] - place[:2]])
        share = np.hypot(*ways.T) / square.edge
        share[4:] /= np.sqrt(2.0)
        size = share.mean()
        return np.append((share / size - 1.0) / u_length, (size - 1.0) / U_SQUARE_SIZE)

    return misfit(p), np.column_stack([*_by_each(misfit, p), np.zeros(7)])


def _by_each(function: Callable[[FloatArray], ArrayLike], p: FloatArray) -> FloatArray:
    """Derivatives by each parameter, first axis, from central differences."""
    steps = 1e-6 * np.eye(len(p))
    return np.array(
        [(np.asarray(function(p + step)) - function(p - step)) / 2e-6 for step in steps]
    )


def _step_per_px(combs: tuple[Comb, ...], values: tuple[FloatArray, ...]) -> FloatArray:
    return np.concatenate(
        [np.diff(v) / np.diff(comb.lines.y) for comb, v in zip(combs, values, strict=True)]
    )


def _normalise(x: FloatArray, y: FloatArray, frame: Frame) -> tuple[FloatArray, FloatArray]:
    cx, cy = frame.centre_px
    half = frame.half_diagonal_px
    return (x - cx) / half, (y - cy) / half


def _value(p: FloatArray, frame: Frame, x_px: ArrayLike, y_px: ArrayLike) -> FloatArray:
    x, y = _normalise(np.asarray(x_px, float), np.asarray(y_px, float), frame)
    factor = 1 + p[5] * (x * x + y * y)
    x, y = x * factor, y * factor
    return np.asarray((p[0] * x + p[1] * y + p[2]) / (p[3] * x + p[4] * y + 1.0))


def _value_slopes(
    p: FloatArray, frame: Frame, x_px: FloatArray, y_px: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """``_value``, (N,), and its derivatives by the parameters, (N, 6), and by y [per px]."""
    x, y = _normalise(x_px, y_px, frame)
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


def _distort(
    x: FloatArray, y: FloatArray, frame: Frame, k1: float
) -> tuple[FloatArray, FloatArray]:
    """Invert x_u = x (1 + k1 r^2) by fixed-point steps and return pixels."""
    r2 = x * x + y * y
    factor = np.ones_like(r2)
    for _ in range(6):
        factor = 1 + k1 * r2 / (factor * factor)
    cx, cy = frame.centre_px
    half = frame.half_diagonal_px
    return np.asarray(cx + half * x / factor), np.asarray(cy + half * y / factor)


def _linear_start(x: FloatArray, y: FloatArray, v: FloatArray, frame: Frame) -> FloatArray:
    """Solve the linear form a x + b y + c - v (g x + h y) = v with weak priors on g and h."""
    xn, yn = _normalise(x, y, frame)
    scale = float(np.abs(v).max()) or 1.0
    design = np.stack([xn, yn, np.ones_like(xn), -v / scale * xn, -v / scale * yn], axis=1)
    prior = np.zeros((3, 5))
    weight = 1e-3 * np.sqrt(len(x))
    prior[0, 0], prior[1, 3], prior[2, 4] = weight, weight, weight
    rows = np.vstack([design, prior])
    target = np.concatenate([v / scale, np.zeros(3)])
    a, b, c, g, h = np.linalg.lstsq(rows, target, rcond=None)[0]
    return np.array([a * scale, b * scale, c * scale, g, h])


def _plane(p: FloatArray, frame: Frame, focal_px: float) -> Plane:
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


def _pose(p: FloatArray, frame: Frame, focal_px: float) -> Pose:
    plane = _plane(p, frame, focal_px)
    return Pose(opposite_value=plane.opposite_value, distance=plane.distance)


def _true_value(
    p: FloatArray, frame: Frame, focal_px: float, x_px: float, y_px: float, in_front: float
) -> float:
    seen = float(_value(p, frame, x_px, y_px))
    if in_front == 0.0:
        return seen
    pose = _pose(p, frame, focal_px)
    return pose.opposite_value + (seen - pose.opposite_value) * (1 - in_front / pose.distance)
