"""A graduated board, drawn through a pinhole camera of its own: the truth is known exactly.

The board is the plane Z = 0, X to the right and Y up, in millimetres; the scale value of a
point is its Y. The camera is written here afresh, by rotation matrices, and shares nothing
with `limbsight.calib` but the definition of radial distortion.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from limbsight.vision.comb import Comb, Side
from limbsight.vision.segments import Segments

Array = NDArray[np.float64]
Reflectance = Callable[[Array, Array], Array]
"""Of the board at X, Y: shape (...) for grey, (..., 3) for blue, green, red; linear light."""


@dataclass(frozen=True, kw_only=True)
class Camera:
    """A pinhole at (x, y, distance), looking at the board, turned by small angles [deg]."""

    width: int = 360
    height: int = 640
    focal_px: float = 1500.0
    x: float = 0.3
    y: float = 1.7
    distance: float = 300.0
    yaw: float = 0.0
    pitch: float = 0.0
    roll: float = 0.0
    k1: float = 0.0

    @property
    def px_per_mm(self) -> float:
        return self.focal_px / self.distance

    @property
    def half_diagonal(self) -> float:
        return 0.5 * float(np.hypot(self.width, self.height))

    @property
    def axes(self) -> Array:
        """Columns: the camera's x (right), y (down), z (forward) on the board's axes."""
        a, b, c = np.radians([self.yaw, self.pitch, self.roll])
        about_y = np.array([[np.cos(a), 0, np.sin(a)], [0, 1, 0], [-np.sin(a), 0, np.cos(a)]])
        about_x = np.array([[1, 0, 0], [0, np.cos(b), -np.sin(b)], [0, np.sin(b), np.cos(b)]])
        about_z = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
        return np.asarray(np.diag([1.0, -1.0, -1.0]) @ about_y @ about_x @ about_z)

    def on_plane(self, x_px: Array, y_px: Array, z: float = 0.0) -> tuple[Array, Array]:
        """Where the line of sight of a pixel meets the plane Z = z."""
        u = (x_px - 0.5 * (self.width - 1)) / self.half_diagonal
        v = (y_px - 0.5 * (self.height - 1)) / self.half_diagonal
        stretch = (1 + self.k1 * (u * u + v * v)) * self.half_diagonal / self.focal_px
        ray = np.stack([u * stretch, v * stretch, np.ones_like(u)], axis=-1) @ self.axes.T
        reach = (z - self.distance) / ray[..., 2]
        return self.x + reach * ray[..., 0], self.y + reach * ray[..., 1]

    def project(self, x: ArrayLike, y: ArrayLike, z: ArrayLike = 0.0) -> tuple[Array, Array]:
        """Pixel of a point of the board, or of one that stands in front of it."""
        across, up = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        away = np.full(across.shape, np.asarray(z, float) - self.distance)
        towards = np.stack([across - self.x, up - self.y, away], axis=-1)
        seen = towards @ self.axes
        straight = self.focal_px / self.half_diagonal * seen[..., :2] / seen[..., 2:]
        bent = straight
        for _ in range(30):
            bent = straight / (1 + self.k1 * np.sum(bent**2, axis=-1, keepdims=True))
        centre = 0.5 * np.array([self.width - 1, self.height - 1])
        at = centre + self.half_diagonal * bent
        return at[..., 0], at[..., 1]


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of graduations: value k * division for every k from first to last."""

    spine: float = 0.0
    side: Side = "left"
    first: int = -40
    last: int = 40
    division: float = 1.0
    every: int = 10
    lengths: tuple[float, float, float] = (3.0, 4.5, 6.0)
    """Of plain lines, of those half way between numbered ones, of numbered ones [mm]."""
    thickness: float = 0.25

    @property
    def numbers(self) -> NDArray[np.int64]:
        return np.arange(self.first, self.last + 1)

    @property
    def values(self) -> Array:
        return np.asarray(self.numbers * self.division, np.float64)

    def length_of(self, k: NDArray[Any]) -> Array:
        plain, middle, long = self.lengths
        half = self.every % 2 == 0
        rest = np.mod(k, self.every)
        return np.where(
            rest == 0, long, np.where(half & (rest == self.every // 2), middle, plain)
        )

    def coverage(self, x: Array, y: Array) -> Array:
        """Share of ink about each point, 0..1.

        The points are samples finer than the print; an edge fades over their distance down
        the picture, so that a line lies where it is and not at the nearest sample.
        """
        fade = max(float(np.median(np.abs(np.diff(y, axis=0)))), 1e-9)
        k = np.clip(np.round(y / self.division), self.first, self.last)
        inside = self.thickness / 2 - np.abs(y - k * self.division)
        along = (x - self.spine) * (1 if self.side == "left" else -1)
        reached = (along > 0) & (along < self.length_of(k))
        return np.asarray(np.clip(inside / fade + 0.5, 0.0, 1.0) * reached)

    def comb(
        self,
        camera: Camera,
        *,
        noise_px: float = 0.0,
        seed: int = 0,
        missing: float = 0.0,
        start: int = 1000,
    ) -> Comb:
        """The column as a perfect finder would hand it on; ``start`` is any index."""
        random = np.random.default_rng(seed)
        k = self.numbers[random.random(len(self.numbers)) >= missing]
        way = 1 if self.side == "left" else -1
        y = k * self.division
        far = self.spine + way * self.length_of(k)
        low, high = np.minimum(self.spine, far), np.maximum(self.spine, far)
        left, left_y = camera.project(low, y)
        right, right_y = camera.project(high, y)
        shift = noise_px * random.standard_normal(len(k))
        lines = Segments(
            x=0.5 * (left + right),
            y=0.5 * (left_y + right_y) + shift,
            slope=(right_y - left_y) / (right - left),
            left=left,
            right=right,
            strength=random.uniform(30.0, 60.0, len(k)),
        )
        return Comb(
            side=self.side,
            index=k - self.first + start,
            lines=lines,
            residual_px=max(noise_px, 1e-3),
        )


def print_of(*columns: Column, ink: float = 0.03, board: float = 0.7) -> Reflectance:
    """Reflectance of a board with these columns on it."""

    def reflectance(x: Array, y: Array) -> Array:
        inked = np.zeros(x.shape)
        for column in columns:
            inked = np.maximum(inked, column.coverage(x, y))
        return np.asarray(board + (ink - board) * inked)

    return reflectance


@dataclass(frozen=True, kw_only=True)
class Tube:
    """A tube in front of the board: what is seen through it is shifted and bent."""

    centre: float
    radius: float = 5.0
    level: float = 0.0
    """Liquid below this height."""
    shifts: tuple[float, float] = (0.01, 0.05)
    """Above and below the level: share of the height from ``opposite`` that lines move by."""
    opposite: float = 0.0

    def inside(self, x: Array) -> NDArray[np.bool_]:
        return np.asarray(np.abs(x - self.centre) < self.radius)

    def seen(self, x: Array, y: Array) -> Array:
        """Height on the board that shows at a place within the tube."""
        part = (x - self.centre) / self.radius
        share = np.where(y > self.level, *self.shifts) * (1 - 0.5 * part**2)
        return np.asarray(y - share * (y - self.opposite))


def behind_tubes(board: Reflectance, *tubes: Tube, wall: float = 0.15) -> Reflectance:
    """What shows of a board behind tubes, with dark walls."""

    def reflectance(x: Array, y: Array) -> Array:
        shown, walls = y.copy(), np.zeros(x.shape, bool)
        for tube in tubes:
            inside = tube.inside(x)
            shown = np.where(inside, tube.seen(x, y), shown)
            walls |= np.abs(np.abs(x - tube.centre) - tube.radius) < wall
        return np.where(walls, 0.3, board(x, shown))

    return reflectance


def photograph(
    camera: Camera,
    reflectance: Reflectance,
    *,
    blur_px: float = 0.8,
    noise: float = 1.0,
    gamma: float | None = None,
    supersample: int = 2,
    seed: int = 0,
) -> NDArray[np.uint8]:
    """Take a picture, shape (H, W, 3), blue, green, red.

    Light is added up over each pixel, blurred, encoded (sRGB, or a power ``1 / gamma``), and
    given noise of ``noise`` grey levels.
    """
    s = supersample
    x = (np.arange(camera.width * s) + 0.5) / s - 0.5
    y = (np.arange(camera.height * s) + 0.5) / s - 0.5
    light = reflectance(*camera.on_plane(*np.meshgrid(x, y)))
    if light.ndim == 2:
        light = np.repeat(light[..., None], 3, axis=2)
    light = light.reshape(camera.height, s, camera.width, s, 3).mean(axis=(1, 3))
    return expose(light, blur_px=blur_px, noise=noise, gamma=gamma, seed=seed)


def expose(
    light: Array,
    *,
    blur_px: float = 0.0,
    noise: float = 0.0,
    gamma: float | None = None,
    seed: int = 0,
) -> NDArray[np.uint8]:
    """From linear light in 0..1, shape (H, W, 3), to 8 bits."""
    if blur_px > 0:
        light = cv2.GaussianBlur(light, (0, 0), blur_px)
    light = np.clip(light, 0.0, 1.0)
    if gamma is None:  # IEC 61966-2-1
        encoded = np.where(
            light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055
        )
    else:
        encoded = light ** (1 / gamma)
    grain = noise * np.random.default_rng(seed).standard_normal(encoded.shape)
    return np.asarray(np.clip(np.round(255 * encoded + grain), 0, 255), np.uint8)
