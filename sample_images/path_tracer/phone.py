"""From linear radiance to a phone's JPEG.

Order: fireflies, lens distortion, blur, motion, vignetting, veil, exposure and white balance,
glare, noise on a colour mosaic, demosaicing, noise reduction, tone curve, saturation,
sharpening, crop, JPEG with EXIF. Ranges are common practice, no source.
"""

from __future__ import annotations

import io
import math
from typing import Any

import numpy as np
from PIL import Image

from sample_images.generator.phone import (
    EXIF_DATE,
    EXIF_DATE_ORIGINAL,
    EXIF_FOCAL_35,
    EXIF_IFD,
    EXIF_MAKE,
    EXIF_MODEL,
    EXIF_ORIENTATION,
    TURNS,
)
from sample_images.path_tracer.camera import Camera
from sample_images.path_tracer.colour import LUMINANCE, Floats, Light, from_linear
from sample_images.path_tracer.draws import Rng, chance
from sample_images.path_tracer.filters import (
    demosaic,
    gaussian,
    sampled,
    smeared,
    without_fireflies,
)
from sample_images.path_tracer.scene import Scene
from sample_images.path_tracer.spoiling import Glare

STREAM = 4242
"""Keeps the draws of a seed's phone apart from those of its scene."""
MOST_MOTION_STEPS = 24
VEIL_PX = 60.0
FULL_SCALE = 1.25
"""Where pixels are full; the tone curve ends at 1."""
NOISE = (0.0025, 0.016)
"""Range of the standard deviation of noise of a bright pixel."""
NOISY = 0.012
"""Phones always reduce noise beyond this."""
TONES = ("srgb", "soft", "film", "film")

Record = dict[str, Any]


def develop(linear: Light, scene: Scene) -> tuple[bytes, Record]:
    """JPEG file, and what was done, from radiance with the margins of the camera.

    Parameters
    ----------
    linear : ndarray, shape (height + 2 margins, width + 2 margins, 3)
        Radiance of the undistorted picture.
    """
    rng = np.random.default_rng([scene.seed, STREAM])
    camera = scene.camera
    done: Record = {"k1": camera.k1}
    light = np.nan_to_num(linear.astype(np.float32), nan=0, posinf=0, neginf=0)
    picture, off_middle = _distorted(without_fireflies(light), camera)
    picture = _optics(picture, rng, scene, off_middle, done)
    picture, balance = _exposed(picture, rng, done)
    if scene.spoil.glare:
        spot = _spot(picture, rng, scene.spoil.glare)
        picture = np.add(picture, spot / balance.astype(np.float32))
    picture = _sensed(picture, rng, balance, done)
    if chance(rng, 0.5) or done["noise"] > NOISY:
        picture = _denoised(picture, rng, done["noise"])
    picture = _toned(picture, rng, done)
    shown = Image.fromarray((picture * 255 + 0.5).astype(np.uint8))
    if camera.cropped:
        shown = shown.crop(camera.crop)
    return _stored(shown, rng, scene, done), done


def _distorted(picture: Light, camera: Camera) -> tuple[Light, Floats]:
    """As the lens bends it, without margins; squared distance from the middle."""
    width, height = camera.width_px, camera.height_px
    right, down = camera.margin_px
    x, y = np.meshgrid(
        np.arange(width) + 0.5 - width / 2, np.arange(height) + 0.5 - height / 2
    )
    half_diagonal = 0.5 * math.hypot(width, height)
    off_middle = (x * x + y * y) / half_diagonal**2
    if camera.k1 == 0:
        return picture[down : down + height, right : right + width], off_middle
    gain = 1 + camera.k1 * (off_middle - 1)
    bent = sampled(
        picture,
        x * gain + width / 2 + right - 0.5,
        y * gain + height / 2 + down - 0.5,
    )
    return bent, off_middle


def _optics(picture: Light, rng: Rng, scene: Scene, off_middle: Floats, done: Record) -> Light:
    spoil = scene.spoil
    blur = spoil.blur or float(
        rng.uniform(0.35, 0.95) if chance(rng, 0.88) else rng.uniform(1, 1.9)
    )
    motion = spoil.motion or (float(rng.uniform(1, 3)) if chance(rng, 0.18) else 0.0)
    done |= {"blur": blur, "motion": motion}
    picture = gaussian(picture, blur)
    if motion:
        picture = smeared(picture, motion, rng.uniform(0, math.pi), MOST_MOTION_STEPS)
    picture = picture * (1 - rng.uniform(0.0, 0.35) * off_middle)[..., None]
    veil = rng.uniform(0.0, 0.03)
    scattered = 0.7 * gaussian(picture, VEIL_PX) + 0.3 * picture.mean((0, 1))
    return np.asarray((1 - veil) * picture + veil * scattered)


def _exposed(picture: Light, rng: Rng, done: Record) -> tuple[Light, Floats]:
    """Exposed for the middle of the frame; the gains of white balance, still to be applied."""
    height, width = picture.shape[:2]
    middle = picture[height // 6 : -height // 6, width // 6 : -width // 6]
    brightness = middle @ LUMINANCE
    exposure = min(
        0.9 / np.percentile(brightness, 97.5) * rng.uniform(0.75, 1.3),
        0.30 / brightness.mean() * rng.uniform(0.8, 1.5),
    )
    grey = np.clip(np.median(middle.reshape(-1, 3), 0), 1e-4, None)
    balance = (grey[1] / grey) ** rng.uniform(0.55, 0.95)
    balance = np.clip(balance * np.exp(rng.normal(0, 0.035, 3)), 0.5, 2.2)
    balance /= balance[1]
    done |= {"exposure": float(exposure), "wb": [float(gain) for gain in balance]}
    return picture * exposure, balance


def _spot(picture: Light, rng: Rng, glare: Glare) -> Light:
    """Light of a reflected lamp, burnt out, with a halo."""
    height, width = picture.shape[:2]
    across = np.arange(width)[None] - glare.x_px
    down = (np.arange(height)[:, None] - glare.y_px) * rng.uniform(0.7, 1)
    off = np.hypot(across, down)
    core = 6 * np.exp(-((off / glare.radius_px) ** 4))
    halo = 0.35 * np.exp(-off / (2.2 * glare.radius_px))
    return np.asarray((core + halo)[..., None].astype(np.float32))


def _noise_sd(light: Light, noise: float) -> Light:
    """Standard deviation of photon and read noise."""
    return np.asarray(noise * np.sqrt(np.clip(light, 0, None) * 0.9 + 0.04))


def _sensed(picture: Light, rng: Rng, balance: Floats, done: Record) -> Light:
    """Noise, on a mosaic that is then undone or on each channel."""
    noise = float(np.exp(rng.uniform(math.log(NOISE[0]), math.log(NOISE[1]))))
    mosaic = chance(rng, 0.6)
    done |= {"noise": noise, "bayer": mosaic}
    raw = np.minimum(picture, FULL_SCALE / np.minimum(balance, 1).min())
    if not mosaic:
        light = raw * balance.astype(np.float32)
        grain = rng.standard_normal(light.shape, dtype=np.float32)
        return np.asarray(np.clip(light + _noise_sd(light, noise) * grain, 0, None))
    one = np.empty(raw.shape[:2], np.float32)
    one[0::2, 0::2] = raw[0::2, 0::2, 0] * balance[0]
    one[0::2, 1::2] = raw[0::2, 1::2, 1]
    one[1::2, 0::2] = raw[1::2, 0::2, 1]
    one[1::2, 1::2] = raw[1::2, 1::2, 2] * balance[2]
    grain = rng.standard_normal(one.shape, dtype=np.float32)
    one = one + _noise_sd(one, noise) * 1.25 * grain
    return np.clip(demosaic(one), 0, None)


def _denoised(picture: Light, rng: Rng, noise: float) -> Light:
    """Mixed with a blurred copy where the two are near; colour more than brightness."""
    strength = rng.uniform(0.3, 0.9)
    soft = gaussian(picture, 1.1)
    bright, soft_bright = picture @ LUMINANCE, soft @ LUMINANCE
    off = (bright - soft_bright) / (2.5 * _noise_sd(soft_bright, noise) + 1e-4)
    share = np.exp(-(off**2)) * strength
    mixed = bright + (soft_bright - bright) * share
    colour = picture - bright[..., None]
    soft_colour = gaussian(colour, 1.6)
    colour_share = min(1, strength + 0.2)
    picture = mixed[..., None] + colour + (soft_colour - colour) * colour_share
    return np.asarray(np.clip(picture, 0, None))


def _toned(picture: Light, rng: Rng, done: Record) -> Light:
    """Tone curve, saturation, sharpening."""
    kind, contrast = str(rng.choice(TONES)), float(rng.uniform(0.0, 0.55))
    picture = _curve(picture, kind, contrast)
    saturation = rng.uniform(0.9, 1.25)
    grey = (picture @ LUMINANCE)[..., None]
    picture = np.clip(grey + (picture - grey) * saturation, 0, 1)
    sharpen = float(rng.uniform(0.2, 1.1)) if chance(rng, 0.7) else 0.0
    if sharpen:
        radius, bright = rng.uniform(0.8, 1.6), picture @ LUMINANCE
        edges = bright - gaussian(bright[..., None], radius)[..., 0]
        picture = np.clip(picture + sharpen * edges[..., None], 0, 1)
    done |= {"tone": [kind, contrast], "sharpen": sharpen}
    return picture


def _curve(light: Light, kind: str, contrast: float) -> Light:
    """Linear light to shown values: plain sRGB, or with a shoulder and more contrast."""
    light = np.clip(light, 0, None)
    if kind == "srgb":
        return from_linear(light)
    shoulder = light * (1 + light / 4.0) / (1 + light) * (1.25 if kind == "film" else 1.18)
    if kind == "soft":
        shoulder = 0.5 * light + 0.5 * shoulder
    shown = np.power(np.clip(shoulder, 0, 1), 1 / 2.2)
    bend = contrast * (shown - 0.5) * shown * (1 - shown) * 4 * 0.5
    return np.asarray(np.clip(shown + bend, 0, 1))


def _stored(shown: Image.Image, rng: Rng, scene: Scene, done: Record) -> bytes:
    """JPEG, perhaps stored turned, with EXIF to turn it back; none where it was cropped."""
    quality = int(np.clip(rng.triangular(70, 82, 96), 70, 95))
    subsampling = int(rng.choice([0, 2, 2]))
    bare = scene.camera.cropped or chance(rng, 0.25)
    rotate, extra = 1, {}
    if not bare:
        rotate = int(rng.choice([1, 1, 1, 6, 8, 3]))
        turn = TURNS[rotate]
        if turn is not None:
            shown = shown.transpose(turn)
        extra["exif"] = _exif(scene, rotate)
    done |= {
        "jpeg": quality,
        "subsampling": subsampling,
        "rotate": rotate,
        "exif": not bare,
    }
    file = io.BytesIO()
    shown.save(file, "JPEG", quality=quality, subsampling=subsampling, **extra)
    return file.getvalue()


def _exif(scene: Scene, rotate: int) -> bytes:
    taken = f"2025:09:12 10:{scene.seed % 60:02d}:00"
    exif = Image.Exif()
    exif[EXIF_ORIENTATION] = rotate
    exif[EXIF_MAKE], exif[EXIF_MODEL] = "Handset", f"H{scene.seed % 7}"
    exif[EXIF_DATE] = taken
    inner = exif.get_ifd(EXIF_IFD)
    inner[EXIF_FOCAL_35] = round(scene.camera.f35_mm)
    inner[EXIF_DATE_ORIGINAL] = taken
    return exif.tobytes()
