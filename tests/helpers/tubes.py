"""A tube on a board, straightened: rims, fillings with levels between rows, and covers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.vision.tube_strip import TubeStrip
from tests.helpers.boards import expose

Colour = tuple[float, float, float]
"""Blue, green, red in linear light."""

BOARD: Colour = (0.55, 0.58, 0.60)
GLASS: Colour = (0.50, 0.53, 0.55)
BLUE_WATER: Colour = (0.45, 0.20, 0.08)
CLEAR: Colour = (0.43, 0.46, 0.48)
AMBER: Colour = (0.05, 0.25, 0.40)
CLIP: Colour = (0.10, 0.10, 0.11)


@dataclass(frozen=True, kw_only=True)
class Cover:
    """Something in front of the tube, from one row to another; ``reach`` in tube radii."""

    rows: tuple[float, float]
    reach: float = 1.6
    colour: Colour = CLIP


@dataclass(frozen=True, kw_only=True)
class Tube:
    """A strip of one tube, bottom filling first; levels as fractional rows, descending."""

    fillings: Sequence[Colour] = (BLUE_WATER, GLASS)
    levels: Sequence[float] = (210.3,)
    rows: int = 400
    columns: int = 91
    width: float = 30.0
    bore: float = 21.0
    rim: float = 0.55
    """Light at the walls, over that of the glass."""
    meniscus: float = 0.6
    """Light in the dark rim of a meniscus, over that of the filling below."""
    covers: Sequence[Cover] = field(default_factory=tuple)
    streak: tuple[float, float] | None = None
    """Rows over which a narrow glare lies on the glass."""
    tilt: float = 0.0
    """How far the levels lean, rows per column."""

    def light(self) -> NDArray[np.float64]:
        s = 2
        y = (np.arange(self.rows * s) + 0.5) / s - 0.5
        x = (np.arange(self.columns * s) + 0.5) / s - 0.5
        away = np.abs(x - 0.5 * (self.columns - 1))[None, :]
        height = y[:, None] - self.tilt * (x - 0.5 * (self.columns - 1))[None, :]
        inside = np.empty((len(y), len(x), 3))
        inside[:] = self.fillings[-1]
        for colour, row in zip(self.fillings[-2::-1], self.levels[::-1], strict=True):
            inside[height > row] = colour
        for row in self.levels:  # the dark rim: a fifth of a bore high, above the level
            inside[(height <= row) & (height > row - 0.2 * self.bore)] *= self.meniscus
        picture = np.empty_like(inside)
        picture[:] = BOARD
        wall = (away <= self.width / 2) & (away > self.bore / 2)
        picture[np.broadcast_to(wall, height.shape)] = self.rim * np.array(GLASS)
        bore = np.broadcast_to(away <= self.bore / 2, height.shape)
        picture[bore] = inside[bore]
        if self.streak:
            # off the axis and narrow, as the picture of a window is
            column = (x - 0.5 * (self.columns - 1))[None, :]
            band = (column > 0.1 * self.bore) & (column < 0.3 * self.bore)
            rows = (y > self.streak[0]) & (y < self.streak[1])
            picture[rows[:, None] & band] = 0.95
        for cover in self.covers:
            rows = (y > cover.rows[0]) & (y < cover.rows[1])
            picture[rows[:, None] & (away < cover.reach * self.width / 2)] = cover.colour
        whole = picture.reshape(self.rows, s, self.columns, s, 3).mean(axis=(1, 3))
        return np.asarray(whole, np.float64)

    def strip(
        self,
        *,
        blur_px: float = 0.9,
        noise: float = 1.5,
        gamma: float | None = None,
        shade: float = 0.1,
        seed: int = 0,
    ) -> TubeStrip:
        """Photograph it; ``shade`` is how much darker the bottom is than the top."""
        light = self.light()
        light *= np.linspace(1.0, 1.0 - shade, self.rows)[:, None, None]
        return TubeStrip(
            bgr=expose(light, blur_px=blur_px, noise=noise, gamma=gamma, seed=seed),
            bore_columns=self.bore,
            width_columns=self.width,
            inside_picture=np.ones(self.rows, bool),
        )


def board_with(
    tubes: Sequence[tuple[float, Tube]],
    *,
    columns: int = 400,
    posts: Sequence[tuple[float, float]] = (),
    lean: float = 0.0,
) -> NDArray[np.uint8]:
    """A straightened board: tubes at fractional columns, and posts (column, width)."""
    rows = tubes[0][1].rows if tubes else 400
    picture = np.empty((rows, columns, 3))
    picture[:] = BOARD
    for column, width in posts:
        x = np.arange(columns)
        picture[:, np.abs(x - column) < width / 2] = (0.25, 0.27, 0.28)
    for column, tube in tubes:
        half = int(tube.width / 2) + 3
        middle = 0.5 * (tube.columns - 1)
        part = tube.light()[:, int(middle) - half : int(middle) + half + 1]
        first = int(np.floor(column)) - half
        shift = np.array([[1.0, 0.0, column - np.floor(column)], [0.0, 1.0, 0.0]])
        moved = cv2.warpAffine(part, shift, part.shape[1::-1], borderMode=cv2.BORDER_REPLICATE)
        picture[:, first : first + moved.shape[1]] = moved
    picture *= np.linspace(1.0, 1.0 - lean, columns)[None, :, None]
    return expose(picture, blur_px=0.9, noise=1.5)
