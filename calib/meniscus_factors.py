"""Columns whose sum is the picture of a meniscus, and what is supposed of their factors.

How bright the room is in each direction, how uneven the board, what is to be seen in front,
how dark trapped light is: each of these is one column with a free factor in each channel of
colour.  ``meniscus_columns`` says what they are, ray by ray.

Lengths are in bore radii.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from limbsight.calib.meniscus import TubeView
from limbsight.calib.meniscus_surroundings import Surroundings, is_gas

Array = NDArray[np.float64]

KNOTS = np.array([-3.0, -1.8, -1.0, -0.5, -0.2, 0.1, 0.5, 1.0, 1.8, 3.0])
"""Heights at which the board's brightness is a free factor."""

_U_BOARD, _U_BOARD_STEP = 0.25, 0.2
"""Board's unevenness beyond what the light makes, and its change over one bore radius
(common practice, no source)."""

LIGHT_EDGES = np.radians([-60.0, -25.0, 0.0, 15.0, 30.0, 50.0, 75.0])
"""Bands of inclination in which the room's brightness is a free factor."""

_U_LIGHT = 0.8
"""Relative: a room may be dark in one band and twice as bright as supposed in another."""

BANDS = len(LIGHT_EDGES)
"""Columns of light: past the tube, then one for each band."""

_EXTRAS_REFRACTED = ((0.4, 0.4), (0.0, 0.4), (0.03, 0.1))
"""Prior mean and standard deviation, as parts of the board: the room in front, its change
with the sine of the inclination, trapped light."""

_EXTRAS_MIRRORED = ((0.1, 0.2), (1.0, 0.15), (0.0, 0.15), (1.1, 0.2))
"""Trapped light, the opaque column, its slope, what the dome shows."""

DOME_KNOTS = np.radians([-30.0, 0.0, 15.0, 30.0, 45.0, 60.0, 75.0, 90.0, 110.0, 140.0, 180.0])
"""Directions in which the dome shows the surroundings: from the board over the zenith to
the room in front."""

_U_DOME = np.array([0.2, 0.2, 0.25, 0.4, 0.5, 0.6, 0.6, 0.8, 1.5, 1.5, 1.5])
_DOME = np.array([0.1, 0.1, 0.15, 0.15, 0.15, 0.05, 0.0, 0.0, 0.5, 0.5, 0.5])
"""What the dome shows beyond a board lit like the one beside it, and a room in front as bright
as the column shows it, over what it would show then: with the apex held where it is, fits to
134 domes in path-traced photographs from two sources find 1.2 up to 45 degrees and 1.1 beyond,
each with a scatter of 0.2.  In front of the zenith are the lamps: 49 domes whose front rim
turns the view that far show 1.6 times as much there, one in four more than twice, with a root
mean square deviation of 1.5."""
_U_DOME_STEP = np.array([0.8] * 7 + [2.8] * 3)
"""Surroundings against expectation, and their change over one radian, by its square root over
less: the board is known, lamps and windows have edges (the same domes, 90 to 110 degrees)."""

MIX_KNOTS = np.array([-0.2, 0.2, 0.5, 0.8, 1.1, 1.5])
_U_MIX, _U_MIX_STEP = 0.25, 0.6
"""Between liquids: colour seen through both of them against expectation, by height over
that of the contact line."""

_MOST_HARMONICS = 3
_LEAST_PERIOD_PX = 2.0
"""Shorter waves are not in a picture at all (sampling theorem)."""
_U_LINES = 0.25
"""Amplitude of a comb of lines, as part of the board, in each harmonic: black lines a quarter
of a division wide (common practice, no source) have 0.45, 0.32 and 0.15, their phase and blur
unknown."""


def harmonics(view: TubeView) -> int:
    """How many harmonics of the lines behind the tube the picture can hold."""
    if view.line_pitch_m <= 0.0:
        return 0
    return min(_MOST_HARMONICS, int(view.line_pitch_m * view.px_per_m / _LEAST_PERIOD_PX))


def is_uneven(count: int) -> NDArray[np.bool_]:
    """Which of ``count`` columns describe the board's unevenness."""
    out = np.zeros(count, dtype=bool)
    out[BANDS : BANDS + len(KNOTS)] = True
    return out


def factor_priors(around: Surroundings) -> tuple[Array, Array]:
    """Prior means (K,) and precision matrix (K, K) of the factors of one channel."""
    mirror = around.below.opaque_mirror
    u_light = np.array([0.3] + [_U_LIGHT] * (BANDS - 1))
    extras = np.array(_EXTRAS_MIRRORED if mirror else _EXTRAS_REFRACTED)
    mean = np.concatenate([np.ones(BANDS), np.zeros(len(KNOTS)), extras[:, 0]])
    parts = [
        np.diag(u_light**-2),
        _smooth(KNOTS, _U_BOARD, _U_BOARD_STEP),
        np.diag(extras[:, 1] ** -2),
    ]
    if mirror:
        parts.append(_smooth(DOME_KNOTS, _U_DOME, _U_DOME_STEP))
    elif not is_gas(around.above):
        parts.append(_smooth(MIX_KNOTS, _U_MIX, _U_MIX_STEP))
    waves = 2 * harmonics(around.view)
    rest = _DOME if mirror else np.zeros(sum(map(len, parts)) - len(mean))
    if waves:
        parts.append(np.eye(waves) / _U_LINES**2)
    mean = np.concatenate([mean, rest, np.zeros(waves)])
    return mean, np.asarray(block_diag(*parts))


def _smooth(knots: Array, u: Array | float, u_step: Array | float) -> Array:
    """Precision of values near zero that change by about ``u_step`` over a unit of ``knots``,
    by its square root over less."""
    away = (np.sqrt(np.diff(knots)) * u_step)[:, None]
    steps = np.diff(np.eye(len(knots)), axis=0) / away
    return np.asarray(np.eye(len(knots)) / np.square(u) + steps.T @ steps)
