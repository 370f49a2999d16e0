"""Photos from files: decoded, upright, in sRGB, with the little EXIF that is of use.

Every other module sees a photo through :func:`load_picture` alone, so orientation, colour
profiles and odd pixel formats are settled here once.
"""

from __future__ import annotations

import hashlib
import io
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, lru_cache, partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageCms, UnidentifiedImageError

from limbsight.errors import InputError

BYTES_PER_PIXEL = 12
"""Peak memory of decoding: decoder's copy (4), array (3), turned copy (3), rounded up."""

MAX_PIXELS = 2 * 1024**3 // BYTES_PER_PIXEL
"""Largest picture accepted, 178 956 970 pixels: decoding it stays inside 2 GiB of memory."""

MAX_FILE_BYTES = 6 * MAX_PIXELS
"""Largest file read: the largest picture stored uncompressed with 16 bits per colour."""

JPEG_START = b"\xff\xd8\xff"

SEARCH_PIXELS = 3.2e6
"""Search size: graduations of a 0.5 m scale that fills the picture are 4 px apart, and the
search stays under a tenth of a second."""
JPEG_FACTORS = (2, 4, 8)
"""Reductions that decode whole blocks of 8 pixels from fewer of their frequencies."""

OTHER_FORMATS = ("PNG", "TIFF", "WEBP", "BMP", "GIF", "AVIF")
"""Formats besides JPEG that Pillow may open; others it knows (PostScript, ...) stay shut."""

SEVERAL_PHOTOS_FORMATS = ("GIF", "PNG", "TIFF", "WEBP", "AVIF")
"""Formats whose further frames are photos of their own (in MPO they are by-products)."""

SRGB_TOLERANCE_DN = 2
"""A profile that moves no colour by more than this counts as sRGB: the rounding of two
8-bit conversions, and below the noise of any photo."""

CAMERA_SHAPES = (4 / 3, 3 / 2, 16 / 9)
SHAPE_TOLERANCE = 0.01
"""Shapes of the pictures of phones and cameras (common practice, no source), and how far they
are off by rows left out for the sake of the compression's blocks."""

KNOWN_SUFFIXES = frozenset(
    {".jpg", ".jpeg", ".jpe", ".mpo", ".png", ".tif", ".tiff", ".webp"}
    | {".bmp", ".gif", ".heic", ".heif", ".hif", ".avif"}
)
"""File name endings (lower case) taken for photos when a whole folder is read."""

_ADVICE = "copy the photo from the phone or camera again"


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


def search_factor(size_px: tuple[int, int]) -> int:
    """Whole number by which a picture is reduced to search in, about ``SEARCH_PIXELS``."""
    width, height = size_px
    return max(round(float(np.sqrt(width * height / SEARCH_PIXELS))), 1)


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
    data = _read_bytes(path)
    try:
        pixels, exif, stored_size = _decode(data, path)
    except InputError:
        raise
    except Exception as error:  # decoders raise nearly anything on a malformed file
        reason = " ".join(str(error).split()) or type(error).__name__
        raise _bad(path, f"damaged or cut short ({reason})", _ADVICE) from error
    camera = exif.get_ifd(ExifTags.IFD.Exif)
    return Picture(
        size_px=pixels.size_px,
        decode=pixels.decode,
        reduced=pixels.reduced,
        focal_35mm=_focal_35mm(camera, stored_size),
        taken_at=_taken_at(camera),
        sha256=hashlib.sha256(data).hexdigest(),
        whole=_is_whole(*stored_size),
    )


def _is_whole(width: int, height: int) -> bool:
    """Whether a picture's sides are to each other as a camera's."""
    shape = max(width, height) / min(width, height)
    return any(abs(shape / usual - 1.0) < SHAPE_TOLERANCE for usual in CAMERA_SHAPES)


def to_linear(bgr: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Undo the sRGB encoding, so that averages and fits act on light.

    Parameters
    ----------
    bgr : ndarray, shape (M, N[, C]), uint8
        sRGB-encoded values.

    Returns
    -------
    ndarray, same shape, float32 in 0..1

    Notes
    -----
    v / 12.92 up to 0.04045, ((v + 0.055) / 1.055)^2.4 above [1]_. What a phone's own tone
    curve adds on top is unknown and stays in.

    References
    ----------
    .. [1] IEC 61966-2-1:1999, Colour management - Default RGB colour space - sRGB, 5.2.
    """
    linear: NDArray[np.float32] = cv2.LUT(bgr, _SRGB_TO_LINEAR)
    return linear


LUMA_WEIGHTS = (0.299, 0.587, 0.114)
"""Of sRGB-encoded red, green and blue in the brightness that a JPEG keeps of every pixel
(Rec. ITU-T T.871, from memory; OpenCV's grey has the same)."""


def brightness_alone(linear: NDArray[np.float64]) -> NDArray[np.float64]:
    """Linear light without its colours, which a JPEG keeps of every second pixel.

    Parameters
    ----------
    linear : (..., 3) array
        Linear light, RGB.

    Returns
    -------
    (..., 3) array
        The same in all three.
    """
    light = np.maximum(linear, 0.0)
    encoded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1.0 / 2.4) - 0.055)
    luma = _decoded(encoded @ np.array(LUMA_WEIGHTS))
    return np.repeat(luma[..., None], 3, axis=-1)


LEAST_LIGHT = 1e-3
"""Of white, next to black: a grey level of 8 bits is that much there."""


def to_log_light(bgr: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Natural logarithm of linear light, in which shade and exposure only add."""
    return np.asarray(np.log(np.maximum(to_linear(bgr), LEAST_LIGHT)))


def _srgb_to_linear_table() -> NDArray[np.float32]:
    return _decoded(np.arange(256) / 255.0).astype(np.float32)


def _decoded(encoded: NDArray[np.float64]) -> NDArray[np.float64]:
    """See `to_linear`."""
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


_SRGB_TO_LINEAR = _srgb_to_linear_table()


def _bad(path: Path, fault: str, mend: str) -> InputError:
    return InputError(f"{path}: {fault}; {mend}", code="bad_file")


def _read_bytes(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise _bad(path, "a folder, not a photo", "name the photos in it")
        if path.exists() and not path.is_file():
            raise _bad(path, "not an ordinary file", "name a photo")
        if path.stat().st_size > MAX_FILE_BYTES:
            raise _bad(path, "too large for a photo", f"{MAX_FILE_BYTES} bytes are the limit")
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise _bad(path, "no such file", "check its name") from error
    except PermissionError as error:
        raise _bad(path, "may not be read", "ask for permission to read it") from error
    except OSError as error:
        raise _bad(path, f"can't be read ({error.strerror})", _ADVICE) from error
    if not data:
        raise _bad(path, "empty file", _ADVICE)
    return data


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pixels:
    """Upright pixels, as in ``Picture``."""

    size_px: tuple[int, int]
    decode: Callable[[], NDArray[np.uint8]]
    reduced: NDArray[np.uint8] | None = None


def _decode(data: bytes, path: Path) -> tuple[_Pixels, Image.Exif, tuple[int, int]]:
    """Upright picture, EXIF, and the size (width, height) as the file stores it."""
    image = _open(data, path)
    stored_size = image.size
    if image.format in ("JPEG", "MPO") and image.mode in ("RGB", "L"):
        exif = _exif(image)
        return _jpeg(data, image, exif.get(ExifTags.Base.Orientation, 1)), exif, stored_size
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow's remarks on odd metadata
        image.load()
    exif = _exif(image)  # after load(): TIFF and HEIC arrive upright by then
    bgr = _rgb_to_bgr(_to_srgb(image, path))
    return _whole(_upright(bgr, exif.get(ExifTags.Base.Orientation, 1))), exif, stored_size


def _whole(bgr: NDArray[np.uint8]) -> _Pixels:
    height, width = bgr.shape[:2]
    return _Pixels(size_px=(width, height), decode=lambda: bgr)


def _jpeg(data: bytes, image: Image.Image, orientation: Any) -> _Pixels:
    """Decode to the size of the search where blocks of pixels allow it, else wholly."""
    profile, mode = image.info.get("icc_profile"), image.mode

    def pixels(factor: int) -> NDArray[np.uint8]:
        return _upright(_decode_jpeg(data, profile, mode, factor), orientation)

    factor = search_factor(image.size)
    if factor not in JPEG_FACTORS or image.width % factor or image.height % factor:
        return _whole(pixels(1))
    reduced = pixels(factor)
    width, height = reduced.shape[1] * factor, reduced.shape[0] * factor
    if {width, height} != set(image.size):  # at another scale every position would be wrong
        return _whole(pixels(1))
    return _Pixels(size_px=(width, height), decode=partial(pixels, 1), reduced=reduced)


def _open(data: bytes, path: Path) -> Image.Image:
    """Read the header alone."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # half of MAX_PIXELS earns a warning from Pillow
            if _is_heic(data):
                return _open_heic(data, path)
            if data.startswith(JPEG_START):
                image = Image.open(io.BytesIO(data), formats=("JPEG",))
            else:
                Image.init()  # all of Pillow's formats, which JPEG alone does not need
                image = Image.open(io.BytesIO(data), formats=OTHER_FORMATS)
    except Image.DecompressionBombError as error:
        raise _too_large(path) from error
    except UnidentifiedImageError as error:
        raise _bad(
            path,
            "not a photo this program can decode (JPEG, PNG, TIFF, WebP, BMP, HEIC, AVIF)",
            "export it as JPEG",
        ) from error
    frames = getattr(image, "n_frames", 1)
    if frames > 1 and image.format in SEVERAL_PHOTOS_FORMATS:
        raise _bad(path, f"holds {frames} pictures", "export the one to be read as JPEG")
    if image.width * image.height > MAX_PIXELS:
        raise _too_large(path)
    return image


def _too_large(path: Path) -> InputError:
    mega = MAX_PIXELS // 10**6
    return _bad(path, f"more than {mega} megapixels", "take it at the camera's usual size")


def _is_heic(data: bytes) -> bool:
    brands = data[8 : min(int.from_bytes(data[:4], "big"), 256)]
    return data[4:8] == b"ftyp" and not any(b in brands for b in (b"avif", b"avis"))


def _open_heic(data: bytes, path: Path) -> Image.Image:
    import pillow_heif  # a large library that most calls never need

    file = pillow_heif.open_heif(io.BytesIO(data))
    width, height = file.size
    if width * height > MAX_PIXELS:
        raise _too_large(path)
    image: Image.Image = file.to_pillow()
    return image


def _exif(image: Image.Image) -> Image.Exif:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            exif = image.getexif()
            exif.get_ifd(ExifTags.IFD.Exif)
    except Exception:  # a photo is worth reading without its EXIF
        return Image.Exif()
    return exif


def _decode_jpeg(
    data: bytes, profile: bytes | None, mode: str, factor: int
) -> NDArray[np.uint8]:
    transform = _transform_to_srgb(profile, mode) if profile else None
    if transform is None:
        return _jpeg_pixels(data, "BGR", factor)
    colours = "GRAY" if mode == "L" else "RGB"
    stored = Image.fromarray(_jpeg_pixels(data, colours, factor).squeeze())
    in_place = mode == "RGB"  # a quarter of the time of a 12-megapixel photo
    converted = ImageCms.applyTransform(stored, transform, inPlace=in_place)
    return _rgb_to_bgr(stored if in_place else converted)


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


def _to_srgb(image: Image.Image, path: Path) -> Image.Image:
    """Any pixel format to 8-bit sRGB without transparency."""
    profile = image.info.get("icc_profile")
    if image.mode.startswith("I;16"):
        # 257 = 65535 / 255: full scale stays full scale.
        image = Image.fromarray(((np.asarray(image, np.uint32) + 128) // 257).astype(np.uint8))
    if image.mode in ("I", "F", "LAB", "HSV"):
        raise _bad(path, f"pixels of kind {image.mode!r}", "export it with 8 bits per colour")
    if image.has_transparency_data:
        layer = image.convert("RGBA")
        white = Image.new("RGBA", layer.size, "white")
        image = Image.alpha_composite(white, layer).convert("RGB")
    if image.mode not in ("RGB", "L", "CMYK"):
        image = image.convert("L" if image.mode == "1" else "RGB")
    transform = _transform_to_srgb(profile, image.mode) if profile else None
    if transform is not None:
        return ImageCms.applyTransform(image, transform) or image
    return image.convert("RGB")


@lru_cache(maxsize=16)
def _transform_to_srgb(profile: bytes, mode: str) -> ImageCms.ImageCmsTransform | None:
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


def _rgb_to_bgr(image: Image.Image | None) -> NDArray[np.uint8]:
    bgr: NDArray[np.uint8] = cv2.cvtColor(np.asarray(image), cv2.COLOR_RGB2BGR)
    return bgr


def _upright(bgr: NDArray[np.uint8], orientation: Any) -> NDArray[np.uint8]:
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


def _focal_35mm(camera: dict[int, Any], stored_size: tuple[int, int]) -> float | None:
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


def _taken_at(camera: dict[int, Any]) -> str | None:
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
