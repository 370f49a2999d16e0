"""A photo with its truth in memory: loaded, moved, developed again and written.

Pictures are float32 RGB of shape (H, W, 3), sRGB-encoded, in 0..1; what acts on light goes
through :func:`in_light`. Whatever moves pixels moves the true positions with them.
"""

from __future__ import annotations

import io
import json
import math
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image

FloatMap = NDArray[np.float32]
Points = NDArray[np.float64]

STORED_TURNS = {
    1: None,
    3: Image.Transpose.ROTATE_180,
    6: Image.Transpose.ROTATE_90,
    8: Image.Transpose.ROTATE_270,
}
"""How an upright picture is turned for an EXIF orientation to turn it back."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shot:
    """One photo and its truth.

    Attributes
    ----------
    shown : ndarray, shape (H, W, 3), float32
        Upright, RGB, sRGB-encoded.
    truth
        The truth file.
    focal_35mm
        EXIF focal length [mm]; None for a photo that lost its EXIF data.
    orientation
        EXIF orientation to be stored with.
    quality
        Of the JPEG file (colour at half the resolution).
    hides
        Whether a level can no longer be seen: the photo must not be read.
    """

    shown: FloatMap
    truth: dict[str, Any]
    focal_35mm: float | None
    orientation: int = 1
    quality: int = 95
    hides: bool = False

    @property
    def size_px(self) -> tuple[int, int]:
        height, width = self.shown.shape[:2]
        return width, height

    def levels_px(self) -> Points:
        """Return the true levels in the picture, shape (N, 2)."""
        limbs = self.truth["menisci"]
        return np.array([m["px"] for limb in limbs for m in limb], float).reshape(-1, 2)

    def scale_px(self) -> Points:
        """Return points along the true scales, shape (N, 2)."""
        scales = self.truth.get("graduation_px", [])
        return np.array([p for s in scales for p in s["px"]], float).reshape(-1, 2)

    def pitch_px(self) -> float:
        """Return the pixels of a division, mean over the first scale."""
        scale = self.truth["graduation_px"][0]
        (x0, y0), (x1, y1) = scale["px"][0], scale["px"][-1]
        count = (
            abs(scale["values"][-1] - scale["values"][0]) / self.truth["graduation"]["minor"]
        )
        return float(math.hypot(x1 - x0, y1 - y0) / count)

    def tube_px(self) -> float:
        """Return the pixels of a tube's outside diameter."""
        grade = self.truth["graduation"]
        return float(
            2
            * self.truth["tube"]["ro"]
            / abs(grade["unit_mm"])
            * self.pitch_px()
            / grade["minor"]
        )


def load_shot(path: Path) -> Shot:
    """Read NAME.jpg beside NAME.json."""
    with Image.open(path.with_suffix(".jpg")) as image:
        exif = image.getexif()
        focal = exif.get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.FocalLengthIn35mmFilm)
        undo = {3: 180, 6: 270, 8: 90}.get(exif.get(ExifTags.Base.Orientation, 1), 0)
        upright = image.convert("RGB").rotate(undo, expand=True)
    return Shot(
        shown=np.asarray(upright, np.float32) / np.float32(255),
        truth=json.loads(path.read_text(encoding="utf-8")),
        focal_35mm=float(focal) if focal else None,
    )


def save_shot(shot: Shot, path: Path) -> None:
    """Write NAME.jpg and NAME.json."""
    image = Image.fromarray(to_bytes(shot.shown))
    turn = STORED_TURNS[shot.orientation]
    if turn is not None:
        image = image.transpose(turn)
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = shot.orientation
    if shot.focal_35mm is not None:
        camera = exif.get_ifd(ExifTags.IFD.Exif)
        camera[ExifTags.Base.FocalLengthIn35mmFilm] = round(shot.focal_35mm)
    image.save(
        path.with_suffix(".jpg"), quality=shot.quality, subsampling=2, exif=exif.tobytes()
    )
    path.with_suffix(".json").write_text(
        json.dumps(shot.truth | {"hides": shot.hides}), encoding="utf-8"
    )


def to_bytes(shown: FloatMap) -> NDArray[np.uint8]:
    return np.round(np.clip(shown, 0, 1) * 255).astype(np.uint8)


def in_light(shot: Shot, change: Callable[[FloatMap], FloatMap]) -> Shot:
    """Change what is proportional to light."""
    light = np.asarray(change(decode_srgb(shot.shown)), np.float32)
    return replace(shot, shown=encode_srgb(light))


def decode_srgb(shown: FloatMap) -> FloatMap:
    """Undo the sRGB encoding (IEC 61966-2-1; constants from memory)."""
    v = np.clip(shown, 0, 1)
    light = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    return np.asarray(light, np.float32)


def encode_srgb(light: FloatMap) -> FloatMap:
    v = np.clip(light, 0, 1)
    shown = np.where(
        v <= 0.0031308, 12.92 * v, 1.055 * np.maximum(v, 1e-9) ** (1 / 2.4) - 0.055
    )
    return np.asarray(shown, np.float32)


def compressed(shot: Shot, quality: int) -> Shot:
    """Through a JPEG once, colour at half the resolution."""
    file = io.BytesIO()
    Image.fromarray(to_bytes(shot.shown)).save(file, "JPEG", quality=quality, subsampling=2)
    with Image.open(file) as image:
        return replace(shot, shown=np.asarray(image, np.float32) / np.float32(255))


def moved(
    shot: Shot,
    size_px: tuple[int, int],
    back: Callable[[Points], Points],
    forth: Callable[[Points], Points],
    *,
    edge: int = cv2.BORDER_REPLICATE,
) -> Shot:
    """Resample into a picture of another geometry.

    Parameters
    ----------
    size_px
        Width and height of the new picture.
    back, forth
        Carry positions, shape (N, 2), from the new picture to the old one and the other way.
    """
    width, height = size_px
    x, y = np.meshgrid(np.arange(width, dtype=float), np.arange(height, dtype=float))
    old = back(np.stack([x.ravel(), y.ravel()], axis=1)).astype(np.float32)
    light = cv2.remap(
        decode_srgb(shot.shown),
        old[:, 0].reshape(height, width),
        old[:, 1].reshape(height, width),
        cv2.INTER_CUBIC,
        borderMode=edge,
    )
    return replace(shot, shown=encode_srgb(light), truth=moved_truth(shot.truth, forth))


def resized(shot: Shot, factor: float) -> Shot:
    """Shrink by ``factor`` < 1, averaging light over areas."""
    old_w, old_h = shot.size_px
    width, height = max(1, round(old_w * factor)), max(1, round(old_h * factor))
    light = cv2.resize(decode_srgb(shot.shown), (width, height), interpolation=cv2.INTER_AREA)
    ratio = np.array([width / old_w, height / old_h])
    truth = moved_truth(shot.truth, lambda p: (p + 0.5) * ratio - 0.5)
    return replace(shot, shown=encode_srgb(light), truth=truth)


def cut(shot: Shot, x0: int, y0: int, x1: int, y1: int) -> Shot:
    """Cut out columns x0 to x1 and rows y0 to y1, the latter not included."""
    truth = moved_truth(shot.truth, lambda p: p - (x0, y0))
    return replace(shot, shown=np.ascontiguousarray(shot.shown[y0:y1, x0:x1]), truth=truth)


def moved_truth(truth: dict[str, Any], forth: Callable[[Points], Points]) -> dict[str, Any]:
    """Carry all true positions into a picture of another geometry."""
    new = deepcopy(truth)
    for limb in new["menisci"]:
        for level in limb:
            level["px"] = forth(np.array([level["px"]], float))[0].tolist()
    for scale in new.get("graduation_px", []):
        scale["px"] = forth(np.array(scale["px"], float)).tolist()
    return new
