"""From scene-linear radiance to a phone's JPEG.

Order: exposure, veil, vignetting, lens blur and defocus, motion, lateral colour,
photon and read noise on a colour mosaic, demosaicing, white balance error, noise
reduction, tone curve, sRGB, sharpening, JPEG with EXIF. Ranges are common practice, no
source.
"""

from __future__ import annotations

import io
import math
from dataclasses import asdict, dataclass

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image

from sample_images.generator.scene import FloatMap

EXIF_MAKE, EXIF_MODEL, EXIF_ORIENTATION, EXIF_DATE = 0x010F, 0x0110, 0x0112, 0x0132
EXIF_IFD, EXIF_DATE_ORIGINAL, EXIF_FOCAL_35 = 0x8769, 0x9003, 0xA405
TURNS = {
    1: None,
    3: Image.Transpose.ROTATE_180,
    6: Image.Transpose.ROTATE_90,
    8: Image.Transpose.ROTATE_270,
}
"""Turn that stores an upright picture so that the EXIF orientation turns it back."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Degrade:
    """Drawn settings of the chain. Lengths in px of the picture."""

    exposure: float  # share of full scale that the bright parts reach
    blur: float  # Gaussian sigma
    defocus: float  # disc radius
    motion: float  # path length
    motion_angle: float
    lateral: float  # red/blue magnification difference, relative
    veil: float
    vignette: float  # loss in the corner
    full_well: float  # electrons at full scale
    read_noise: float  # of full scale
    wb: tuple[float, float, float]
    denoise: float  # range sigma of the bilateral filter; 0 for none
    contrast: float  # strength of the S-curve
    sharpen: float
    sharpen_radius: float
    jpeg: int
    subsampling: int  # 0 4:4:4, 1 4:2:2, 2 4:2:0
    rotate: int  # EXIF orientation
    taken_at: str
    seed: int

    def record(self) -> dict[str, object]:
        return asdict(self)


def develop(linear: FloatMap, d: Degrade) -> npt.NDArray[np.uint8]:
    """8-bit RGB picture, shape (H, W, 3), from radiance of the same shape."""
    rng = np.random.default_rng(d.seed)
    bright = float(np.percentile(linear[::4, ::4].max(axis=2), 97.0))
    mean = float(linear[::4, ::4].mean())
    x = linear * np.float32(min(d.exposure / bright, 0.62 * d.exposure / mean))
    x = x * (1 - d.veil) + d.veil * x.mean(axis=(0, 1))
    x = _vignette(x, d.vignette)
    x = _optical_blur(x, d)
    x = _lateral(x, d.lateral)
    x = _sensor(x, d, rng)
    if d.denoise > 0:
        x = _denoise(x, d.denoise)
    x = np.clip(x * np.array(d.wb, np.float32), 0, 1)
    x = encode_srgb(_s_curve(x, d.contrast))
    if d.sharpen > 0:
        soft = cv2.GaussianBlur(x, (0, 0), d.sharpen_radius)
        x = x + d.sharpen * (x - soft)
    return np.round(np.clip(x, 0, 1) * 255).astype(np.uint8)


def _vignette(x: FloatMap, loss: float) -> FloatMap:
    h, w = x.shape[:2]
    v, u = np.mgrid[:h, :w].astype(np.float32)
    r2 = ((u - w / 2) ** 2 + (v - h / 2) ** 2) / ((w / 2) ** 2 + (h / 2) ** 2)
    return np.asarray(x * (1 - np.float32(loss) * r2**1.3)[..., None], np.float32)


def _optical_blur(x: FloatMap, d: Degrade) -> FloatMap:
    x = np.asarray(cv2.GaussianBlur(x, (0, 0), d.blur), np.float32)
    if d.defocus > 0.3:
        x = np.asarray(cv2.filter2D(x, -1, _disc(d.defocus)), np.float32)
    if d.motion > 0.3:
        x = np.asarray(cv2.filter2D(x, -1, _track(d.motion, d.motion_angle)), np.float32)
    return x


def _disc(radius: float) -> FloatMap:
    n = math.ceil(radius) + 1
    v, u = np.mgrid[-n : n + 1, -n : n + 1]
    k = np.clip(radius - np.hypot(u, v) + 0.5, 0, 1)
    return np.asarray(k / k.sum(), np.float32)


def _track(length: float, angle: float) -> FloatMap:
    n = math.ceil(length / 2) + 1
    k = np.zeros((2 * n + 1, 2 * n + 1))
    steps = max(int(length * 8), 8)
    for s in (np.arange(steps) + 0.5) / steps - 0.5:
        u, v = n + s * length * math.cos(angle), n + s * length * math.sin(angle)
        i, j = int(v), int(u)
        fv, fu = v - i, u - j
        k[i, j] += (1 - fv) * (1 - fu)
        k[i + 1, j] += fv * (1 - fu)
        k[i, j + 1] += (1 - fv) * fu
        k[i + 1, j + 1] += fv * fu
    return np.asarray(k / k.sum(), np.float32)


def _lateral(x: FloatMap, amount: float) -> FloatMap:
    if abs(amount) < 1e-6:
        return x
    h, w = x.shape[:2]
    cx, cy = (w - 1) / 2, (h - 1) / 2
    out = x.copy()
    for channel, sign in ((0, 1.0), (2, -1.0)):
        s = 1 + sign * amount
        m = np.array([[s, 0, cx * (1 - s)], [0, s, cy * (1 - s)]])
        out[..., channel] = cv2.warpAffine(
            x[..., channel], m, (w, h), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
        )
    return out


def _sensor(x: FloatMap, d: Degrade, rng: np.random.Generator) -> FloatMap:
    """Photon noise (Poisson, taken as normal), read noise, RGGB mosaic, demosaicing."""
    h, w = x.shape[:2]
    raw = np.empty((h, w), np.float32)
    for channel, (r, c) in ((0, (0, 0)), (1, (0, 1)), (1, (1, 0)), (2, (1, 1))):
        raw[r::2, c::2] = x[r::2, c::2, channel]
    raw = np.clip(raw, 0, 1.2)
    noise = rng.standard_normal((h, w), dtype=np.float32)
    raw = raw + noise * np.sqrt(raw / d.full_well + d.read_noise**2).astype(np.float32)
    black = 2048.0  # pedestal: noise around zero survives
    full = (65535.0 - black) / 1.25
    code = np.clip(np.round(raw * full + black), 0, 65535).astype(np.uint16)
    rgb = cv2.demosaicing(code, cv2.COLOR_BayerRGGB2RGB_EA)
    return np.asarray((rgb.astype(np.float32) - black) / full, np.float32)


def _denoise(x: FloatMap, sigma: float) -> FloatMap:
    root = np.sqrt(np.clip(x, 0, None))
    smooth = cv2.bilateralFilter(root, 5, sigma, 1.6)
    return np.asarray(smooth**2, np.float32)


def _s_curve(x: FloatMap, strength: float) -> FloatMap:
    root = np.sqrt(np.clip(x, 0, 1))
    bent = root * root * (3 - 2 * root)
    return np.asarray(((1 - strength) * root + strength * bent) ** 2, np.float32)


def encode_srgb(x: FloatMap) -> FloatMap:
    """sRGB transfer function (IEC 61966-2-1; constants from memory)."""
    x = np.clip(x, 0, 1)
    return np.where(
        x <= 0.0031308, 12.92 * x, 1.055 * np.power(np.maximum(x, 1e-8), 1 / 2.4) - 0.055
    ).astype(np.float32)


def jpeg_bytes(picture: npt.NDArray[np.uint8], d: Degrade, f35_mm: float) -> bytes:
    """JPEG of an upright picture, stored turned, with EXIF to turn it back."""
    image = Image.fromarray(picture)
    turn = TURNS[d.rotate]
    if turn is not None:
        image = image.transpose(turn)
    exif = Image.Exif()
    exif[EXIF_MAKE], exif[EXIF_MODEL] = "Sample", "Drawn camera"
    exif[EXIF_ORIENTATION], exif[EXIF_DATE] = d.rotate, d.taken_at
    sub = exif.get_ifd(EXIF_IFD)
    sub[EXIF_DATE_ORIGINAL], sub[EXIF_FOCAL_35] = d.taken_at, round(f35_mm)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=d.jpeg, subsampling=d.subsampling, exif=exif.tobytes())
    return out.getvalue()
