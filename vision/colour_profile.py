"""Pixels of any format to 8-bit sRGB, after their colour profile."""

from __future__ import annotations

import io
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from limbsight.vision.picture_file import bad_file

SRGB_TOLERANCE_DN = 2
"""A profile that moves no colour by more than this counts as sRGB: the rounding of two
8-bit conversions, and below the noise of any photo."""


def to_srgb(image: Image.Image, path: Path) -> Image.Image:
    """Any pixel format to 8-bit sRGB without transparency."""
    profile = image.info.get("icc_profile")
    if image.mode.startswith("I;16"):
        # 257 = 65535 / 255: full scale stays full scale.
        image = Image.fromarray(((np.asarray(image, np.uint32) + 128) // 257).astype(np.uint8))
    if image.mode in ("I", "F", "LAB", "HSV"):
        raise bad_file(
            path, f"pixels of kind {image.mode!r}", "export it with 8 bits per colour"
        )
    if image.has_transparency_data:
        layer = image.convert("RGBA")
        white = Image.new("RGBA", layer.size, "white")
        image = Image.alpha_composite(white, layer).convert("RGB")
    if image.mode not in ("RGB", "L", "CMYK"):
        image = image.convert("L" if image.mode == "1" else "RGB")
    transform = transform_to_srgb(profile, image.mode) if profile else None
    if transform is not None:
        return ImageCms.applyTransform(image, transform) or image
    return image.convert("RGB")


@lru_cache(maxsize=16)
def transform_to_srgb(profile: bytes, mode: str) -> ImageCms.ImageCmsTransform | None:
    """Transform from an embedded profile, or None where following it changes nothing.

    None, too, for a profile that is damaged or made for other pixels (an RGB profile in a
    grey photo): the photo is then taken as sRGB, as a viewer would.
    """
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        transform = ImageCms.buildTransform(
            source,
            ImageCms.createProfile("sRGB"),
            mode,
            "RGB",
            flags=ImageCms.Flags.NOCACHE,  # or threads would share one pixel's cache
        )
    except (ImageCms.PyCMSError, OSError, ValueError):
        return None
    if mode == "CMYK":
        return transform
    steps = np.linspace(0, 255, 9 if mode == "RGB" else 256).round().astype(np.uint8)
    grid = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(-1, 1, 3)
    patches = Image.fromarray(grid if mode == "RGB" else steps[:, np.newaxis])
    moved = np.abs(
        np.asarray(ImageCms.applyTransform(patches, transform), np.int16)
        - np.asarray(patches.convert("RGB"), np.int16)
    )
    return transform if moved.max() > SRGB_TOLERANCE_DN else None


def rgb_to_bgr(image: Image.Image | None) -> NDArray[np.uint8]:
    """Pixels in the order that OpenCV has them."""
    bgr: NDArray[np.uint8] = cv2.cvtColor(np.asarray(image), cv2.COLOR_RGB2BGR)
    return bgr
