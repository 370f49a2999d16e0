"""The room around an instrument, as a map of light from every direction.

Equirectangular, linear, up is +y, the side of the camera in the middle. Colours of lamps by a
fit to black bodies (rule of thumb, from memory); brightnesses are our own choice, relative to
a wall at about 0.5.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from sample_images.generator.scene import FloatMap
from sample_images.path_tracer.colour import Floats, from_hsv, to_linear
from sample_images.path_tracer.draws import Rng, chance
from sample_images.path_tracer.noise import fractal, resize

HEIGHT, WIDTH = 384, 768
WEIGHTS = {
    "window": 0.22,
    "workshop": 0.2,
    "softbox": 0.12,
    "fluorescent": 0.18,
    "outdoor": 0.1,
    "overcast": 0.08,
    "dim": 0.1,
}
FLASH_KELVIN = 5600.0


def draw(rng: Rng) -> tuple[FloatMap, str]:
    """Light of a room, shape (HEIGHT, WIDTH, 3), and what the room is called."""
    kind = str(rng.choice(list(WEIGHTS), p=list(WEIGHTS.values())))
    room = _Room(rng, kind)
    room.furnish()
    if kind == "workshop":
        room.run_pipes()
    room.stand_before()
    if kind in ("window", "workshop", "dim") or chance(rng, 0.15):
        room.put_windows()
    if kind == "fluorescent" or (kind == "workshop" and chance(rng, 0.6)):
        room.put_tubes()
    if kind == "softbox":
        room.put_softboxes()
    if kind in ("outdoor", "overcast"):
        room.open_sky()
    if kind == "dim":
        room.put_lamp()
    flash = chance(rng, 0.14)
    if flash:
        room.flash()
    light = np.stack([resize(room.light[..., c], WIDTH, HEIGHT) for c in range(3)], -1)
    return light.astype(np.float32), kind + ("+flash" if flash else "")


def directions_deg() -> tuple[Floats, Floats]:
    """Elevation and azimuth of the map's rows and columns, in degrees."""
    elevation = (0.5 - (np.arange(HEIGHT) + 0.5) / HEIGHT) * 180
    azimuth = ((np.arange(WIDTH) + 0.5) / WIDTH - 0.5) * 360
    return elevation, azimuth


def lamp_colour(kelvin: float) -> Floats:
    """Linear colour of a black body, green 1: a fit in sRGB (rule of thumb, from memory)."""
    t = kelvin / 100
    red = 255 if t <= 66 else 329.7 * (t - 60) ** -0.1332
    green = 99.47 * math.log(t) - 161.1 if t <= 66 else 288.1 * (t - 60) ** -0.0755
    blue = 255 if t >= 66 else 138.5 * math.log(t - 10) - 305
    colour = to_linear(np.clip(np.array([red, green, blue]) / 255, 0.01, 1))
    return np.asarray(colour / colour[1])


class _Room:
    """The map while it is being filled."""

    def __init__(self, rng: Rng, kind: str) -> None:
        self.rng, self.kind = rng, kind
        elevation, azimuth = directions_deg()
        self.elevation = elevation[:, None] + 0 * azimuth[None]
        self.azimuth = azimuth[None] + 0 * elevation[:, None]
        self.day = lamp_colour(rng.uniform(5200, 8000))
        self.lamp = lamp_colour(rng.choice([2900, 3300, 4000, 5000]))
        self.light = np.zeros((HEIGHT, WIDTH, 3))
        self.wall = to_linear(
            from_hsv(rng.random(), rng.uniform(0, 0.2), rng.uniform(0.55, 0.9))
        )
        self.brightness = rng.uniform(0.35, 0.8)
        self.ambient = 0.5 * (self.day + self.lamp)
        self.light[:] = self.wall * self.ambient * self.brightness
        lit = self.lamp if kind in ("fluorescent", "workshop") else self.ambient
        self.light[self.elevation > 35] = lit * rng.uniform(0.6, 1.0)
        floor = self._surface((0.05, 0.15), (0, 0.4), (0.3, 0.6))
        self.light[self.elevation < -25] = floor * self.ambient * rng.uniform(0.35, 0.7)

    def _surface(
        self,
        hue: tuple[float, float] | None,
        saturation: tuple[float, float],
        value: tuple[float, float],
    ) -> Floats:
        """Linear colour drawn from ranges; any hue if none is given."""
        rng = self.rng
        h = rng.random() if hue is None else rng.uniform(*hue)
        return to_linear(from_hsv(h, rng.uniform(*saturation), rng.uniform(*value)))

    def _fill(
        self, left: float, right: float, low: float, high: float, light: npt.ArrayLike
    ) -> npt.NDArray[np.bool_]:
        """Light a rectangle of directions in degrees; the pixels that it takes."""
        off = np.abs((self.azimuth - (left + right) / 2 + 180) % 360 - 180)
        inside = off < (right - left) / 2
        inside = inside & (self.elevation > low) & (self.elevation < high)
        self.light[inside] = light
        return inside

    def furnish(self) -> None:
        """Dark and light shapes as large as furniture and people."""
        rng = self.rng
        for _ in range(rng.integers(4, 14)):
            left, low = rng.uniform(-170, 170), rng.uniform(-45, 0)
            right, high = left + rng.uniform(4, 30), low + rng.uniform(6, 50)
            colour = self._surface(None, (0, 0.6), (0.1, 0.8))
            self._fill(left, right, low, high, colour * self.ambient * self.brightness)

    def run_pipes(self) -> None:
        rng = self.rng
        for _ in range(rng.integers(4, 10)):
            if chance(rng, 0.5):
                low = rng.uniform(-30, 40)
                edges = (-180.0, 180.0, low, low + rng.uniform(0.8, 3))
            else:
                left = rng.uniform(-170, 170)
                edges = (left, left + rng.uniform(1, 5), -60.0, 60.0)
            self._fill(*edges, self._surface(None, (0, 0.5), (0.2, 0.8)) * self.ambient * 0.5)

    def stand_before(self) -> None:
        """The photographer, dark, about the camera."""
        rng = self.rng
        dark = rng.uniform(0.04, 0.25)
        left, right = -14 + rng.normal(0, 6), 14 + rng.normal(0, 6)
        self._fill(left, right, -70, rng.uniform(-6, 12), self.ambient * dark)

    def put_windows(self) -> None:
        rng = self.rng
        frame = self.wall * 0.4 * self.day
        for _ in range(rng.integers(1, 4)):
            left, width = rng.uniform(-95, 65), rng.uniform(14, 40)
            low = rng.uniform(-5, 15)
            high = low + rng.uniform(20, 40)
            sky = self.day * rng.uniform(2.5, 7)
            upward = np.clip((self.elevation - low) / (high - low), 0, 1)
            sky = sky * (0.7 + 0.3 * upward)[..., None]
            pane = self._fill(left, left + width, low, high, 0)
            self.light[pane] = sky[pane]
            for bar in range(1, rng.integers(2, 5)):
                x = left + width * bar / 4
                self._fill(x - 0.5, x + 0.5, low, high, frame)
            y = (low + high) / 2
            self._fill(left, left + width, y - 0.5, y + 0.5, frame)

    def put_tubes(self) -> None:
        rng = self.rng
        for _ in range(rng.integers(2, 5)):
            left, low = rng.uniform(-100, 60), rng.uniform(32, 65)
            right, high = left + rng.uniform(25, 60), low + rng.uniform(5, 9)
            self._fill(left, right, low, high, self.lamp * rng.uniform(5, 9))

    def put_softboxes(self) -> None:
        rng = self.rng
        for _ in range(rng.integers(1, 3)):
            left, low = rng.choice([-75, 35]) + rng.uniform(-15, 15), rng.uniform(-5, 30)
            right, high = left + rng.uniform(25, 45), low + rng.uniform(25, 45)
            self._fill(left, right, low, high, self.day * rng.uniform(5, 11))

    def open_sky(self) -> None:
        """Sky over an uneven horizon, clouds, and outdoors the sun behind a little haze."""
        rng, clear = self.rng, self.kind == "outdoor"
        sky = self.day * (1.2 if clear else rng.uniform(1.2, 2.2))
        sky = sky * (1 + 0.5 * np.clip(self.elevation / 60, 0, 1))[..., None]
        if clear:
            sky = sky * np.array([0.75, 0.95, 1.25])
        clouds = fractal(rng, WIDTH, HEIGHT, 120, 4)
        sky = sky * (1 + 0.25 * np.clip(clouds, -1, 2))[..., None]
        horizon = 6 + 8 * fractal(rng, WIDTH, 1, 60, 3)[0]
        above = self.elevation > horizon[None]
        self.light[above] = sky[above]
        if clear:
            azimuth, elevation = rng.uniform(-80, 80), rng.uniform(25, 55)
            off = np.hypot(
                (self.azimuth - azimuth) * np.cos(np.radians(elevation)),
                self.elevation - elevation,
            )
            sun = np.array([1.05, 1, 0.9]) * rng.uniform(5, 9)
            self.light += sun[None, None] * (np.clip((14 - off) / 4, 0, 1))[..., None]

    def put_lamp(self) -> None:
        rng = self.rng
        left, low = rng.uniform(-60, 40), rng.uniform(15, 50)
        self._fill(left, left + 12, low, low + 14, self.lamp * rng.uniform(6, 11))

    def flash(self) -> None:
        rng = self.rng
        off = np.hypot(self.azimuth - rng.normal(0, 3), self.elevation - rng.normal(2, 3))
        light = lamp_colour(FLASH_KELVIN) * rng.uniform(6, 12)
        self.light += light[None, None] * np.clip((7 - off) / 1.2, 0, 1)[..., None]
