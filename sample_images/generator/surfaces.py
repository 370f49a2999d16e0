"""Textures: grain of boards, pictures on the wall behind."""

from __future__ import annotations

import cv2
import numpy as np

from sample_images.generator.scene import FloatMap

WALLS = ("planks", "concrete", "tiles", "perforated", "panel", "plaster", "cloth", "stripes")


def grain(kind: str, width_px: int, height_px: int, rng: np.random.Generator) -> FloatMap:
    """Multiplicative albedo noise: paper, paint, brushed (streaks) or wood."""
    shape = (max(height_px, 2), max(width_px, 2))
    white = rng.normal(0, 1, shape).astype(np.float32)
    if kind == "brushed":
        streak = cv2.GaussianBlur(white, (0, 0), sigmaX=18, sigmaY=0.5)
        g = 0.045 * streak / streak.std()
    elif kind == "wood":
        streak = cv2.GaussianBlur(white, (0, 0), sigmaX=1.2, sigmaY=30)
        g = 0.09 * streak / streak.std()
    else:
        blot = cv2.GaussianBlur(white, (0, 0), 6)
        g = 0.008 * white + (0.006 if kind == "paper" else 0.014) * blot / blot.std()
    return np.asarray(np.clip(1 + g, 0.4, 1.6), np.float32)


def _clouds(h: int, w: int, sigma: float, rng: np.random.Generator) -> FloatMap:
    big = np.zeros((h, w), np.float32)
    for octave in range(4):
        s = max(sigma / 2**octave, 1.5)
        small = rng.normal(0, 0.6**octave, (max(int(h / s), 3) + 2, max(int(w / s), 3) + 2))
        big += cv2.resize(small.astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC)
    return np.asarray(big / max(float(big.std()), 1e-6), np.float32)


def wall(
    kind: str, width_px: int, height_px: int, px_per_mm: float, rng: np.random.Generator
) -> FloatMap:
    """Albedo picture of a wall, shape (height, width, 3)."""
    h, w = height_px, width_px
    hue = rng.uniform(0, 1, 3)
    base = 0.10 + 0.45 * rng.random() + 0.12 * (hue - 0.5)
    if rng.random() < 0.4:
        base = base * (0.65 + 0.6 * rng.uniform(0, 1, 3))
    tone = np.ones((h, w), np.float32)
    if kind == "planks":
        pitch = rng.uniform(45, 120) * px_per_mm
        index = (np.arange(w) / pitch).astype(int)
        shade = rng.uniform(0.75, 1.2, index.max() + 1)[index]
        fibre = cv2.GaussianBlur(
            rng.normal(0, 1, (h, w)).astype(np.float32), (0, 0), sigmaX=1.0, sigmaY=40
        )
        tone = tone * shade[None, :] * (1 + 0.12 * fibre / fibre.std())
        tone[:, np.abs(np.arange(w) % pitch) < 2 * px_per_mm] *= 0.35
        base = np.array([0.42, 0.27, 0.15]) * rng.uniform(0.5, 1.5)
    elif kind == "concrete":
        tone = 1 + 0.06 * _clouds(h, w, 60 * px_per_mm, rng) + 0.05 * _clouds(h, w, 6, rng)
        tone += 0.03 * rng.normal(0, 1, (h, w)).astype(np.float32)
        for _ in range(60):
            at = (int(rng.integers(w)), int(rng.integers(h)))
            cv2.circle(tone, at, int(rng.integers(1, 5)), 0.5, -1, cv2.LINE_AA)
        base = np.full(3, rng.uniform(0.22, 0.45)) * (1.03, 1.0, 0.95)
    elif kind == "tiles":
        pitch = rng.uniform(50, 110) * px_per_mm
        rows, cols = (np.arange(h) / pitch).astype(int), (np.arange(w) / pitch).astype(int)
        shade = rng.uniform(0.93, 1.05, (rows.max() + 1, cols.max() + 1))
        tone = shade[rows][:, cols].astype(np.float32)
        grout = 3 * px_per_mm
        tone[np.arange(h) % pitch < grout] = 0.6
        tone[:, np.arange(w) % pitch < grout] = 0.6
    elif kind == "perforated":
        pitch = rng.uniform(9, 25) * px_per_mm
        y, x = np.mgrid[:h, :w].astype(np.float32)
        shift = pitch / 2 * ((y / pitch).astype(int) % 2)
        r = np.hypot((x + shift) % pitch - pitch / 2, y % pitch - pitch / 2)
        tone = 1 - 0.85 * np.clip(0.28 * pitch - r + 0.5, 0, 1)
    elif kind in ("panel", "stripes"):
        tone += 0.02 * _clouds(h, w, 80 * px_per_mm, rng)
        for _ in range(int(rng.integers(3, 9))):
            dark = float(rng.uniform(0.3, 1.5))
            if kind == "panel":
                p0 = (int(rng.integers(w)), int(rng.integers(h)))
                p1 = (
                    p0[0] + int(rng.integers(20, w // 2)),
                    p0[1] + int(rng.integers(20, h // 2)),
                )
                cv2.rectangle(tone, p0, p1, dark, -1, cv2.LINE_AA)
                cv2.rectangle(tone, p0, p1, 0.5 * dark, 2, cv2.LINE_AA)
            else:
                x0 = int(rng.integers(w))
                tone[:, x0 : x0 + int(rng.integers(8, 60))] *= dark
    elif kind == "cloth":
        y, x = np.mgrid[:h, :w].astype(np.float32)
        tone = 1 + 0.06 * np.sin(x * 1.9) * np.sin(y * 1.9) + 0.05 * _clouds(h, w, 90, rng)
    else:
        tone = 1 + 0.04 * _clouds(h, w, 5, rng) + 0.04 * _clouds(h, w, 90, rng)
    picture = np.clip(tone, 0.05, 1.8)[..., None] * np.clip(base, 0.03, 0.85)
    return np.clip(picture, 0.01, 0.92).astype(np.float32)
