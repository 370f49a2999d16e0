"""Pixels of a photo, decoded upright: at the size of the search where the file allows it."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import simplejpeg
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageCms

from limbsight.vision.colour_profile import rgb_to_bgr, to_srgb, transform_to_srgb
from limbsight.vision.exif import exif_of, upright
from limbsight.vision.picture_file import open_image
from limbsight.vision.search_size import search_factor

JPEG_FACTORS = (2, 4, 8)
"""Reductions that decode whole blocks of 8 pixels from fewer of their frequencies."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pixels:
    """Upright pixels, as in ``Picture``."""

    size_px: tuple[int, int]
    decode: Callable[[], NDArray[np.uint8]]
    reduced: NDArray[np.uint8] | None = None


def decoded(data: bytes, path: Path) -> tuple[Pixels, Image.Exif, tuple[int, int]]:
    """Upright picture, EXIF, and the size (width, height) as the file stores it."""
    image = open_image(data, path)
    stored_size = image.size
    if image.format in ("JPEG", "MPO") and image.mode in ("RGB", "L"):
        exif = exif_of(image)
        return _jpeg(data, image, exif.get(ExifTags.Base.Orientation, 1)), exif, stored_size
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow's remarks on odd metadata
        image.load()
    exif = exif_of(image)  # after load(): TIFF and HEIC arrive upright by then
    bgr = rgb_to_bgr(to_srgb(image, path))
    return _whole(upright(bgr, exif.get(ExifTags.Base.Orientation, 1))), exif, stored_size


def _whole(bgr: NDArray[np.uint8]) -> Pixels:
    height, width = bgr.shape[:2]
    return Pixels(size_px=(width, height), decode=lambda: bgr)


def _jpeg(data: bytes, image: Image.Image, orientation: Any) -> Pixels:
    """Decode to the size of the search where blocks of pixels allow it, else wholly."""
    profile, mode = image.info.get("icc_profile"), image.mode

    def pixels(factor: int) -> NDArray[np.uint8]:
        return upright(_decode_jpeg(data, profile, mode, factor), orientation)

    factor = search_factor(image.size)
    if factor not in JPEG_FACTORS or image.width % factor or image.height % factor:
        return _whole(pixels(1))
    reduced = pixels(factor)
    width, height = reduced.shape[1] * factor, reduced.shape[0] * factor
    if {width, height} != set(image.size):  # at another scale every position would be wrong
        return _whole(pixels(1))
    return Pixels(size_px=(width, height), decode=partial(pixels, 1), reduced=reduced)


def _decode_jpeg(
    data: bytes, profile: bytes | None, mode: str, factor: int
) -> NDArray[np.uint8]:
    transform = transform_to_srgb(profile, mode) if profile else None
    if transform is None:
        return _jpeg_pixels(data, "BGR", factor)
    colours = "GRAY" if mode == "L" else "RGB"
    stored = Image.fromarray(_jpeg_pixels(data, colours, factor).squeeze())
    in_place = mode == "RGB"  # a quarter of the time of a 12-megapixel photo
    converted = ImageCms.applyTransform(stored, transform, inPlace=in_place)
    return rgb_to_bgr(stored if in_place else converted)


def _jpeg_pixels(data: bytes, colours: str, factor: int) -> NDArray[np.uint8]:
    """Decode, refusing data that the JPEG library could only guess its way through.

    OpenCV returns such a picture, parts of it shifted or grey, as if nothing had happened.
    """
    height, width, *_ = simplejpeg.decode_jpeg_header(data, strict=False)
    decode = partial(
        simplejpeg.decode_jpeg,
        data,
        colours,
        min_height=height // factor,
        min_width=width // factor,
    )
    try:
        pixels = decode(strict=True)
    except ValueError as error:
        # Some cameras pad the end of the picture data: harmless, and nothing is guessed.
        if "extraneous bytes before marker 0xd9" not in str(error):
            raise
        pixels = decode(strict=False)
    return np.asarray(pixels, dtype=np.uint8)
