"""Measure how often the numbers of drawn scales are decoded wrongly, and at what margin.

Draws scales in faces the network never saw, with a renderer unlike the one it was trained
with (whole boards, drawn large, then a homography and a camera's blur, noise and JPEG), and
decodes them with the geometry known but for small errors. Prints counts per margin. Run::

    python measure_numerals.py FONT_FOLDER COUNT SEED [PICTURE_FOLDER]
"""

# mypy: ignore-errors
# A script beside the product: its libraries are no dependencies and need no types.

from __future__ import annotations

import json
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from limbsight.vision.numbering import BARE_DIVISIONS
from limbsight.vision.numerals import (
    NumeralVerdict,
    ScaleGeometry,
    bare_hypotheses,
    known_scale_hypotheses,
    read_numerals,
)

OVERSAMPLING = 2
WIDE_PX = 560
STEPS = (1.0, 2.0, 2.5, 5.0)


@dataclass(frozen=True)
class Scale:
    """A numbering and a look, drawn at random."""

    numbered_every: int
    division: float
    numbers: str
    lowest: float
    highest: float
    pitch: float
    height: float
    layout: str
    gap: float
    fixed: bool

    @property
    def values(self) -> np.ndarray:
        """Signed values from the bottom up."""
        count = round((self.highest - self.lowest) / self.division) + 1
        up = self.lowest + self.division * np.arange(count)
        return up[::-1] if self.numbers == "downward" else up

    def text(self, value: float) -> str:
        """As printed."""
        step = self.numbered_every * self.division
        decimals = len(f"{step:.4f}".rstrip("0").split(".")[1])
        text = f"{abs(value):.{decimals}f}"
        return text if self.fixed or not decimals else text.rstrip("0").rstrip(".")


def draw_scale(rng: np.random.Generator) -> Scale:
    """A random scale of common practice."""
    while True:
        every, division = rng.choice((2, 4, 5, 10, 10, 10, 20)), rng.choice(BARE_DIVISIONS)
        step = every * division
        if 0.09 < step < 600 and any(
            np.isclose(step / 10.0 ** np.floor(np.log10(step) + 1e-9), s) for s in STEPS
        ):
            break
    pitch = np.exp(rng.uniform(np.log(3.0), np.log(16.0)))
    height = min(rng.uniform(6.5, 26.0), 0.75 * every * pitch)
    numbers = rng.choice(("upward", "downward", "away-from-zero"), p=(0.5, 0.2, 0.3))
    labels = int(np.clip(rng.uniform(250, 1300) / (every * pitch), 2, 45))
    start = 0 if rng.random() < 0.6 else int(rng.integers(0, 60))
    if numbers == "away-from-zero":
        start = -int(rng.integers(1, max(2, labels)))
    layouts = ("left", "right", "between", "lines", "margin")
    return Scale(
        numbered_every=int(every),
        division=float(division),
        numbers=str(numbers),
        lowest=float(start * step),
        highest=float((start + labels) * step),
        pitch=float(pitch),
        height=float(height),
        layout=str(rng.choice(layouts)),
        gap=float(rng.uniform(0.15, 2.5)),
        fixed=bool(rng.random() < 0.5),
    )


def draw_board(scale: Scale, face: Path, rng: np.random.Generator) -> tuple[np.ndarray, float]:
    """Board at OVERSAMPLING with the spine in its middle; returns lines' half length too."""
    s = OVERSAMPLING
    values = scale.values
    tall = round((len(values) - 1) * scale.pitch + 160)
    board_tone, ink_tone = rng.uniform(130, 250), rng.uniform(0, 90)
    if rng.random() < 0.2:
        board_tone, ink_tone = rng.uniform(15, 70), rng.uniform(140, 250)
    ink_tone = ink_tone + (board_tone - ink_tone) * rng.choice((0, rng.uniform(0, 0.6)))
    image = Image.new("L", (WIDE_PX * s, tall * s), round(board_tone))
    pen = ImageDraw.Draw(image)
    if rng.random() < 0.4:
        strip = rng.uniform(60, 200) * s
        pen.rectangle(
            (WIDE_PX * s / 2 - strip, 10, WIDE_PX * s / 2 + strip, tall * s - 10),
            fill=round(min(255, board_tone + 15)),
        )
    for _ in range(rng.integers(0, 3)):
        x = rng.uniform(0, WIDE_PX) * s
        pen.rectangle(
            (x, 0, x + rng.uniform(1, 14) * s, tall * s), fill=round(rng.uniform(60, 255))
        )
    font = ImageFont.truetype(str(face), 100)
    box = font.getbbox("0", anchor="ls")
    font = ImageFont.truetype(
        str(face), max(6, round(100 * scale.height * s / (box[3] - box[1])))
    )
    lengths = np.array([0.55, 0.75, 1.0]) * rng.uniform(14, 40)
    if scale.layout in ("lines", "margin"):
        lengths = np.array([1.0, 1.0, 1.0]) * rng.uniform(90, 150)
    widest = max(font.getlength(scale.text(v)) for v in values[:: max(1, len(values) // 50)])
    thick = max(1, round(s * rng.uniform(0.08, 0.25) * scale.pitch))
    middle, gap = WIDE_PX * s / 2, scale.gap * scale.height * s
    shift = rng.normal(0, 0.06) * scale.height * s
    for k, value in enumerate(values):
        y = (tall - 80 - k * scale.pitch) * s
        numbered = round(value / scale.division) % scale.numbered_every == 0
        half = (
            scale.numbered_every % 2 == 0
            and round(value / scale.division) % (scale.numbered_every // 2) == 0
        )
        length = lengths[2 if numbered else 1 if half else 0] * s
        left, right, text_x, anchor = spans(
            scale.layout, middle, length, lengths[2] * s, gap, widest, numbered
        )
        for a, b in (left, right):
            pen.line((a, y, b, y), fill=round(ink_tone), width=thick)
        if numbered:
            pen.text(
                (text_x, y + shift + (box[3] - box[1]) / 200 * font.size),
                scale.text(value),
                round(ink_tone),
                font,
                anchor=anchor,
            )
    return np.asarray(image), float(lengths[2])


def spans(
    layout: str,
    middle: float,
    length: float,
    longest: float,
    gap: float,
    widest: float,
    numbered: bool,
):
    """Two line spans, and where the text goes."""
    if layout == "right":
        return (
            (middle - longest, middle - longest + 2 * length),
            (0, 0),
            middle + longest + gap,
            "ls",
        )
    if layout == "left":
        return (
            (middle + longest - 2 * length, middle + longest),
            (0, 0),
            middle - longest - gap,
            "rs",
        )
    if layout == "between":
        inner = widest / 2 + min(gap, 40)
        return (
            (middle - inner - length, middle - inner),
            (middle + inner, middle + inner + length),
            middle,
            "ms",
        )
    if layout == "margin":
        return (middle - length, middle + length), (0, 0), middle + longest + gap, "ls"
    hole = widest / 2 + min(gap, 12) if numbered else 0
    return (middle - length, middle - hole), (middle + hole, middle + length), middle, "ms"


def photograph(board: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Picture of a board and the homography from board pixels (not oversampled)."""
    tall, wide = board.shape[0] / OVERSAMPLING, board.shape[1] / OVERSAMPLING
    corners = np.array([[0, 0], [wide, 0], [wide, tall], [0, tall]], np.float32)
    angle = rng.normal(0, 0.06)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    moved = (corners - corners.mean(0)) @ turn.T + rng.uniform(-0.06, 0.06, (4, 2)) * wide
    moved -= moved.min(0) - 12
    size = tuple(int(v) for v in moved.max(0) + 12)
    plane = cv2.getPerspectiveTransform(corners, moved.astype(np.float32))
    soft = cv2.GaussianBlur(board, (0, 0), 0.7 * OVERSAMPLING / 2)
    scale = np.diag([1 / OVERSAMPLING, 1 / OVERSAMPLING, 1.0])
    picture = cv2.warpPerspective(
        soft,
        plane @ scale,
        size,
        flags=cv2.INTER_LINEAR,
        borderValue=float(rng.uniform(0, 255)),
    )
    return picture, plane


def spoil(picture: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Things in front, uneven light, blur, noise, sharpening, JPEG."""
    image = picture.astype(np.float32)
    for _ in range(rng.integers(0, 3) if rng.random() < 0.4 else 0):
        x, y = rng.uniform(0, image.shape[1]), rng.uniform(0, image.shape[0])
        image[
            int(y) : int(y + rng.uniform(20, 150)), int(x) : int(x + rng.uniform(40, 250))
        ] = rng.uniform(0, 255)
    image *= np.linspace(1, rng.uniform(0.6, 1.2), image.shape[0], dtype=np.float32)[:, None]
    blur = np.exp(rng.uniform(np.log(0.3), np.log(2.4)))
    image = cv2.GaussianBlur(
        image, (0, 0), blur, sigmaY=blur * rng.choice((1.0, rng.uniform(0.6, 1.8)))
    )
    image += rng.normal(0, rng.uniform(0.5, 10), image.shape)
    if rng.random() < 0.5:
        image += rng.uniform(0.2, 1.0) * (image - cv2.GaussianBlur(image, (0, 0), 1.2))
    quality = [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(60, 96))]
    _, code = cv2.imencode(".jpg", np.clip(image, 0, 255).astype(np.uint8), quality)
    return cv2.imdecode(code, cv2.IMREAD_GRAYSCALE)


def geometry_of(
    scale: Scale, tall: float, plane: np.ndarray, half: float, rng: np.random.Generator
) -> tuple[ScaleGeometry, np.ndarray]:
    """Geometry with small errors, for the visible part; and the values there."""
    k = np.arange(len(scale.values))
    if rng.random() < 0.4 and len(k) > 3 * scale.numbered_every:
        keep = rng.integers(2 * scale.numbered_every, len(k))
        first = rng.integers(0, len(k) - keep + 1)
        k = k[first : first + keep]
    y = tall - 80 - k * scale.pitch

    def project(x: float) -> np.ndarray:
        points = np.stack((np.full(len(y), x), y), -1)[:, None]
        return cv2.perspectiveTransform(points, plane)[:, 0]

    centre, right = project(WIDE_PX / 2), project(WIDE_PX / 2 + 1.0)
    across = right - centre
    turn = rng.normal(0, 0.004)
    across = across @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    across /= np.hypot(*across.T)[:, None]
    centre = centre + rng.normal(0, 0.3, 2)
    geometry = ScaleGeometry(
        index=np.arange(len(k)) + int(rng.integers(-50, 50)), centre_px=centre,
        along_px=np.gradient(centre, axis=0), across_px=across, tick_half_length_px=half,
    )  # fmt: skip
    return geometry, scale.values[k]


def trial(faces: list[Path], seed: int, folder: Path | None) -> dict[str, object]:
    """Draw one scale and decode it with and without knowledge of its numbering."""
    rng = np.random.default_rng(seed)
    scale, face = draw_scale(rng), faces[rng.integers(len(faces))]
    board, half = draw_board(scale, face, rng)
    picture, plane = photograph(board, rng)
    picture = spoil(picture, rng)
    geometry, values = geometry_of(scale, board.shape[0] / OVERSAMPLING, plane, half, rng)
    direction = -1 if scale.numbers == "downward" else 1
    bottom = round(
        geometry.index[0]
        - direction * (values[0] - scale.values[0]) / scale.division * direction * direction
    )
    phase = int(
        (geometry.index[0] - direction * round(values[0] / scale.division))
        % scale.numbered_every
    )
    known = known_scale_hypotheses(
        division=scale.division, numbered_every=scale.numbered_every * scale.division,
        lowest=scale.lowest, highest=scale.highest, numbers=scale.numbers,
        lowest_index=range(bottom - 70, bottom + 71), phase=None,
    )  # fmt: skip
    result: dict[str, object] = {"seed": seed, "face": face.name, **scale.__dict__}
    started = time.perf_counter()
    for name, table in (
        ("known", known),
        ("bare", bare_hypotheses()),
        ("bare_ticks", bare_hypotheses(numbered_every=scale.numbered_every, phase=phase)),
    ):
        verdict = read_numerals(picture, geometry, table)
        seconds, started = time.perf_counter() - started, time.perf_counter()
        result[name] = outcome(verdict, geometry, values, scale) | {"ms": 1e3 * seconds}
    if folder is not None:
        for i in np.linspace(0, len(geometry.index) - 1, 9).astype(int):
            cv2.circle(
                picture, tuple(np.rint(geometry.centre_px[i]).astype(int).tolist()), 3, 255, 1
            )
        cv2.imwrite(str(folder / f"{seed}.png"), picture)
    return result


def outcome(
    verdict: NumeralVerdict, geometry: ScaleGeometry, values: np.ndarray, scale: Scale
) -> dict[str, object]:
    """Right to half a numbered step, exact to the division, and how sure."""
    right = exact = False
    if verdict.best is not None:
        ours = np.array([verdict.best.value(k) for k in geometry.index])
        error = np.abs(ours - values).max() / scale.division
        exact, right = error < 1e-6, error < 0.5 * scale.numbered_every
    return {
        "right": bool(right),
        "exact": bool(exact),
        "margin": verdict.margin,
        "shift": verdict.shift_margin,
        "evidence": verdict.evidence_per_label,
        "decisive": verdict.decisive,
        "sign": verdict.sign_certain,
        "labels": len(verdict.labels),
        "agreement": verdict.agreement,
        "clarity": verdict.clarity,
        "exactness": verdict.exactness,
        "agreeing": sum(label.evidence > 1 for label in verdict.labels),
        "stance": verdict.stance,
        "conflict": verdict.conflict,
        "best": str(verdict.best),
        "read": [label.read for label in verdict.labels],
    }


def report(results: list[dict[str, object]], name: str) -> str:
    """Counts of right and wrong by margin."""
    lines = [f"{name}: {len(results)} scales"]
    outcomes = [r[name] for r in results]
    for bound in (0, 2, 4, 6, 8, 12, 16, 24):
        kept = [o for o in outcomes if o["agreeing"] >= 2 and o["margin"] >= bound]
        lines.append(f"  margin >= {bound}: {counts(kept)}")
    decisive = [o for o in outcomes if o["decisive"]]
    lines.append(f"  decisive: {counts(decisive)}")
    for bound in (0, 1, 2, 3):
        kept = [o for o in decisive if o["right"] and o["shift"] >= bound]
        off = sum(not o["exact"] for o in kept)
        lines.append(
            f"  right and shift margin >= {bound}: {len(kept)}, off by divisions {off}"
        )
    lines.append(f"  median {np.median([o['ms'] for o in outcomes]):.0f} ms")
    return "\n".join(lines)


def counts(outcomes: list[dict[str, object]]) -> str:
    """Answered and wrong."""
    return f"answered {len(outcomes)}, wrong {sum(not o['right'] for o in outcomes)}"


def main(fonts: str, count: str, seed: str, folder: str | None = None) -> None:
    """Measure and print."""
    cv2.setNumThreads(1)
    faces = sorted(p for p in Path(fonts).rglob("*.[to]tf"))
    target = Path(folder) if folder else None
    results = [trial(faces, int(seed) + i, target) for i in range(int(count))]
    if target is not None:
        (target / "results.json").write_text(json.dumps(results, default=str))
    for name in ("known", "bare", "bare_ticks"):
        print(report(results, name))


if __name__ == "__main__":
    main(*sys.argv[1:])
