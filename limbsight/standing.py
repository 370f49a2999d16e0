"""Which way up the scale stands in the picture: the turns worth trying, likeliest first.

Photos are taken upright but for the hand's tilt, so an ordinary scale is tried as it is, and
turned only where that gives nothing. Along an inclined tube the scale lies at any angle.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from limbsight.vision.directions import scale_directions
from limbsight.vision.turning import Turn
from limbsight.vision.working import WorkingImage

HAND_TILT_RAD = float(np.radians(5.0))
"""Standard deviation of a camera held by hand about its axis (common practice, no source;
phones show a level from a degree on)."""
MOST_TILT_RAD = 3 * HAND_TILT_RAD
"""A file's incline that is farther off than this is not what the picture shows."""
MIN_LOG_ODDS = 6.9
"""Of which end of an inclined tube is the upper one: ln 1000."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """A turn to try, and whether the picture leaves no doubt which end is up.

    Where it does, the printed numbers must tell.
    """

    turn: Turn
    up_certain: bool


def stands(working: WorkingImage, *, incline_rad: float | None) -> Iterator[Stand]:
    """Give the turns to try, one at a time, as looking for the next one takes time.

    Parameters
    ----------
    working
        The picture as taken.
    incline_rad
        Of the tube above the horizontal, where it is stated; None for instruments that stand
        upright or of which nothing is known.
    """
    size = working.full_size_px
    if incline_rad is None:
        yield Stand(turn=Turn(angle_rad=0.0, size_px=size), up_certain=True)
    for angle in scale_directions(working.searched):
        for way in (0.0, np.pi):
            stand = Stand(
                turn=Turn.towards(angle + way, size),
                up_certain=way == 0.0 and _is_up_certain(angle, incline_rad),
            )
            if incline_rad is not None or not stand.turn.is_none:
                yield stand
            if stand.up_certain and incline_rad is not None:
                break


def _is_up_certain(angle: float, incline_rad: float | None) -> bool:
    """Whether the end that is higher in the picture is the upper one.

    The camera's tilt is the elevation seen less that of the tube, with either end up; with
    normal tilt the log-odds are 2 elevation incline / sd^2.
    """
    if incline_rad is None:
        return abs(angle) < np.pi / 4
    elevation = np.pi / 2 - abs(angle)
    log_odds = 2 * elevation * incline_rad / HAND_TILT_RAD**2
    return bool(log_odds > MIN_LOG_ODDS and abs(elevation - incline_rad) < MOST_TILT_RAD)
