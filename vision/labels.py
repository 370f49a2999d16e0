"""Printed labels in a picture: AprilTags of the family 36h11, their numbers and corners.

The family has 587 numbers that differ in 11 of 36 bits at least, turned by any quarter
(E. Olson, IEEE ICRA 2011, 3400: from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.vision.strip import sample_linear
from limbsight.vision.working import WorkingImage

FloatArray = NDArray[np.float64]

CORRECTED_BITS = 1
"""Bits that may be misread. Four-sided patterns of chance pass for a label once in 800 000
then (587 numbers, 4 turns, 37 words each, of 2**36)."""
CELLS = 8
"""Across the black square, its border of one cell on each side included."""
EDGE_PLACES, EDGE_STEPS, ENDS_SHARE = 32, 17, 0.12
"""Of a side: places looked at, steps across it there, and what is left out at its ends."""
_ALL_CORRECTED_BITS = 5
"""What OpenCV's rate of 1 corrects, half of the least distance."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeenLabel:
    """A label in the picture.

    Attributes
    ----------
    number
    corners_px : ndarray, shape (4, 2)
        x, y of the corners of its black square in the full picture, in order around it.
    """

    number: int
    corners_px: FloatArray


def find_labels(working: WorkingImage) -> tuple[SeenLabel, ...]:
    """Find the labels in a picture, turned as they may be; the same number may come twice."""
    grey = cv2.cvtColor(working.bgr, cv2.COLOR_BGR2GRAY)
    corners, numbers, _ = _detector().detectMarkers(grey)
    if numbers is None:
        return ()
    return tuple(
        SeenLabel(
            number=int(number),
            corners_px=(_refined(working.bgr, four.reshape(4, 2)) + 0.5) * working.factor
            - 0.5,
        )
        for four, number in zip(corners, np.ravel(numbers), strict=True)
    )


@cache
def _detector() -> cv2.aruco.ArucoDetector:
    parameters = cv2.aruco.DetectorParameters()
    parameters.errorCorrectionRate = CORRECTED_BITS / _ALL_CORRECTED_BITS
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    return cv2.aruco.ArucoDetector(family, parameters)


def _refined(bgr: NDArray[np.uint8], corners: NDArray[np.float32]) -> FloatArray:
    """Corners where lines through the black square's edges meet.

    Blur moves a corner inward, an edge nowhere; OpenCV's own corners were 0.2 px too far in.
    """
    refined: FloatArray = corners.astype(np.float64)
    for _ in range(2):
        after = np.roll(refined, -1, axis=0)
        sides = [_side(bgr, *ends) for ends in zip(refined, after, strict=True)]
        normals = np.array([normal for normal, _ in sides])
        ranges = np.array([distance for _, distance in sides])
        # Each corner lies on the side that begins and on the one that ends there.
        refined = np.array(
            [np.linalg.solve(normals[[k - 1, k]], ranges[[k - 1, k]]) for k in range(4)]
        )
    return refined


def _side(
    bgr: NDArray[np.uint8], start: FloatArray, end: FloatArray
) -> tuple[FloatArray, float]:
    """The line through an edge: its unit normal, outward, and its distance from the origin."""
    along = end - start
    length = float(np.hypot(*along))
    normal = np.array([along[1], -along[0]]) / length
    # Half a cell inside is black, half a cell outside white.
    reach = 0.5 * length / CELLS
    off = np.linspace(-reach, reach, EDGE_STEPS)
    at = np.linspace(ENDS_SHARE, 1.0 - ENDS_SHARE, EDGE_PLACES)
    places = start + at[:, None, None] * along + off[:, None] * normal
    x, y = places.astype(np.float32).transpose(2, 0, 1)
    seen = sample_linear(bgr, x, y).mean(axis=2)
    black, white = np.median(seen[:, 0]), np.median(seen[:, -1])
    dark = np.clip((white - seen) / max(float(white - black), 1e-3), 0.0, 1.0)
    edge = -reach + 2.0 * reach * dark.mean(axis=1)
    slope, offset = np.polyfit(at * length, edge, 1)
    turned = normal - slope * along / length
    turned /= np.hypot(*turned)
    return turned, float(turned @ (start + offset * normal))
