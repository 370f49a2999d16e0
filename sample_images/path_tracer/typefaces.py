"""Which fonts figures and words are printed in.

A seed draws one of a list, so the same photograph needs the same list. That of the
photographs that the level network has learnt from is in DEVELOPERS.md.
"""

from __future__ import annotations

from pathlib import Path

from PIL import ImageFont

from limbsight.errors import InputError
from sample_images.generator.fonts import families

Typefaces = tuple[str | None, ...]
"""Paths of font files; None for the font that Pillow carries."""

ENDINGS = (".ttf", ".otf")
VARIABLE_WEIGHT = "wght"
"""A font with one axis, the weight, has this in its file's name."""


def in_folder(folder: Path) -> Typefaces:
    """Font files of a folder by name.

    Raises
    ------
    InputError
        ``bad_input``: there is none in it.
    """
    found = sorted(str(p) for p in folder.glob("*") if p.suffix.lower() in ENDINGS)
    if not found:
        raise InputError(f"{folder}: no fonts ({', '.join('*' + e for e in ENDINGS)}) in it")
    return tuple(found)


def of_this_machine() -> Typefaces:
    """What is installed and has figures fit for a scale; else what Pillow carries."""
    return tuple(path for family in families() for path in family) or (None,)


def sized(
    path: str | None, size: int, weight: float
) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """The font at a size [px], at the weight (400 to 700) if it has that axis."""
    if path is None:
        return ImageFont.load_default(size)
    font = ImageFont.truetype(path, size)
    if VARIABLE_WEIGHT in Path(path).name:
        font.set_variation_by_axes([weight])
    return font
