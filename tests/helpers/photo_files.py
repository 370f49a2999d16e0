"""Files of a small test card, as cameras and programs store it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import ExifTags, Image

from limbsight.vision.picture import load_picture

WIDTH, HEIGHT = 96, 64
LOSSY_DN = 12
"""Largest mean difference a good lossy encoder leaves on the smooth test card."""


def card() -> np.ndarray:
    """RGB test card: smooth, and different in every corner and every channel."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    red = 30 + 200 * x / WIDTH
    green = 20 + 180 * y / HEIGHT
    blue = 220 - 150 * x / WIDTH
    return np.stack([red, green, blue], axis=-1).round().astype(np.uint8)


def exif_bytes(*, orientation=1, focal=26, taken="2026:05:04 08:12:31", **camera) -> bytes:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    ifd = exif.get_ifd(ExifTags.IFD.Exif)
    ifd[ExifTags.Base.FocalLengthIn35mmFilm] = focal
    ifd[ExifTags.Base.DateTimeOriginal] = taken
    for name, value in camera.items():
        ifd[getattr(ExifTags.Base, name)] = value
    return exif.tobytes()


def save(path, image=None, **options):
    (image or Image.fromarray(card())).save(path, **options)
    return path


def rgb_of(path):
    return load_picture(path).bgr[..., ::-1]


def stored_as(upright: np.ndarray, orientation: int) -> np.ndarray:
    """Turn an upright picture into what a camera with that orientation tag stores.

    The tag names where the stored row 0 and column 0 lie in the upright picture
    (Exif 2.32, CIPA DC-008-2019, tag 0x0112): written here as plain numpy axis moves, so
    that it shares nothing with the code under test.
    """
    return {
        1: upright,  # row 0 top, column 0 left
        2: upright[:, ::-1],  # top, right
        3: upright[::-1, ::-1],  # bottom, right
        4: upright[::-1],  # bottom, left
        5: upright.swapaxes(0, 1),  # row 0 left, column 0 top
        6: upright.swapaxes(0, 1)[::-1],  # the camera was turned: row 0 right, column 0 top
        7: upright.swapaxes(0, 1)[::-1, ::-1],  # right, bottom
        8: upright.swapaxes(0, 1)[:, ::-1],  # left, bottom
    }[orientation]


def save_heic(path: Path, image: Image.Image, *, orientation=1) -> Path:
    import pillow_heif

    file = pillow_heif.from_pillow(image)
    file.save(path, quality=95, exif=exif_bytes(orientation=orientation))
    return path
