"""The scale map that graduations of known value make, and how surely.

Lines are weighed by their own scatter, strays lose their weight, and what is known beforehand
of tilt, distortion and blurred slopes are further observations; so are what a lone column's
spine and a square on the board tell of how the plane is turned.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.camera import Frame, Square, normalise
from limbsight.calib.graduated_plane import plane_of
from limbsight.calib.lone_column import (
    SHORTEST_SLOPED_PX,
    SQUARE_PARTS,
    Spine,
    askew_of,
    found_length,
    lean_of,
    points_of_spine,
    shortest_sloped_px,
    turning,
    wrong_slopes,
)
from limbsight.calib.robust_fit import RobustFit, fit_robustly
from limbsight.calib.scale_map import ScaleMap, by_each, value_slopes
from limbsight.errors import NotMeasurable
from limbsight.vision.comb import Comb

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
POINT_PX = 1e-3
"""Half length of a line too short to slope: one of no length at all would leave its bias
without weight."""
CORNER_PX, U_SQUARE_SIZE = 0.1, 0.03
"""Standard uncertainty of a corner of a printed square: drawn ones are found to 0.02 px (root
mean square), paper is not as flat; and of its size as a share: printers' scaling, and a label
that is some millimetres nearer to the camera than the graduations (judgement, no source)."""
SQUARE_MISFIT = 4.0
"""Standard deviations by which a square may be none before it counts as not on the board."""
LEAST_NOISE_PX = 0.03
"""Of a line's place, at least: drawn lines are found to a few hundredths of a pixel."""
MOST_UNEVEN = 0.2
"""Scatter of lines about the map, in divisions, from which on they are no even scale
(judgement, no source)."""


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Lines:
    """Graduations of known value, (N,) each, and what they all share.

    Attributes
    ----------
    length
        In pixels of the picture in which the slope was seen.
    arm
        From the middle of a line to either of the two points that stand for it [px].
    noise_px
        Standard deviation of a line's place.
    px_per_unit, pitch_px
        Of the scale along y.
    """

    x: FloatArray
    y: FloatArray
    slope: FloatArray
    length: FloatArray
    value: FloatArray
    arm: FloatArray
    noise_px: float
    px_per_unit: float
    pitch_px: float

    @property
    def weight(self) -> float:
        """Of a miss of one of a line's two points: over its standard deviation."""
        return float(self.px_per_unit / (np.sqrt(2.0) * self.noise_px))

    def missed_px(self, residuals: FloatArray) -> FloatArray:
        """Miss of each line, of the residuals that begin with those of both points."""
        both = residuals[: 2 * len(self.x)].reshape(2, -1)
        return np.asarray(both.mean(axis=0) * np.sqrt(2.0) * self.noise_px)


def _fit(combs: tuple[Comb, ...], values: tuple[FloatArray, ...], frame: Frame) -> ScaleMap:
    lines = _lines_of(combs, values)
    # Two columns beside each other tell the direction of the graduations better than that.
    spine = points_of_spine(combs[0]) if len(combs) == 1 else None
    prior = _prior(frame, lone=spine is not None)
    start = np.concatenate([_linear_start(lines.x, lines.y, lines.value, frame), [0.0, 0.0]])
    fit = fit_robustly(lambda p: _misses(p, lines, spine, prior, frame), start, scale=2.0)
    spread = 1.4826 * float(np.median(np.abs(lines.missed_px(fit.residuals))))
    if spread > MOST_UNEVEN * lines.pitch_px:
        raise NotMeasurable(
            "the graduations do not follow one even scale on one flat board; "
            "retake the photo facing the scale, or check the instrument's scale",
            code="scale_uneven",
        )
    scale_map = ScaleMap(
        frame=frame,
        parameters=fit.at[:6],
        covariance=_covariance(fit, spread / lines.noise_px)[:6, :6],
        residual_px=spread,
        count=len(lines.x),
    )
    if spine is None:
        return scale_map
    scale_map = replace(scale_map, lean=lean_of(spine, scale_map.plane()))
    turns = [
        fit.moved_by(_misses_by(wrongly, fit, lines, frame))[:6]
        for wrongly in wrong_slopes(scale_map, combs[0])
    ]
    return turning(scale_map, spine, np.array(turns))


def _misses_by(wrongly: FloatArray, fit: RobustFit, lines: _Lines, frame: Frame) -> FloatArray:
    """Change of the misses where lines slope by so much more."""
    sloped = replace(lines, slope=lines.slope + wrongly)
    missed = np.concatenate(
        [_line_misses(fit.at, sloped, way, frame)[0] for way in (-1.0, 1.0)]
    )
    change = np.zeros(len(fit.residuals))
    change[: len(missed)] = missed - fit.residuals[: len(missed)]
    return change


def _lines_of(combs: tuple[Comb, ...], values: tuple[FloatArray, ...]) -> _Lines:
    px_per_unit = 1.0 / float(np.median(np.abs(_step_per_px(combs, values))))
    length = np.concatenate([found_length(comb) for comb in combs])
    return _Lines(
        x=np.concatenate([comb.lines.x for comb in combs]),
        y=np.concatenate([comb.lines.y for comb in combs]),
        slope=np.concatenate([comb.lines.slope for comb in combs]),
        length=length,
        value=np.concatenate(values),
        arm=_arms(combs, length),
        # Most of the noise of a line is common to its two points (print, paper, JPEG).
        noise_px=max(float(np.median([comb.residual_px for comb in combs])), LEAST_NOISE_PX),
        px_per_unit=px_per_unit,
        pitch_px=px_per_unit * float(np.median(np.abs(np.diff(values[0])))),
    )


def _arms(combs: tuple[Comb, ...], length: FloatArray) -> FloatArray:
    """Half the distance of the two points that stand for each line: its middle half.

    Their difference in height carries the direction of the graduations, and with it the common
    bias that motion blur gives to short lines. Lines too short to tell it are one point each.
    """
    grain = np.concatenate([np.full(len(comb.lines), comb.found_px) for comb in combs])
    shortest = SHORTEST_SLOPED_PX if len(combs) > 1 else shortest_sloped_px(length)
    return grain * np.where(length < shortest, POINT_PX, np.maximum(length / 4, 1.0))


def _prior(frame: Frame, *, lone: bool) -> FloatArray:
    """What is known before looking of tilts, distortion and the bias of slopes: (4, 7), each
    row over its standard deviation."""
    prior = np.zeros((4, 7))
    # The vanishing line's coefficients are tangents of tilts over the focal length.
    prior[0, 3] = prior[1, 4] = frame.focal_px / (TILT_PRIOR * frame.half_diagonal_px)
    prior[2, 5] = 1.0 / DISTORTION_PRIOR
    prior[3, 6] = TILT_BIAS_PRIOR_PX / LONE_TILT_BIAS_PRIOR_PX if lone else 1.0
    return prior


def _misses(
    p: FloatArray, lines: _Lines, spine: Spine | None, prior: FloatArray, frame: Frame
) -> tuple[FloatArray, FloatArray]:
    """All misses over their standard deviations, and their derivatives by the six parameters
    of the map and the bias of the slopes."""
    parts = [_line_misses(p, lines, way, frame) for way in (-1.0, 1.0)]
    if spine is not None:
        askew, by_lean = askew_of(p, spine, frame)
        parts.append((np.full(SQUARE_PARTS, askew), np.tile(by_lean, (SQUARE_PARTS, 1))))
    if frame.square is not None:
        parts.append(_square_misses(p, frame.square, frame))
    misses, slopes = zip(*parts, (prior @ p, prior), strict=True)
    return np.concatenate(misses), np.vstack(slopes)


def _line_misses(
    p: FloatArray, lines: _Lines, way: float, frame: Frame
) -> tuple[FloatArray, FloatArray]:
    """Of the left or the right point of each line."""
    lean = lines.slope - p[6] * TILT_BIAS_PRIOR_PX / lines.length
    x, y = lines.x + way * lines.arm, lines.y + way * lines.arm * lean
    value, by_parameter, by_y = value_slopes(p[:6], frame, x, y)
    by_bias = -by_y * way * lines.arm * TILT_BIAS_PRIOR_PX / lines.length
    slopes = np.column_stack([by_parameter, by_bias]) * lines.weight
    return (value - lines.value) * lines.weight, slopes


def _square_misses(
    p: FloatArray, square: Square, frame: Frame
) -> tuple[FloatArray, FloatArray]:
    unsquare, by_all = _unsquare(p[:6], square, frame)
    share = 1.0 / np.sqrt(SQUARE_PARTS)
    return np.tile(unsquare * share, SQUARE_PARTS), np.tile(by_all * share, (SQUARE_PARTS, 1))


def _covariance(fit: RobustFit, over_noise: float) -> FloatArray:
    """Widened where lines scatter by more than their noise."""
    covariance = np.asarray(np.linalg.pinv(fit.normal, hermitian=True), np.float64)
    return covariance * max(over_noise, 1.0) ** 2


def _linear_start(x: FloatArray, y: FloatArray, v: FloatArray, frame: Frame) -> FloatArray:
    """Solve the linear form a x + b y + c - v (g x + h y) = v with weak priors on g and h."""
    xn, yn = normalise(x, y, frame)
    scale = float(np.abs(v).max()) or 1.0
    design = np.stack([xn, yn, np.ones_like(xn), -v / scale * xn, -v / scale * yn], axis=1)
    prior = np.zeros((3, 5))
    weight = 1e-3 * np.sqrt(len(x))
    prior[0, 0], prior[1, 3], prior[2, 4] = weight, weight, weight
    rows = np.vstack([design, prior])
    target = np.concatenate([v / scale, np.zeros(3)])
    a, b, c, g, h = np.linalg.lstsq(rows, target, rcond=None)[0]
    return np.array([a * scale, b * scale, c * scale, g, h])


def _step_per_px(combs: tuple[Comb, ...], values: tuple[FloatArray, ...]) -> FloatArray:
    return np.concatenate(
        [np.diff(v) / np.diff(comb.lines.y) for comb, v in zip(combs, values, strict=True)]
    )


def _unsquare(p: FloatArray, square: Square, frame: Frame) -> tuple[FloatArray, FloatArray]:
    """How far sides and diagonals of a square seen are from those of one, over their standard
    deviations, (7,), the last its size; and derivatives by parameters of a map, (7, 7)."""
    corners = square.corners_px
    sides_px = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    u_length = np.sqrt(2.0) * CORNER_PX / float(sides_px.mean())

    def misfit(at: FloatArray) -> FloatArray:
        plane = plane_of(at, frame, frame.focal_px)
        place = np.stack(plane.from_pixel(*corners.T), axis=1)
        ways = np.concatenate([np.roll(place, -1, axis=0) - place, place[2:] - place[:2]])
        share = np.hypot(*ways.T) / square.edge
        share[4:] /= np.sqrt(2.0)
        size = share.mean()
        return np.append((share / size - 1.0) / u_length, (size - 1.0) / U_SQUARE_SIZE)

    return misfit(p), np.column_stack([*by_each(misfit, p), np.zeros(7)])
