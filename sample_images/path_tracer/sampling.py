"""Samples where they are needed, until the time is over.

Every pixel gets some; those whose mean is uncertain get more. The kernel works on any list of
pixels and knows no size of picture and no camera: one serves all photographs.

Imported once the renderer's variant is set.
"""

# mypy: ignore-errors
# The renderer's types are its own.

import gc
import time
from pathlib import Path

import drjit as dr
import mitsuba as mi
import numpy as np

from sample_images.path_tracer import integrator
from sample_images.path_tracer.budget import Budget, Sampled
from sample_images.path_tracer.colour import LUMINANCE
from sample_images.path_tracer.translation import translated

AT_ONCE = 144 << 20
"""Paths in one call of the kernel: some gigabytes."""
TARGET_ERROR = 0.025
"""Relative standard error of a pixel that needs no more samples: below a sensor's noise."""
DARK = 0.12
"""Errors count relative to a pixel plus this share of the mean: shadows need not be finer."""
FEW_PIXELS = 0.002
"""Share of uncertain pixels that is left as it is."""
LEAST_MORE, MOST_MORE = 16, 512
"""Samples added to a pixel in a round; more rounds of fewer follow the errors more closely."""
LEAST_PIXELS = 2000
WARMING_PIXELS = 4096
SEED_STEP, CALL_STEP, SEED_MASK = 7919, 104729, 0x7FFFFFFF
"""Primes that keep calls and photographs apart."""


def render(scene, folder: Path, budget: Budget, *, compiled: bool):
    """Radiance with margins, shape (height, width, 3), and what it took.

    The time to compile, for the first scene, is not counted.
    """
    # Objects of the last scene must be gone: they would give new ones other numbers, and the
    # kernel would be compiled anew.
    gc.collect()
    began = time.monotonic()
    pixels = _Pixels(scene, folder)
    if not compiled:
        pixels.warm()
        began = time.monotonic()
    pixels.add(pixels.all, min(budget.base, budget.most), scene.seed)
    _refine(pixels, budget, scene.seed, began)
    return pixels.picture(), pixels.sampled()


def _refine(pixels, budget: Budget, seed: int, began: float) -> None:
    """More samples for uncertain pixels."""
    while time.monotonic() - began < budget.seconds:
        error = pixels.error()
        uncertain = (error > TARGET_ERROR) & (pixels.count < budget.most)
        if uncertain.mean() < FEW_PIXELS:
            return
        rate = pixels.taken / max(time.monotonic() - pixels.began, 1e-3)
        affordable = rate * max(budget.seconds - (time.monotonic() - began), 0.05)
        wanted = pixels.count * np.clip((error / TARGET_ERROR) ** 2 - 1, 0.25, 3)
        more = int(np.clip(np.median(wanted[uncertain]), LEAST_MORE, MOST_MORE))
        chosen = pixels.all[uncertain]
        most = max(8, int(min(affordable, 6 * AT_ONCE) / len(chosen)))
        if most < min(more, LEAST_MORE):  # little time: only the worst
            if affordable < LEAST_MORE * LEAST_PIXELS:
                return
            share = affordable / (LEAST_MORE * len(chosen))
            worst = np.quantile(error[uncertain], max(0, 1 - share))
            chosen, more = pixels.all[uncertain & (error >= worst)], LEAST_MORE
        pixels.add(chosen, min(more, most), seed)


class _Pixels:
    """Sums of radiance, and of squared brightness, in each pixel."""

    def __init__(self, scene, folder: Path) -> None:
        self.scene = translated(scene, folder)
        self.integrator = integrator.load()
        camera = scene.camera
        self.width = camera.width_px + 2 * camera.margin_px[0]
        self.height = camera.height_px + 2 * camera.margin_px[1]
        self.camera, self.middle_mm = camera, scene.middle_mm
        self.all = np.arange(self.width * self.height, dtype=np.uint32)
        self._clear()

    def _clear(self) -> None:
        self.count = np.zeros(len(self.all), np.float32)
        self.total = np.zeros((len(self.all), 3), np.float32)
        self.squares = np.zeros(len(self.all), np.float32)
        self.calls, self.taken, self.began = 0, 0, time.monotonic()

    def warm(self) -> None:
        """Have the kernel compiled."""
        self._shoot(self.all[:WARMING_PIXELS], 1, 0)
        self._clear()

    def add(self, pixels, samples: int, seed: int) -> None:
        """Take as many samples in each of these pixels, in as many calls as that needs."""
        if len(pixels) > AT_ONCE:
            for part in np.array_split(pixels, len(pixels) // AT_ONCE + 1):
                self.add(part, samples, seed)
            return
        while samples > 0:
            now = min(max(1, AT_ONCE // len(pixels)), samples)
            stream = (seed * SEED_STEP + self.calls * CALL_STEP + 1) & SEED_MASK
            self._shoot(pixels, now, stream)
            samples -= now
            self.calls += 1
            self.taken += now * len(pixels)

    def _shoot(self, pixels, samples: int, seed: int) -> None:
        paths = len(pixels) * samples
        sampler = mi.load_dict({"type": "independent", "sample_count": 1})
        sampler.seed(seed, paths)
        slot = dr.arange(mi.UInt32, paths) // dr.opaque(mi.UInt32, samples)
        wanted = mi.UInt32(np.ascontiguousarray(pixels, dtype=np.uint32))
        index = dr.gather(mi.UInt32, wanted, slot)
        ray = self._ray(index, sampler.next_2d(), sampler.next_2d())
        light, _, _ = self.integrator.sample(self.scene, sampler, ray)
        light = dr.select(dr.isfinite(light), light, 0.0)
        bright = sum(light[c] * float(LUMINANCE[c]) for c in range(3))
        sums = [dr.zeros(mi.Float, len(pixels)) for _ in range(4)]
        for one, value in zip(
            sums, (*(light[c] for c in range(3)), bright * bright), strict=True
        ):
            dr.scatter_reduce(dr.ReduceOp.Add, one, value, slot)
        dr.eval(sums)
        *colours, squares = (np.array(one) for one in sums)
        self.total[pixels] += np.stack(colours, -1)
        self.squares[pixels] += squares
        self.count[pixels] += samples

    def _ray(self, index, within, on_lens):
        """Thin lens, written out so that its numbers are data and not compiled in."""
        camera = self.camera
        width = dr.opaque(mi.UInt32, self.width)
        row = index // width
        column = index - row * width
        u = (mi.Float(column) + within.x) * _data(1.0 / self.width)
        v = (mi.Float(row) + within.y) * _data(1.0 / self.height)
        right, up, forward = (_vector(a) for a in (camera.right, camera.up, camera.forward))
        half_wide = _data(self.width / 2 / camera.focal_px)
        half_high = _data(self.height / 2 / camera.focal_px)
        direction = (
            forward + right * ((2 * u - 1) * half_wide) + up * ((1 - 2 * v) * half_high)
        )
        radius = dr.sqrt(on_lens.x) * _data(camera.aperture_mm)
        angle = on_lens.y * (2 * dr.pi)
        aside = right * (radius * dr.cos(angle)) + up * (radius * dr.sin(angle))
        centre = _vector(camera.origin - np.array([0, self.middle_mm, 0]))
        towards = dr.normalize(direction * _data(camera.focus_mm) - aside)
        return mi.Ray3f(mi.Point3f(centre + aside), towards)

    def error(self):
        """Relative standard error of each pixel, smoothed over its neighbours."""
        mean = (self.total @ LUMINANCE) / self.count
        variance = np.maximum(self.squares / self.count - mean * mean, 0)
        shape = self.height, self.width
        of_mean = _smooth(variance.reshape(shape)) / self.count.reshape(shape)
        smooth = _smooth(mean.reshape(shape))
        return (np.sqrt(of_mean) / (smooth + DARK * smooth.mean())).ravel()

    def picture(self):
        """Mean radiance."""
        mean = self.total / self.count[:, None]
        return mean.reshape(self.height, self.width, 3)

    def sampled(self) -> Sampled:
        error = self.error()
        return Sampled(
            mean=float(self.count.mean()),
            most=float(self.count.max()),
            median_error=float(np.median(error)),
            worst_percent_error=float(np.quantile(error, 0.99)),
        )


def _data(value):
    return dr.opaque(mi.Float, float(value))


def _vector(values):
    return mi.Vector3f(*(_data(v) for v in values))


def _smooth(picture):
    """Mean over 5 x 5 pixels."""
    for axis in (0, 1):
        sides = [(2, 2) if k == axis else (0, 0) for k in (0, 1)]
        padded, length = np.pad(picture, sides, mode="edge"), picture.shape[axis]
        parts = [np.take(padded, range(i, i + length), axis) for i in range(5)]
        picture = sum(parts) / 5
    return picture
