"""Cut tube strips out of photographs with truth, to train the network of levels on.

    python vision/training/strips_of_photos.py OUT PHOTOS...

PHOTOS are folders of photographs with a truth file beside each, in the form of
``sample_images.generator``. Each is read with the instrument file that its owner would keep,
and every tube is kept as the network sees it then: about the axis that the reader found.
Where its levels are comes from the truth, and a tube that is not where the truth has it is
left out, and so are photographs that are no good example: those not to be read, and those with
hidden levels, whose truth does not say all that the tube shows.

Each .npz is like one of ``render_strips.py``; ``state`` is unknown throughout.
"""

# mypy: ignore-errors
# A script beside the product.

from __future__ import annotations

import json
import sys
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from drawing import cut_many, stored
from render_strips import COLUMNS_PER_WIDTH, MOST_ROWS, STRIP_WIDTHS, UNKNOWN

import limbsight
from limbsight import read_limb
from limbsight.calib.instrument_file import parse_instrument
from limbsight.errors import LimbsightError
from limbsight.vision.light import to_linear
from tests.renders import instrument_text

OFF_WIDTHS = 0.25
"""A tube is where the truth has it when the pixels of its levels are nearer than this."""
LEAST_ROWS = 40
JPEG_QUALITY = 90
MERCURY, UNDER_LIQUID, UNDER_GAS = 3, 2, 1


@dataclass(frozen=True)
class Looked:
    """A tube that the reader looked at."""

    scene: object
    across: float
    split: object


def strips(photo: Path) -> list[dict[str, np.ndarray]]:
    """Cut the strips of all tubes of one photograph."""
    truth = json.loads(photo.with_suffix(".json").read_text(encoding="utf-8"))
    if truth["cls"].startswith("neg") or truth.get("hidden"):
        return []
    rng = np.random.default_rng([truth["seed"], zlib.crc32(truth["cls"].encode())])
    found = []
    tubes = dict(enumerate(truth["menisci"]))
    for looked in _looked_at(photo, truth):
        limb = next((i for i, m in tubes.items() if _is_there(looked, m)), None)
        if limb is not None:
            found += _pieces(looked, tubes.pop(limb), limb, truth, rng)
    return found


def _looked_at(photo: Path, truth) -> list[Looked]:
    """Read the photograph; what it comes to does not matter."""
    looked: dict[float, Looked] = {}
    about_axis = read_limb._about_axis

    def watched(scene, across, split):
        answer = about_axis(scene, across, split)
        looked[round(answer[0], 2)] = Looked(scene, answer[0], answer[1])
        return answer

    read_limb._about_axis = watched
    try:
        limbsight.read_photo(photo, instrument=parse_instrument(instrument_text(truth)))
    except LimbsightError:
        pass
    finally:
        read_limb._about_axis = about_axis
    return list(looked.values())


def _heights(looked: Looked, menisci) -> list[float]:
    spec = looked.scene.known.instrument.scale
    readings = [meniscus["reading"] for meniscus in menisci]
    if spec.numbers == "downward":
        return [spec.lowest + spec.highest - reading for reading in readings]
    return readings


def _is_there(looked: Looked, menisci) -> bool:
    tube = looked.split.tube
    plane, width = looked.scene.scale.map.plane(), tube.seen.width_columns * tube.grid.step
    heights = np.array(_heights(looked, menisci))

    def pixels(across):
        x, y = plane.to_pixel(np.full(len(heights), across), heights, tube.grid.in_front)
        return np.stack([x, y], axis=1)

    at = pixels(looked.across)
    width_px = np.hypot(*(pixels(looked.across + width) - at).T)
    off_px = np.hypot(*(at - np.array([meniscus["px"] for meniscus in menisci])).T)
    return bool((off_px < OFF_WIDTHS * width_px).all())


def _pieces(looked: Looked, menisci, limb: int, truth, rng) -> Iterator[dict[str, np.ndarray]]:
    """The strip about the levels, and another piece of it where it is longer than that."""
    tube, known = looked.split.tube, looked.scene.known
    name = known.limb_names(len(truth["menisci"]))[limb]
    light, size = _light(tube.seen)
    rows = [
        (tube.grid.row_at(height) + 0.5) * size - 0.5 for height in _heights(looked, menisci)
    ]
    kinds = [_kind(known, name, k) for k in range(len(rows))]
    spare = len(light) - MOST_ROWS
    starts = [0]
    if spare > 0:
        about = np.clip(np.mean(rows) - MOST_ROWS / 2, 0, spare)
        starts = [int(about), int(rng.integers(0, spare))]
    for start in starts:
        piece = light[start : start + MOST_ROWS]
        levels = [
            (row - start, kind)
            for row, kind in zip(rows, kinds, strict=True)
            if 0 <= row - start < len(piece)
        ]
        if len(piece) >= LEAST_ROWS:
            bright = float(np.percentile(piece.max(axis=2), 98.0))
            yield {
                "picture": stored(piece / bright, JPEG_QUALITY),
                "levels": np.array(levels, np.float32).reshape(-1, 2),
                "state": np.full(len(piece), UNKNOWN, np.uint8),
                "bore": np.float32(truth["tube"]["ri"] / truth["tube"]["ro"]),
            }


def _kind(known, limb: str, k: int) -> int:
    if known.optics(limb, k).opaque_mirror:
        return MERCURY
    return UNDER_LIQUID if known.is_between_liquids(limb, k) else UNDER_GAS


def _light(strip) -> tuple[np.ndarray, float]:
    """Linear light, RGB, as wide as of drawn strips, and rows of that to one of the strip."""
    size = COLUMNS_PER_WIDTH / strip.width_columns
    rows, columns = round(strip.bgr.shape[0] * size), round(strip.bgr.shape[1] * size)
    light = cv2.resize(
        to_linear(strip.bgr),
        (columns, rows),
        interpolation=cv2.INTER_AREA if size < 1 else cv2.INTER_LINEAR,
    )
    wanted = round(STRIP_WIDTHS * COLUMNS_PER_WIDTH)
    missing = max(wanted - columns, 0)
    sides = (missing // 2, missing - missing // 2)
    light = cv2.copyMakeBorder(light, 0, 0, *sides, cv2.BORDER_REPLICATE)
    left = (light.shape[1] - wanted) // 2
    return light[:, left : left + wanted, ::-1], rows / strip.bgr.shape[0]


if __name__ == "__main__":
    cut_many(__doc__, strips)
