"""A picture that shows what was found, for a person to check in two seconds.

Left the instrument with its graduations, tube axes and levels; right each level enlarged;
on top the reading in words. Everything is drawn in a view of fixed size, so that lines and
text keep their proportion whatever the size of the photo.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from limbsight.overlay_banner import draw_banner
from limbsight.overlay_frame import frame_instrument
from limbsight.overlay_geometry import level_direction, number_levels, place_labels
from limbsight.overlay_insets import draw_panel
from limbsight.overlay_marks import draw_axis, draw_level, draw_mark, draw_mark_label
from limbsight.overlay_strokes import Image, padded_to
from limbsight.records import Reading
from limbsight.vision.picture import Picture

if TYPE_CHECKING:
    from limbsight.calib.instrument import LimitsSpec


def draw_overlay(
    picture: Picture,
    reading: Reading,
    *,
    unit: str = "kPa",
    limits: LimitsSpec | None = None,
) -> Image:
    """Draw what was found over the photo.

    Parameters
    ----------
    picture
        The photo that was read.
    reading
        Its result; whatever it lacks is left out.
    unit
        Unit of pressure.
    limits
        Alarm limits of the instrument, to be stated in the banner.

    Returns
    -------
    ndarray, shape (M, N, 3), uint8
        Blue, green, red. The instrument is cut out and scaled so that its longer side has
        ``VIEW_LONG_SIDE`` pixels.
    """
    levels = number_levels(reading)
    labels = place_labels(reading)
    frame = frame_instrument(picture, reading, labels)
    view = frame.cut(picture.bgr)
    for limb in reading.limbs:
        draw_axis(view, frame, limb)
    for mark in reading.graduations:
        draw_mark(view, frame, mark)
    for mark, at in labels:
        draw_mark_label(view, frame, mark, at)
    for numbered in levels:
        draw_level(view, frame, numbered, level_direction(reading, numbered))
    if levels:
        panel = draw_panel(picture, reading, levels, view.shape[0])
        height = max(panel.shape[0], view.shape[0])
        view = np.hstack([padded_to(view, height), padded_to(panel, height)])
    banner = draw_banner(reading, unit, limits, view.shape[1])
    return np.vstack([banner, view])
