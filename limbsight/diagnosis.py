"""Why nothing could be read: the cause a person can mend, where the picture shows it.

Only looked for once a photo is refused, so it can change what a refusal says, never whether
there is one.
"""

from __future__ import annotations

import numpy as np

from limbsight.errors import NotMeasurable
from limbsight.knowledge import Knowledge
from limbsight.reasons import refusal
from limbsight.vision.comb import MIN_GRADUATIONS
from limbsight.vision.sharpness import SMOOTHING_PX, sharpness_of
from limbsight.vision.working import WorkingImage

LEAST_FILL = 0.4
"""Share of the picture's longer side that a photographed scale takes up at least (sample
photos: 0.5 to 0.86). A blur that hides its graduations then explains why none were found."""
USUAL_FILL = 0.68
"""Middle of the same: where divisions would be too fine so, that is why their lines, or every
fifth of them alone, were not understood. So it was in five of six traced photos, at 1024 and
640 pixels, whose refusals said otherwise (divisions of 1.9 to 2.2 px)."""
USUAL_DIVISIONS = 100
"""Divisions of a scale of which nothing is known (common practice, no source)."""


UNEXPLAINED = ("scale_not_found", "scale_ambiguous", "scale_uneven", "scale_differs_from_file")
"""Refusals that a scale too blurred or too small gives, by itself or if something else passes
for it."""


def cause_of(
    stop: NotMeasurable, working: WorkingImage, known: Knowledge | None, least_pitch_px: float
) -> NotMeasurable:
    """Say why no scale was found or numbered, where the picture shows it.

    Parameters
    ----------
    stop
        Why the road ended.
    working
        The picture as taken, reduced.
    known
        What the instrument file states; None without one.
    least_pitch_px
        Least pixels of a division that a reading needs.

    Returns
    -------
    NotMeasurable
        ``too_few_pixels`` where the scale would be too fine even if it filled the picture, or
        as it usually does, ``photo_blurred`` where graduations of its pitch can't be seen
        under the blur, else ``stop``.
    """
    if stop.code not in UNEXPLAINED:
        return stop
    scale = known.instrument.scale if known else None
    divisions = (scale.highest - scale.lowest) / scale.division if scale else USUAL_DIVISIONS
    pitch_px = max(working.full_size_px) / divisions
    for most, usual_px in (("at most ", pitch_px), ("about ", USUAL_FILL * pitch_px)):
        if scale and usual_px < least_pitch_px:
            return refusal("too_few_pixels", most=most, pitch=usual_px, needed=least_pitch_px)
    return _blur(working, known, LEAST_FILL * pitch_px) or (
        refusal("scale_not_found", least=MIN_GRADUATIONS)
        if stop.code == "scale_not_found"
        else stop
    )


def _blur(
    working: WorkingImage, known: Knowledge | None, pitch_px: float
) -> NotMeasurable | None:
    grey = working.searched
    if known is not None and known.incline_rad is not None:
        grey = grey.T  # the graduations of a tube that lies run up and down
    sharpness = sharpness_of(np.ascontiguousarray(grey))
    if sharpness is None or sharpness.blur_px <= SMOOTHING_PX[0]:
        return None
    hidden_px = sharpness.least_pitch_px * working.factor
    if hidden_px <= pitch_px:
        return None
    return refusal("photo_blurred", blur=sharpness.blur_px * working.factor, needed=hidden_px)
