"""Photos from files: decoded, upright, in sRGB, with the little EXIF that is of use.

Every other module sees a photo through :func:`load_picture` alone, so orientation, colour
profiles and odd pixel formats are settled here once.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags

from limbsight.errors import InputError
from limbsight.vision.decoding import decoded
from limbsight.vision.exif import focal_35mm_of, taken_at_of
from limbsight.vision.picture_file import COPY_AGAIN, bad_file, read_bytes

CAMERA_SHAPES = (4 / 3, 3 / 2, 16 / 9)
SHAPE_TOLERANCE = 0.01
"""Shapes of the pictures of phones and cameras (common practice, no source), and how far they
are off by rows left out for the sake of the compression's blocks."""
KNOWN_SUFFIXES = frozenset(
    {".jpg", ".jpeg", ".jpe", ".mpo", ".png", ".tif", ".tiff", ".webp"}
    | {".bmp", ".gif", ".heic", ".heif", ".hif", ".avif"}
)
"""File name endings (lower case) taken for photos when a whole folder is read."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Picture:
    """One decoded photo, upright.

    Attributes
    ----------
    size_px : tuple of int
        Width and height of the upright picture [px].
    decode : callable
        Gives the pixels at full size; :attr:`bgr` keeps them.
    reduced : ndarray, shape (H / factor, W / factor, 3), uint8, or None
        What the file's own decoding at ``search_factor`` gave, which costs half of all
        pixels and averages no worse; None where only full size can be had.
    focal_35mm : float or None, [mm]
        35 mm equivalent focal length from EXIF, None where it can't be trusted.
    taken_at : str or None
        ISO 8601, with the offset from UTC where the camera recorded it.
    sha256 : str
        Of the file's bytes.
    whole : bool
        Whether it has the shape of a camera's picture; others were cut out of one.
    """

    size_px: tuple[int, int]
    decode: Callable[[], NDArray[np.uint8]]
    reduced: NDArray[np.uint8] | None = None
    focal_35mm: float | None
    taken_at: str | None
    sha256: str
    whole: bool = True

    @cached_property
    def bgr(self) -> NDArray[np.uint8]:
        """sRGB-encoded blue, green, red, shape (H, W, 3), uint8; read-only.

        ``bgr[y, x]``, centre of the first pixel at (0, 0), y down.
        """
        bgr = self.decode()
        bgr.flags.writeable = False
        return bgr


def load_picture(path: str | Path) -> Picture:
    """Decode a photo.

    JPEG, PNG, TIFF, WebP, BMP, HEIC, AVIF and one-frame GIF are read; grey, palette, CMYK
    and 16-bit pixels become 8-bit sRGB (16-bit grey by rounding, 16-bit colour by its upper
    byte, as Pillow does), transparency is laid over white, an embedded colour profile is
    followed, all eight EXIF orientations are applied. A file with several photos in it
    (animation, several pages) is an error, because choosing one would be a guess; of a
    HEIC or a multi-picture JPEG the primary picture is read, as every viewer does.

    Parameters
    ----------
    path
        File to read.

    Returns
    -------
    Picture

    Raises
    ------
    InputError
        Code ``bad_file``: missing, unreadable, not a photo, damaged, several photos in
        one file, or larger than ``MAX_PIXELS``. One line that names the file and the mend.
    """
    path = Path(path)
    data = read_bytes(path)
    try:
        pixels, exif, stored_size = decoded(data, path)
    except InputError:
        raise
    except Exception as error:  # decoders raise nearly anything on a malformed file
        reason = " ".join(str(error).split()) or type(error).__name__
        raise bad_file(path, f"damaged or cut short ({reason})", COPY_AGAIN) from error
    camera = exif.get_ifd(ExifTags.IFD.Exif)
    return Picture(
        size_px=pixels.size_px,
        decode=pixels.decode,
        reduced=pixels.reduced,
        focal_35mm=focal_35mm_of(camera, stored_size),
        taken_at=taken_at_of(camera),
        sha256=hashlib.sha256(data).hexdigest(),
        whole=_is_whole(*stored_size),
    )


def _is_whole(width: int, height: int) -> bool:
    """Whether a picture's sides are to each other as a camera's."""
    shape = max(width, height) / min(width, height)
    return any(abs(shape / usual - 1.0) < SHAPE_TOLERANCE for usual in CAMERA_SHAPES)
