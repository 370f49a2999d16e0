"""Files of photos: which are read at all, and what is said of the others."""

from __future__ import annotations

import io
import warnings
from pathlib import Path

from PIL import Image, UnidentifiedImageError

from limbsight.errors import InputError

BYTES_PER_PIXEL = 12
"""Peak memory of decoding: decoder's copy (4), array (3), turned copy (3), rounded up."""
MAX_PIXELS = 2 * 1024**3 // BYTES_PER_PIXEL
"""Largest picture accepted, 178 956 970 pixels: decoding it stays inside 2 GiB of memory."""
MAX_FILE_BYTES = 6 * MAX_PIXELS
"""Largest file read: the largest picture stored uncompressed with 16 bits per colour."""
JPEG_START = b"\xff\xd8\xff"
OTHER_FORMATS = ("PNG", "TIFF", "WEBP", "BMP", "GIF", "AVIF")
"""Formats besides JPEG that Pillow may open; others it knows (PostScript, ...) stay shut."""
SEVERAL_PHOTOS_FORMATS = ("GIF", "PNG", "TIFF", "WEBP", "AVIF")
"""Formats whose further frames are photos of their own (in MPO they are by-products)."""
COPY_AGAIN = "copy the photo from the phone or camera again"


def read_bytes(path: Path) -> bytes:
    """All of a file, if it may be a photo."""
    try:
        if path.is_dir():
            raise bad_file(path, "a folder, not a photo", "name the photos in it")
        if path.exists() and not path.is_file():
            raise bad_file(path, "not an ordinary file", "name a photo")
        if path.stat().st_size > MAX_FILE_BYTES:
            raise bad_file(
                path, "too large for a photo", f"{MAX_FILE_BYTES} bytes are the limit"
            )
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise bad_file(path, "no such file", "check its name") from error
    except PermissionError as error:
        raise bad_file(path, "may not be read", "ask for permission to read it") from error
    except OSError as error:
        raise bad_file(path, f"can't be read ({error.strerror})", COPY_AGAIN) from error
    if not data:
        raise bad_file(path, "empty file", COPY_AGAIN)
    return data


def open_image(data: bytes, path: Path) -> Image.Image:
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
        raise bad_file(
            path,
            "not a photo this program can decode (JPEG, PNG, TIFF, WebP, BMP, HEIC, AVIF)",
            "export it as JPEG",
        ) from error
    frames = getattr(image, "n_frames", 1)
    if frames > 1 and image.format in SEVERAL_PHOTOS_FORMATS:
        raise bad_file(path, f"holds {frames} pictures", "export the one to be read as JPEG")
    if image.width * image.height > MAX_PIXELS:
        raise _too_large(path)
    return image


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


def _too_large(path: Path) -> InputError:
    mega = MAX_PIXELS // 10**6
    return bad_file(path, f"more than {mega} megapixels", "take it at the camera's usual size")


def bad_file(path: Path, fault: str, mend: str) -> InputError:
    """Return the error that names file, fault and mend."""
    return InputError(f"{path}: {fault}; {mend}", code="bad_file")
