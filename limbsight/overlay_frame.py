"""Parts of the photo, cut out and enlarged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from limbsight.overlay_strokes import DARK, Image
from limbsight.records import GraduationMark, PointPx, Reading
from limbsight.vision.picture import Picture

VIEW_LONG_SIDE = 1600
"""Of the view [px]; chosen, like all sizes in it, by looking at views of photos of 1080 to
4032 pixels."""
BEYOND_PHOTO = 0.25
"""How far the view may reach beyond the photo, as a share of its size."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A part of the photo and how much it is enlarged."""

    left: int
    top: int
    width: int
    height: int
    zoom: float

    @property
    def size(self) -> tuple[int, int]:
        return round(self.width * self.zoom), round(self.height * self.zoom)

    def place(self, point: PointPx) -> PointPx:
        """Photo to view; both count from the centre of the first pixel."""
        x, y = point
        return (
            (x - self.left + 0.5) * self.zoom - 0.5,
            (y - self.top + 0.5) * self.zoom - 0.5,
        )

    def cut(self, bgr: Image) -> Image:
        """The part itself; dark where it reaches beyond the photo."""
        height, width = bgr.shape[:2]
        part = np.full((self.height, self.width, 3), DARK, np.uint8)
        x0, x1 = max(self.left, 0), min(self.left + self.width, width)
        y0, y1 = max(self.top, 0), min(self.top + self.height, height)
        if x1 > x0 and y1 > y0:
            part[y0 - self.top : y1 - self.top, x0 - self.left : x1 - self.left] = bgr[
                y0:y1, x0:x1
            ]
        method = cv2.INTER_AREA if self.zoom < 1 else cv2.INTER_CUBIC
        return np.asarray(cv2.resize(part, self.size, interpolation=method), np.uint8)


def frame_instrument(
    picture: Picture, reading: Reading, labels: Sequence[tuple[GraduationMark, PointPx]]
) -> Frame:
    """The part of the photo that holds what was found; all of it where that is nothing."""
    width, height = picture.size_px
    points = [point for mark in reading.graduations for point in (mark.start_px, mark.end_px)]
    points += [point for limb in reading.limbs for point in limb.axis_px]
    points += [point for _, point in labels]
    if not points:
        zoom = VIEW_LONG_SIDE / max(width, height)
        return Frame(left=0, top=0, width=width, height=height, zoom=zoom)
    # An axis drawn out too far must not make a picture of nothing.
    size = np.array([width, height])
    kept = np.clip(points, -BEYOND_PHOTO * size, (1 + BEYOND_PHOTO) * size)
    low, high = kept.min(axis=0), kept.max(axis=0)
    extent = float((high - low).max())
    # Room for numbers at the sides, and enough of the surroundings to recognise the place.
    centre, half = (low + high) / 2, (high - low) / 2 + 0.06 * extent
    half = np.maximum(half, 0.3 * extent)
    left, top = np.floor(centre - half).astype(int)
    right, bottom = np.ceil(centre + half).astype(int)
    zoom = VIEW_LONG_SIDE / max(right - left, bottom - top)
    return Frame(
        left=int(left),
        top=int(top),
        width=int(right - left),
        height=int(bottom - top),
        zoom=zoom,
    )
