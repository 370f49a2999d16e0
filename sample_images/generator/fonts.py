"""Finding TrueType fonts fit for numerals on whatever machine this runs."""

from __future__ import annotations

import re
import sys
from functools import cache
from pathlib import Path

from PIL import ImageFont

FOLDERS = (
    "/usr/share/fonts",
    "/usr/local/share/fonts",
    "~/.fonts",
    "~/.local/share/fonts",
    "/Library/Fonts",
    "/System/Library/Fonts",
    "C:/Windows/Fonts",
)
UNFIT = re.compile(
    r"italic|oblique|obli|bdita|bolita|lin[a-z]+_[ik]|symbol|emoji|smallcaps|math|thin|extralight|initials|dingbat|d05000|"
    r"z003|outline|-it\b|hairline|keyboard|ultrablack|shadow|chancery|^noto(?!sans-|serif-|mono)",
    re.IGNORECASE,
)
LEFT_FOR_LAST = re.compile("dejavu", re.IGNORECASE)  # the commonest default: not a new look
EVEN_HEIGHT = 0.06  # lining figures: heights equal within this share


@cache
def families() -> tuple[tuple[str, ...], ...]:
    """Paths of usable fonts, grouped by family, sorted.

    Fonts of the last resort (those every machine has) are offered only where nothing else
    is installed.
    """
    found: dict[str, list[str]] = {}
    for folder in (*FOLDERS, *_matplotlib_folder()):
        root = Path(folder).expanduser()
        if not root.is_dir():
            continue
        for path in sorted(root.rglob("*")):
            if path.suffix.lower() not in (".ttf", ".otf") or UNFIT.search(path.name):
                continue
            if _has_lining_figures(str(path)):
                found.setdefault(re.split(r"[-_]", path.stem)[0].lower(), []).append(str(path))
    fresh = {k: v for k, v in found.items() if not LEFT_FOR_LAST.search(k)}
    return tuple(tuple(v) for _, v in sorted((fresh or found).items()))


def _matplotlib_folder() -> tuple[str, ...]:
    for entry in sys.path:
        folder = Path(entry) / "matplotlib" / "mpl-data" / "fonts" / "ttf"
        if folder.is_dir():
            return (str(folder),)
    return ()


def _has_lining_figures(path: str) -> bool:
    try:
        font = ImageFont.truetype(path, 60)
        boxes = [font.getmask(c).getbbox() for c in "0123456789"]
    except OSError:
        return False
    if any(b is None for b in boxes):
        return False
    tops = [font.getbbox(c) for c in "0123456789"]
    heights = [t[3] - t[1] for t in tops]
    shapes = {bytes(font.getmask(c)) for c in "0123456789"}
    even = max(heights) - min(heights) <= EVEN_HEIGHT * max(heights) + 1
    return even and len(shapes) == 10 and min(heights) > 20


def sized(path: str | None, digit_height_px: float) -> ImageFont.FreeTypeFont:
    """The font at the size at which its figures are ``digit_height_px`` tall."""
    if path is None:
        fallback = ImageFont.load_default(100.0)
        assert isinstance(fallback, ImageFont.FreeTypeFont)
        box = fallback.getbbox("0")
        scaled = ImageFont.load_default(max(100.0 * digit_height_px / (box[3] - box[1]), 4.0))
        assert isinstance(scaled, ImageFont.FreeTypeFont)
        return scaled
    box = ImageFont.truetype(path, 100).getbbox("0")
    return ImageFont.truetype(path, max(100.0 * digit_height_px / (box[3] - box[1]), 4.0))
