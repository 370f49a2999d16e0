"""Count levels found on strips of photographs with truth: by steps, and with the network.

    python vision/training/measure_levels.py PHOTOS [--axis-error 0.06] [--match TEXT]

PHOTOS is a folder as ``python -m sample_images.generator`` writes it (draw seeds below 1000:
the training begins at 20000). Tubes are straightened by the true camera, then moved and
widened at random as a reader's are.
"""

# mypy: ignore-errors
# A script beside the product.

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from drawing import camera_of

from limbsight.vision.level_choice import is_in_doubt, settle_by_both
from limbsight.vision.level_net import look, look_again
from limbsight.vision.levels import find_layers
from limbsight.vision.picture import load_picture
from limbsight.vision.tube_strip import TubeStrip

MOST_COLUMNS = 48
"""Columns to an outside diameter at most, as the reader reduces wide tubes."""
HALF_WIDTHS = 1.5
END_SHARE = 0.15
"""How far strips go on beyond the ends of the scale, as the reader's do."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """One strip, where its levels are, and whether they can be seen."""

    strip: TubeStrip
    rows: tuple[int, int]
    levels: list[float]
    hidden: bool


def cases(path: Path, axis_error: float, rng: np.random.Generator) -> list[Case]:
    truth = json.loads(path.read_text(encoding="utf-8"))
    bgr = load_picture(path.with_suffix(".jpg")).bgr
    camera = camera_of(truth, bgr.shape[:2])
    graduation, tube = truth["graduation"], truth["tube"]
    sign = -1.0 if graduation["labels"] == "downward" else 1.0
    ends = [
        graduation["y_zero"] + sign * graduation[k] * graduation["unit_mm"]
        for k in ("lo", "hi")
    ]
    low, high = sorted(ends)
    found = []
    for i, x in enumerate(tube["x"]):
        wrong = float(np.exp(np.clip(rng.normal(0, axis_error / 2), -0.1, 0.1)))
        aside = float(np.clip(rng.normal(0, axis_error), -0.15, 0.15)) * 2 * tube["ro"]
        width = 2 * tube["ro"] * wrong
        density = np.ptp(
            camera.project(np.array([[x, low, tube["z"]], [x, high, tube["z"]]])), axis=0
        )
        step = max(
            float(high - low) / float(np.hypot(*density)), 2 * tube["ro"] / MOST_COLUMNS
        )
        top = high + END_SHARE * (high - low)
        y = top - (np.arange(int((1 + 2 * END_SHARE) * (high - low) / step)) + 0.5) * step
        columns = int(2 * HALF_WIDTHS * width / step)
        across = x + aside + (np.arange(columns) + 0.5 - columns / 2) * step
        grid = np.stack(np.broadcast_arrays(across[None, :], y[:, None], tube["z"]), axis=-1)
        px = camera.project(grid.reshape(-1, 3)).reshape(len(y), columns, 2).astype(np.float32)
        factor = max(int(step * np.hypot(*density) / (high - low)), 1)
        small = cv2.resize(
            bgr, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA
        )
        at = (px + 0.5) / factor - 0.5
        seen = cv2.remap(
            small, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        middle = px[:, columns // 2]
        inside = ((middle > 2) & (middle < np.array(bgr.shape[1::-1]) - 3)).all(axis=1)
        bore = 2 * tube["ri"] * wrong / step
        rows = (int((top - high) / step - bore), int((top - low) / step + bore))
        strip = TubeStrip(
            bgr=seen, bore_columns=bore, width_columns=width / step, inside_picture=inside
        )
        levels = [
            float(np.argmin(np.hypot(*(middle - np.array(m["px"])).T)))
            for m in truth["menisci"][i]
        ]
        found.append(Case(strip=strip, rows=rows, levels=levels, hidden=i in truth["hidden"]))
    return found


def count(case: Case) -> np.ndarray:
    """Levels; found by steps; found with the network; of these doubted; false, not doubted."""
    wanted = max(len(case.levels), 1)
    steps = find_layers(case.strip, wanted, case.rows)
    both, _ = settle_by_both(
        steps,
        look(case.strip),
        lambda: look_again(case.strip),
        case.strip.width_columns,
        wanted,
        case.rows,
    )
    bore = case.strip.bore_columns

    def right(layers) -> int:
        return sum(
            any(abs(i.row - level) < 0.5 * bore for i in layers.interfaces)
            for level in case.levels
        )

    doubted = is_in_doubt(both, wanted)
    false = sum(
        all(abs(i.row - level) > bore for level in case.levels) for i in both.interfaces
    )
    if case.hidden:
        return np.array([0, 0, 0, 0, 0 if doubted else false])
    found = right(both)
    return np.array(
        [len(case.levels), right(steps), found, found * doubted, 0 if doubted else false]
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("photos", type=Path)
    parser.add_argument("--axis-error", type=float, default=0.06)
    parser.add_argument("--match", default="")
    a = parser.parse_args()
    rng = np.random.default_rng(5)
    table: dict[str, np.ndarray] = {}
    for path in sorted(a.photos.glob("*.json")):
        cls = path.stem.rsplit("_", 1)[0]
        # Where nothing is drawn, the truth still tells what might have been.
        if a.match not in path.stem or cls == "neg_missing":
            continue
        for case in cases(path, a.axis_error, rng):
            table[cls] = table.get(cls, 0) + count(case)
    print(f"{'class':16s} levels  steps  both  doubted  false")
    for cls, row in {**table, "all": sum(table.values())}.items():
        print(f"{cls:16s} {row[0]:6d} {row[1]:6d} {row[2]:5d} {row[3]:8d} {row[4]:6d}")


if __name__ == "__main__":
    main()
