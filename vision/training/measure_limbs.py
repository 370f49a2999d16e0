"""Count tubes that the networks of limbs find before straightened boards, and how wide.

    python vision/training/measure_limbs.py BOARDS...

BOARDS are folders as ``straighten_boards.py`` writes them, of photographs that the networks
have not learnt from. They are told a width that is off at random, as the reader's first guess
is.
"""

# mypy: ignore-errors
# A script beside the product.

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from drawing import BRIGHTEST, GAMMA

from limbsight.vision.limb_net import propose_limbs
from sample_images.generator.phone import encode_srgb

TOLD_ERROR = 0.2
"""Greatest error of ln(width) that the networks are told."""
PROBABLE = 0.2
"""Probability from which a place counts."""
ON_AXIS_WIDTHS, AT_TUBE_WIDTHS, WIDTH_OFF = 0.1, 0.3, 1.15


@dataclass(kw_only=True)
class Count:
    boards: int = 0
    tubes: int = 0
    on_axis: int = 0
    width_off: int = 0
    elsewhere: int = 0

    def add(self, bgr, tubes, rng) -> None:
        width = tubes[0, 1]
        told = width * np.exp(rng.uniform(-TOLD_ERROR, TOLD_ERROR))
        seen = propose_limbs(bgr, told)
        candidates = seen.candidates if seen else ()
        at = np.array([c.centre_column for c in candidates if c.probability >= PROBABLE])
        off = np.abs(at[:, None] - tubes[:, 0]) / width
        self.boards += 1
        self.tubes += len(tubes)
        self.on_axis += int((off < ON_AXIS_WIDTHS).any(axis=0).sum())
        self.elsewhere += int((off >= AT_TUBE_WIDTHS).all(axis=1).sum())
        ratio = seen.width_columns / width if seen else 0.0
        self.width_off += not 1 / WIDTH_OFF <= ratio <= WIDTH_OFF

    def text(self) -> str:
        return (
            f"{self.boards} boards, {self.tubes} tubes: {self.on_axis / self.tubes:.3f} seen "
            f"within {ON_AXIS_WIDTHS} widths, width off by more than {WIDTH_OFF - 1:.0%} on "
            f"{self.width_off / self.boards:.3f} of boards, {self.elsewhere} other places"
        )


def as_photographed(light: np.ndarray) -> np.ndarray:
    """Pixels of a photograph of light as ``drawing.stored`` keeps it."""
    srgb = encode_srgb(BRIGHTEST * (light / 255.0) ** GAMMA)
    return np.round(255 * srgb).astype(np.uint8)


def main() -> None:
    rng, count = np.random.default_rng(5), Count()
    paths = [path for folder in sys.argv[1:] for path in sorted(Path(folder).glob("*.npz"))]
    for path in paths:
        with np.load(path) as board:
            light, tubes = cv2.imdecode(board["picture"], cv2.IMREAD_COLOR), board["tubes"]
        if len(tubes):
            count.add(as_photographed(light), tubes, rng)
    if not count.boards:
        sys.exit(__doc__)
    print(count.text())


if __name__ == "__main__":
    main()
