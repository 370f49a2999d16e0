"""The little EXIF that is of use: orientation, focal length, time."""

from __future__ import annotations

import warnings
from datetime import datetime
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image


def exif_of(image: Image.Image) -> Image.Exif:
    """What the file says of the camera; nothing where that is damaged."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            exif = image.getexif()
            exif.get_ifd(ExifTags.IFD.Exif)
    except Exception:  # a photo is worth reading without its EXIF
        return Image.Exif()
    return exif


def upright(bgr: NDArray[np.uint8], orientation: Any) -> NDArray[np.uint8]:
    """Apply the EXIF orientation, 1 to 8; anything else is taken as 1."""
    match orientation:
        case 2:
            turned = cv2.flip(bgr, 1)
        case 3:
            turned = cv2.rotate(bgr, cv2.ROTATE_180)
        case 4:
            turned = cv2.flip(bgr, 0)
        case 5:
            turned = cv2.transpose(bgr)
        case 6:
            turned = cv2.rotate(bgr, cv2.ROTATE_90_CLOCKWISE)
        case 7:
            turned = cv2.rotate(cv2.transpose(bgr), cv2.ROTATE_180)
        case 8:
            turned = cv2.rotate(bgr, cv2.ROTATE_90_COUNTERCLOCKWISE)
        case _:
            turned = bgr
    return np.asarray(turned, dtype=np.uint8)


def focal_35mm_of(camera: dict[int, Any], stored_size: tuple[int, int]) -> float | None:
    """35 mm equivalent focal length [mm], None if absent or no longer that of this frame.

    A frame that was cropped, or zoomed by cropping, shows a narrower field than the
    number says; EXIF's own pixel size and zoom ratio give that away.
    """
    focal = _number(camera.get(ExifTags.Base.FocalLengthIn35mmFilm))
    if focal is None or focal <= 0:
        return None
    width = _number(camera.get(ExifTags.Base.ExifImageWidth))
    height = _number(camera.get(ExifTags.Base.ExifImageHeight))
    if width and height and {width, height} != set(map(float, stored_size)):
        return None
    zoom = _number(camera.get(ExifTags.Base.DigitalZoomRatio)) or 1.0  # 0: zoom not used
    return focal if zoom == 1.0 else None


def _number(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if np.isfinite(number) else None


def taken_at_of(camera: dict[int, Any]) -> str | None:
    """When the shutter opened; the time of a later edit is no substitute."""
    for stamp, offset in (
        (ExifTags.Base.DateTimeOriginal, ExifTags.Base.OffsetTimeOriginal),
        (ExifTags.Base.DateTimeDigitized, ExifTags.Base.OffsetTimeDigitized),
    ):
        taken = _date(camera.get(stamp), "%Y:%m:%d %H:%M:%S")
        if taken is None:
            continue
        zone = _date(camera.get(offset), "%z")
        return (taken.replace(tzinfo=zone.tzinfo) if zone else taken).isoformat()
    return None


def _date(value: Any, layout: str) -> datetime | None:
    try:
        return datetime.strptime(str(value).strip("\0 "), layout)
    except ValueError:
        return None
