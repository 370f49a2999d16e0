"""Draw the glyphs of many typefaces into one atlas for training the numeral reader.

Recipe: a folder of TrueType or OpenType files (Debian's ``fonts-*`` packages were used),
less those with text figures, since graduated scales carry lining figures. Run::

    python glyphs.py FONT_FOLDER glyphs.npz
"""

# mypy: ignore-errors
# A script beside the product: its libraries are no dependencies and need no types.

from __future__ import annotations

import re
import sys
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

CHARACTERS = "0123456789.abcghikmnprsHOP,-"
DIGIT_HEIGHT_PX = 40
CELL_PX = 64
BASELINE_PX = 51
LINING_TOLERANCE = 0.12
"""Figures of one face may differ in height by this fraction; more means text figures."""


def figure_height(font: ImageFont.FreeTypeFont) -> float:
    """Mean height of the ten figures; 0 if they are not lining figures."""
    boxes = np.array([font.getbbox(figure, anchor="ls") for figure in "0123456789"])
    heights = boxes[:, 3] - boxes[:, 1]
    lining = np.ptp(heights) <= LINING_TOLERANCE * heights.max()
    return float(heights.mean()) if lining else 0.0


def draw_face(path: Path) -> tuple[np.ndarray, np.ndarray] | None:
    """Glyph cells (len(CHARACTERS), CELL_PX, CELL_PX) uint8 and advances in pixels."""
    height = figure_height(ImageFont.truetype(str(path), 200))
    if height == 0.0:
        return None
    font = ImageFont.truetype(str(path), round(200 * DIGIT_HEIGHT_PX / height))
    cells = np.zeros((len(CHARACTERS), CELL_PX, CELL_PX), np.uint8)
    for cell, character in zip(cells, CHARACTERS, strict=True):
        image = Image.new("L", (CELL_PX, CELL_PX))
        ImageDraw.Draw(image).text((8, BASELINE_PX), character, 255, font, anchor="ls")
        cell[:] = np.asarray(image)
    return cells, np.array([font.getlength(c) for c in CHARACTERS], np.float32)


def family(path: Path) -> str:
    """Design family by file name, so that many weights of one face don't outvote others."""
    return re.split(r"[-_ ]|Bold|Std|\d", path.stem)[0].lower()[:9]


def main(folder: str, target: str) -> None:
    """Write the atlas of every usable face below a folder."""
    faces, names = [], []
    for path in sorted(Path(folder).rglob("*.[to]tf")):
        face = draw_face(path)
        if face is not None:
            faces.append(face)
            names.append(path)
    families = sorted({family(name) for name in names})
    np.savez_compressed(
        target,
        cells=np.stack([face[0] for face in faces]),
        advances=np.stack([face[1] for face in faces]),
        family=np.array([families.index(family(name)) for name in names]),
        names=np.array([name.name for name in names]),
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
