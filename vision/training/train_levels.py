"""Train the networks of levels, which say where in a tube a level may lie.

Data recipe: strips of single tubes drawn by ray optics (``render_strips.py``), in linear
light, and in the end strips of photographs with truth (``strips_of_photos.py``). Each step
takes a random piece of a random strip and, on the accelerator, makes a photograph of it that
has what the drawing leaves out: an axis that is off by up to 15 % of the tube's width, a width
wrong by up to 10 %, leaning rows, other colours, shadows, glare, drops and dirt in the bore,
films, rings, bubbles, broken columns, covers, burnt spots, lines and textures on the board;
then blur, noise, tone curve, sharpening and block quantisation like that of JPEG. Nothing is
ever turned upside down: liquid lies below gas. It gives, for every second row, the probability
that the apex of a level lies within ``NEAR_WIDTHS`` of the row, by kind, and what the tube
shows there. Run::

    python train_levels.py STRIPS levels_net.onnx SECONDS [WEIGHTS] [--photos FOLDER]
    python train_levels.py --mean levels_net.onnx A.pt B.pt...

``levels_net.onnx`` went on from a mean for 460 s with strips of photographs (``--photos``,
1285 of 424 path-traced ones) and 4184 drawn ones (seeds from 300000), on one data-centre GPU.
That is the mean of three on one path of training: one trained from the start, 530 s while 3119
strips (seeds from 70000) were drawn, then 420 s more while 1776 followed (seeds from 80000),
without ``plugs``; and two that went on from its weights, 1050 s each, while 14 000 more were
drawn (seeds from 100000, 120000, 140000 and 160000), each on one of four GPUs. It had seen no
photograph. ``levels_second_net.onnx`` went on likewise for 475 s from a mean of its own, with
1906 strips of 657 photographs and 4518 drawn ones (seeds from 400000). That is of two on
another path: 400 s on 2383 strips (seeds from 20000) with ``NEAR_WIDTHS`` 0.16, then from its
weights 345 s on 1493 of them and 1103 more (seeds from 40000) with 0.2; without
``other_fillings``, ``rings``, ``plugs`` and strips of plastic tubes.

Neither has learnt ``burn``, and fewer covers over levels: they say where a level must be
though it is burnt out. ``levels_witness_net.onnx`` and ``levels_second_witness_net.onnx`` went
on from the two for 490 s with both, on the 1906 strips of photographs and 4700 drawn ones
(seeds from 500000), each on one of two data-centre GPUs.
"""

# mypy: ignore-errors
# A script beside the product: its libraries are no dependencies and need no types.

from __future__ import annotations

import argparse
import copy
import math
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import nn
from torch.nn import functional

SOURCE_WIDTH = 24
"""Columns to an outside diameter in the drawn strips."""
WIDTH, COLUMNS = 20, 56
"""Columns to an outside diameter and of a strip as the network sees it."""
SOURCE_COLUMNS, MOST_ROWS = 82, 1000
ROWS = 512
STRIDE = 2
NEAR_WIDTHS = 0.2
"""Half the height about an apex that counts as its place, in outside diameters: less than a
third of a bore."""
KINDS, STATES = 4, 4
GAS, LIQUID, COVERED, NO_TUBE, UNKNOWN = 0, 1, 2, 3, 255
BATCH = 256
STATE_WEIGHT = 0.15
PHOTO_SHARE = 0.35
"""Of the pieces, where there are strips of photographs besides."""
BRIGHTEST, GAMMA = 3.0, 2.4
"""How ``render_strips.py`` stores light."""
DEVICE = "cuda" if torch.cuda.is_available() else "cpu"


class LevelNet(nn.Module):
    """(N, 3, R, 56) strips, R a multiple of 64, to (N, 8, R / 2, 1) scores.

    First kinds (none, liquid under gas, liquid under liquid, mercury), then states (gas,
    liquid, covered, no tube).
    """

    def __init__(self) -> None:
        super().__init__()

        self.doubling = (2, 1)

        def block(inputs, outputs, kernel=(3, 3), stride=(1, 1), pad=None):
            pad = tuple(k // 2 for k in kernel) if pad is None else pad
            return nn.Sequential(
                nn.Conv2d(inputs, outputs, kernel, stride, pad, bias=False),
                nn.BatchNorm2d(outputs),
                nn.ReLU(),
            )

        self.near = nn.Sequential(
            block(3, 16, stride=(2, 2)),
            block(16, 24, stride=(1, 2)),
            block(24, 32),
        )
        self.fine = block(32, 40, kernel=(1, 14), pad=(0, 0))
        self.far = nn.Sequential(
            block(32, 48, stride=(2, 2)),
            block(48, 64),
            block(64, 64, kernel=(1, 7), pad=(0, 0)),
        )
        along = {"kernel": (3, 1)}
        self.down = nn.ModuleList(block(64, 64, stride=(2, 1), **along) for _ in range(4))
        self.deep = block(64, 64, **along)
        self.up = nn.ModuleList(block(64, 64, **along) for _ in range(5))
        self.join = block(64, 48, kernel=(1, 1))
        self.head = nn.Sequential(
            block(88, 48, **along), nn.Conv2d(48, KINDS + STATES, (3, 1), 1, (1, 0))
        )

    def forward(self, x):
        near = self.near(x)
        fine = self.fine(near)
        levels = [self.far(near)]
        for layer in self.down:
            levels.append(layer(levels[-1]))
        y = self.deep(levels.pop())
        for layer in self.up[:-1]:
            y = layer(self._doubled(y) + levels.pop())
        y = self.join(self._doubled(self.up[-1](y)))
        return self.head(torch.cat([fine, y], dim=1))

    def _doubled(self, x):
        return functional.interpolate(x, scale_factor=self.doubling, mode="nearest")

    def lying(self) -> LevelNet:
        """The same for strips that lie, (N, 3, 56, R) to (N, 8, 1, R / 2)."""
        net = copy.deepcopy(self)
        net.doubling = net.doubling[::-1]
        for layer in net.modules():
            if isinstance(layer, nn.Conv2d):
                layer.weight.data = layer.weight.data.transpose(2, 3).contiguous()
                for name in ("kernel_size", "stride", "padding", "dilation"):
                    setattr(layer, name, getattr(layer, name)[::-1])
        return net


# --------------------------------------------------------------------------- drawn strips


class Strips:
    """Drawn strips on the accelerator; new files are taken in as they appear."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.known: set[Path] = set()
        self.pictures = torch.zeros(
            0, 3, MOST_ROWS, SOURCE_COLUMNS, dtype=torch.uint8, device=DEVICE
        )
        self.states = torch.zeros(0, MOST_ROWS, dtype=torch.uint8, device=DEVICE)
        self.rows = np.zeros(0, np.int64)
        self.levels = np.zeros((0, 4, 2), np.float32)
        self.bore = np.zeros(0, np.float32)
        self.of_photo = np.zeros(0, bool)
        self.weight = np.zeros(0)

    def refresh(self, most: int = 100_000) -> None:
        """Take in drawn strips."""
        self._take_in(self.folder, most, of_photo=False)

    def take_in_photos(self, folder: Path) -> None:
        """Take in strips of photographs."""
        self._take_in(folder, 100_000, of_photo=True)

    def _take_in(self, folder: Path, most: int, *, of_photo: bool) -> None:
        fresh = [p for p in sorted(folder.glob("*.npz")) if p not in self.known][:most]
        with ThreadPoolExecutor(8) as pool:
            read = [d for d in pool.map(_load, fresh) if d is not None]
        self.known.update(fresh)
        if not read:
            return
        pictures = torch.from_numpy(np.stack([d["picture"] for d in read]))
        states = torch.from_numpy(np.stack([d["state"] for d in read]))
        self.pictures = torch.cat([self.pictures, pictures.to(DEVICE)])
        self.states = torch.cat([self.states, states.to(DEVICE)])
        self.rows = np.append(self.rows, [d["rows"] for d in read])
        self.levels = np.concatenate([self.levels, np.stack([d["levels"] for d in read])])
        self.bore = np.append(self.bore, [d["bore"] for d in read]).astype(np.float32)
        kinds = self.levels[:, :, 1]
        plug_on_mercury = (kinds == 3).any(axis=1) & (kinds == 1).any(axis=1)
        self.of_photo = np.append(self.of_photo, np.full(len(read), of_photo))
        self.weight = 1.0 + (kinds == 3).any(axis=1) + 2.0 * plug_on_mercury
        if 0 < self.of_photo.sum() < len(self):
            drawn, photos = self.weight[~self.of_photo], self.weight[self.of_photo]
            share = PHOTO_SHARE / (1 - PHOTO_SHARE)
            self.weight[self.of_photo] *= share * drawn.sum() / photos.sum()

    def __len__(self) -> int:
        return len(self.rows)


def _load(path: Path):
    try:
        with np.load(path) as file:
            data = {k: file[k] for k in file.files}
        bgr = cv2.imdecode(data["picture"], cv2.IMREAD_COLOR)
    except (OSError, ValueError, EOFError):
        return None
    if bgr is None or not 40 <= len(bgr) <= MOST_ROWS:
        return None
    rows = len(bgr)
    picture = np.zeros((3, MOST_ROWS, SOURCE_COLUMNS), np.uint8)
    picture[:, :rows] = bgr[:, :, ::-1].transpose(2, 0, 1)
    state = np.full(MOST_ROWS, UNKNOWN, np.uint8)
    state[:rows] = data["state"]
    levels = np.zeros((4, 2), np.float32)
    levels[: len(data["levels"])] = data["levels"][:4]
    return {
        "picture": picture,
        "state": state,
        "levels": levels,
        "rows": rows,
        "bore": float(data["bore"]),
    }


# --------------------------------------------------------------------- pieces with truth


def pieces(strips: Strips, n: int):
    """Take n pieces: light (n, 3, R, C), levels (n, 4, 2) with kind 0 for none, states."""
    rng = np.random.default_rng()
    i = rng.choice(len(strips), n, p=strips.weight / strips.weight.sum())
    rows, levels = strips.rows[i], strips.levels[i].copy()
    size = SOURCE_WIDTH / WIDTH * np.exp(rng.normal(0, 0.05, n))
    wide = size * np.exp(np.clip(rng.normal(0, 0.04, n), -0.1, 0.1))
    offset = np.clip(rng.normal(0, 0.06, n), -0.16, 0.16) * SOURCE_WIDTH
    slant = rng.normal(0, 0.03, n) * SOURCE_WIDTH / ROWS
    lean = rng.normal(0, 0.05, n) * (rng.random(n) < 0.6)
    hand = rng.choice((-1.0, 1.0), n)
    spare = rows - ROWS * size
    start = np.where(
        spare < 0,
        1.2 * rng.random(n) * spare,
        rng.uniform(-0.04, 0.04, n) * rows + rng.random(n) * spare,
    )
    there = levels[:, :, 1] > 0
    pick = np.argmax(there * rng.random(there.shape), axis=1)
    at = levels[np.arange(n), pick, 0] - rng.uniform(0.04, 0.96, n) * ROWS * size
    aimed = there.any(axis=1) & (rng.random(n) < 0.75) & (spare > 0)
    start = np.where(aimed, np.clip(at, -0.1 * rows, spare + 0.1 * rows), start)
    # The axis lies off the middle by the offset: a leaning row meets it elsewhere.
    levels[:, :, 0] = (levels[:, :, 0] - start[:, None]) / size[:, None] + (
        lean * offset / wide * hand
    )[:, None]
    there &= (levels[:, :, 0] >= 0) & (levels[:, :, 0] < ROWS)
    levels[:, :, 1] *= there
    levels = np.take_along_axis(
        levels, np.argsort(~there, axis=1, kind="stable")[:, :, None], axis=1
    )

    def t(x):
        return torch.as_tensor(x, dtype=torch.float32, device=DEVICE)

    index = torch.from_numpy(i).to(DEVICE)
    r = torch.arange(ROWS, device=DEVICE, dtype=torch.float32)[None, :, None]
    c = (
        torch.arange(COLUMNS, device=DEVICE, dtype=torch.float32)[None, None]
        - (COLUMNS - 1) / 2
    )
    c = c * t(hand)[:, None, None]
    last = t(rows - 1)[:, None, None]
    y = t(start)[:, None, None] + t(size)[:, None, None] * (r + t(lean)[:, None, None] * c)
    x = (
        (SOURCE_COLUMNS - 1) / 2
        + t(offset)[:, None, None]
        + t(slant)[:, None, None] * (r - ROWS / 2)
    )
    x = x + t(wide)[:, None, None] * c
    y = torch.minimum(y.clamp(min=0), last)
    grid = torch.stack(
        [2 * (x + 0.5) / SOURCE_COLUMNS - 1, 2 * (y + 0.5) / MOST_ROWS - 1], dim=-1
    )
    light = BRIGHTEST * (strips.pictures[index].float() / 255) ** GAMMA
    light = functional.grid_sample(light, grid, padding_mode="border", align_corners=False)
    row = (t(start)[:, None] + t(size)[:, None] * r[..., 0]).round().long()
    inside = (row >= 0) & (row <= last[..., 0])
    state = torch.gather(strips.states[index].long(), 1, row.clamp(0, MOST_ROWS - 1))
    state = torch.where(inside, state, torch.full_like(state, UNKNOWN))
    bore = strips.bore[i] * SOURCE_WIDTH / wide
    return light, t(levels), state, t(bore)


# ------------------------------------------------------------------- what drawings leave out


def _u(n, low, high):
    return torch.rand(n, device=DEVICE) * (high - low) + low


def _on(n, share):
    return (torch.rand(n, device=DEVICE) < share).float()


class Piece:
    """A batch being made into photographs."""

    def __init__(self, light, levels, state, bore) -> None:
        self.light, self.levels, self.state, self.bore = light, levels, state, bore
        self.n = len(light)
        self.r = torch.arange(ROWS, device=DEVICE, dtype=torch.float32)[None, :, None]
        self.c = (torch.arange(COLUMNS, device=DEVICE, dtype=torch.float32) - 27.5)[
            None, None, :
        ]
        self.in_bore = (self.c.abs() < 0.5 * bore[:, None, None]).float()
        self.in_tube = (self.c.abs() < 0.5 * WIDTH).float()
        self.burning = torch.zeros(self.n, ROWS, COLUMNS, device=DEVICE)

    def filled(self):
        """Across a filling: offset from the axis in bore radii, depth of liquid over that on
        the axis, and where it shows: what the wall magnifies fills most of the tube."""
        u = (2 * self.c / self.v(self.bore)).clamp(-1, 1)
        half = 0.5 * self.v(0.5 * self.bore + 0.5 * WIDTH)
        return u, (1 - 0.9 * u**2).sqrt(), torch.sigmoid((half - self.c.abs()) / 0.5)

    def v(self, x):
        """Per sample value, broadcast over rows and columns."""
        return x[:, None, None]

    def a_level(self, share):
        """Row of one of a sample's levels, and of which samples it is to be used."""
        there = self.levels[:, :, 1] > 0
        pick = torch.argmax(there * torch.rand(there.shape, device=DEVICE), dim=1)
        rows = torch.gather(self.levels[:, :, 0], 1, pick[:, None])[:, 0]
        return rows, there.any(dim=1) & (torch.rand(self.n, device=DEVICE) < share)

    def mix(self, mask, colour):
        """Blend a colour (n, 3) in where mask (n, R, C) is 1."""
        self.light = (
            self.light * (1 - mask[:, None]) + colour[:, :, None, None] * mask[:, None]
        )

    def times(self, factor):
        self.light = self.light * (factor[:, None] if factor.dim() == 3 else factor)

    def box(self, top, height, left, right, lean, soft):
        """Soft-edged boxes (n, R, C)."""
        r = self.r + self.v(lean) * self.c
        s = self.v(soft)
        inside = torch.sigmoid((r - self.v(top)) / s) * torch.sigmoid(
            (self.v(top + height) - r) / s
        )
        side = torch.sigmoid((self.c - self.v(left)) / 0.4) * torch.sigmoid(
            (self.v(right) - self.c) / 0.4
        )
        return inside * side


def break_columns(p: Piece, share=0.07) -> None:
    """Put a slug of the liquid into the gas above: its top is one more level."""
    level = p.levels[:, 0, 0]
    free = (p.levels[:, 0, 1] > 0) & (p.levels[:, 1, 1] == 0) & (level > 150)
    chosen = free & (torch.rand(p.n, device=DEVICE) < share)
    length = _u(p.n, 0.5, 4.0) * WIDTH
    bottom = (
        1.6 * WIDTH
        + length
        + torch.rand(p.n, device=DEVICE) * (level - 3.2 * WIDTH - length).clamp(min=0)
    )
    chosen &= bottom < level - 1.2 * WIDTH
    chosen &= level + length / 2 + 0.7 * WIDTH < ROWS - 1
    if not chosen.any():
        return
    r = p.r[..., 0].expand(p.n, ROWS)
    top = (bottom - length)[:, None]
    middle = top + length[:, None] / 2
    mapped = torch.where(
        r < middle, level[:, None] + r - top, level[:, None] + bottom[:, None] - r
    )
    within = (r > top - 0.8 * WIDTH) & (r < bottom[:, None] + 0.8 * WIDTH) & chosen[:, None]
    source = torch.where(within, mapped, r).clamp(0, ROWS - 1).round().long()
    index = source[:, None, :, None].expand(-1, 3, -1, COLUMNS)
    moved = torch.gather(p.light, 2, index)
    mask = (p.c.abs() < 0.53 * WIDTH)[:, None] & within[:, None, :, None]
    p.light = torch.where(mask, moved, p.light)
    slug = (r > top) & (r < bottom[:, None]) & chosen[:, None]
    p.state = torch.where(slug, torch.full_like(p.state, LIQUID), p.state)
    p.levels[:, 3, 0] = torch.where(chosen, top[:, 0], p.levels[:, 3, 0])
    p.levels[:, 3, 1] = torch.where(chosen, p.levels[:, 0, 1], p.levels[:, 3, 1])


def recolour(p: Piece) -> None:
    """Other dyes, boards and lamps: swapped or mixed channels, sometimes grey."""
    n = p.n
    eye = torch.eye(3, device=DEVICE).expand(n, 3, 3)
    swap = torch.stack([eye[0][torch.randperm(3)] for _ in range(n)])
    matrix = torch.where((torch.rand(n, 1, 1, device=DEVICE) < 0.4), swap, eye)
    matrix = matrix + 0.1 * torch.randn(n, 3, 3, device=DEVICE)
    grey = torch.full((3, 3), 1 / 3, device=DEVICE).expand(n, 3, 3)
    fade = _u(n, 0, 0.7) * _on(n, 0.3)
    fade = torch.where(torch.rand(n, device=DEVICE) < 0.06, torch.ones_like(fade), fade)
    matrix = matrix * (1 - fade[:, None, None]) + grey * fade[:, None, None]
    p.light = torch.einsum("nij,njrc->nirc", matrix, p.light).clamp(min=0)
    gain = torch.exp(0.12 * torch.randn(n, 3, 1, 1, device=DEVICE))
    p.light = p.light * gain


def shade(p: Piece) -> None:
    """Uneven light, edges of shadows and of boards."""
    n = p.n
    slow = functional.interpolate(
        torch.randn(n, 1, 5, 2, device=DEVICE),
        size=(ROWS, COLUMNS),
        mode="bicubic",
        align_corners=True,
    )
    p.light = p.light * torch.exp(0.18 * _u(n, 0, 1)[:, None, None, None] * slow)
    for _ in range(2):
        top, height = _u(n, -100, ROWS), torch.exp(_u(n, math.log(6), math.log(600)))
        soft = torch.exp(_u(n, math.log(0.4), math.log(25)))
        dark = p.box(
            top,
            height,
            _u(n, -60, 0),
            _u(n, 5, 60),
            0.25 * torch.randn(n, device=DEVICE),
            soft,
        )
        wide = torch.rand(n, device=DEVICE) < 0.7
        everywhere = p.box(
            top,
            height,
            torch.full((n,), -90.0, device=DEVICE),
            torch.full((n,), 90.0, device=DEVICE),
            0.25 * torch.randn(n, device=DEVICE),
            soft,
        )
        dark = torch.where(p.v(wide), everywhere, dark)
        depth = _u(n, 0.05, 0.55) * _on(n, 0.2)
        p.times(1 - p.v(depth) * dark)


def texture(p: Piece) -> None:
    """Grain on the board, faint in the tube; lines across; an edge along the tube."""
    n = p.n
    for size in ((ROWS // 2, 56), (ROWS // 6, 20), (ROWS, 9), (24, 56)):
        grain = functional.interpolate(
            torch.randn(n, 1, *size, device=DEVICE), size=(ROWS, COLUMNS), mode="bilinear"
        )[:, 0]
        strength = p.v(0.16 * torch.rand(n, device=DEVICE) ** 2 * _on(n, 0.25))
        p.times(torch.exp(strength * grain * (1 - 0.6 * p.in_tube)))
    pitch = torch.exp(_u(n, math.log(4), math.log(45)))
    phase = (p.r + p.v(0.03 * torch.randn(n, device=DEVICE)) * p.c) / p.v(pitch) + p.v(
        _u(n, 0, 1)
    )
    away = (phase - phase.round()).abs() * p.v(pitch)
    line = torch.exp(-0.5 * (away / p.v(_u(n, 0.35, 1.1))) ** 2)
    side = _u(n, -1, 1)
    there = torch.sigmoid((p.c * torch.sign(p.v(side)) + p.v(_u(n, -20, 30))) / 0.3)
    through = 1 - p.in_tube * p.v(_u(n, 0, 0.8))
    p.times(1 - p.v(_u(n, 0.1, 0.8) * _on(n, 0.15)) * line * there * through)
    edge = torch.sigmoid((p.c - p.v(_u(n, 10, 26))) * torch.sign(p.v(side)) / 0.3)
    p.times(1 + p.v(_u(n, -0.7, 0.5) * _on(n, 0.15)) * edge * (1 - p.in_tube))


def dirty(p: Piece) -> None:
    """Films, haze, drops, rings and bubbles in the bore."""
    n = p.n
    level = torch.where(
        p.levels[:, 0, 1] > 0, p.levels[:, 0, 0], torch.full((n,), ROWS / 2.0, device=DEVICE)
    )
    top = torch.where(p.levels[:, 1, 1] > 0, p.levels[:, :2, 0].min(dim=1).values, level)
    # A film of the liquid on the wall above the level, thinning upward.
    index = (top + 1.2 * WIDTH).clamp(0, ROWS - 1).long()
    liquid = p.light[torch.arange(n, device=DEVICE), :, index, :].mean(dim=2)
    above = (
        torch.exp(-(p.v(top) - p.r).clamp(min=0) / p.v(_u(n, 5, 120)))
        * (p.r < p.v(top)).float()
    )
    patch = functional.interpolate(
        torch.rand(n, 1, 40, 6, device=DEVICE), size=(ROWS, COLUMNS), mode="bilinear"
    )[:, 0]
    p.mix(above * p.in_bore * patch * p.v(_u(n, 0.1, 0.7) * _on(n, 0.12)), liquid)
    # Haze of condensation over a stretch of the gas.
    haze = p.box(
        top - _u(n, 20, 200),
        _u(n, 10, 150),
        -0.5 * p.bore,
        0.5 * p.bore,
        0 * top,
        _u(n, 1, 20),
    )
    haze = haze * (p.r < p.v(top - 0.4 * WIDTH)).float()
    p.mix(
        haze * (0.6 + 0.4 * patch) * p.v(_u(n, 0.1, 0.6) * _on(n, 0.12)),
        p.light.mean(dim=(2, 3)) * _u(n, 0.7, 1.4)[:, None],
    )
    # Drops: small lenses, dark rim, bright heart.
    dirty_share = _on(n, 0.25)
    for _ in range(10):
        on = dirty_share * _on(n, 0.6)
        y, x = _u(n, 0, ROWS), (torch.rand(n, device=DEVICE) - 0.5) * p.bore
        radius = torch.exp(_u(n, math.log(0.6), math.log(2.8)))
        d2 = ((p.r - p.v(y)) ** 2 + (p.c - p.v(x)) ** 2) / p.v(radius) ** 2
        p.times(1 + p.v(on * _u(n, -0.6, 0.4)) * torch.exp(-0.5 * d2) * p.in_bore)
    # A ring left by an earlier level.
    for share in (0.08, 0.04):
        arc = p.r - p.v(_u(n, 0, ROWS)) - p.v(_u(n, -0.25, 0.25)) * p.c**2 / p.v(p.bore)
        ring = torch.exp(-0.5 * (arc / p.v(_u(n, 0.4, 1.2))) ** 2) * p.in_bore
        p.times(1 - p.v(_u(n, 0.05, 0.3) * _on(n, share)) * ring)
    # Bubbles.
    bubbly = _on(n, 0.1)
    for _ in range(3):
        on = bubbly * _on(n, 0.6)
        y, x = (
            level + _u(n, 0.4, 10) * WIDTH,
            (torch.rand(n, device=DEVICE) - 0.5) * 0.6 * p.bore,
        )
        a = _u(n, 0.08, 0.4) * p.bore
        rho = torch.sqrt(
            ((p.r - p.v(y)) / p.v(_u(n, 0.9, 2.0))) ** 2 + (p.c - p.v(x)) ** 2
        ) / p.v(a)
        rim = torch.exp(-0.5 * ((rho - 0.9) / 0.14) ** 2) * p.in_bore
        heart = torch.sigmoid((0.5 - rho) / 0.08) * p.in_bore
        p.times(1 - p.v(on * _u(n, 0.2, 0.8)) * rim)
        p.times(1 + p.v(on * _u(n, -0.1, 1.0)) * heart)


def glare(p: Piece) -> None:
    """Images of lamps: streaks along the glass that begin and end somewhere, and patches."""
    n = p.n
    tint = torch.exp(0.15 * torch.randn(n, 3, device=DEVICE))
    for share in (0.35, 0.25, 0.15):
        x = _u(n, -0.5, 0.5) * WIDTH
        top, height = _u(n, -200, ROWS), torch.exp(_u(n, math.log(8), math.log(700)))
        soft = torch.exp(_u(n, math.log(0.3), math.log(12)))
        along = torch.sigmoid((p.r - p.v(top)) / p.v(soft)) * torch.sigmoid(
            (p.v(top + height) - p.r) / p.v(soft)
        )
        streak = along * torch.exp(-0.5 * ((p.c - p.v(x)) / p.v(_u(n, 0.3, 2.2))) ** 2)
        strength = _u(n, 0.1, 1.6) * _on(n, share)
        p.light = p.light + (p.v(strength) * streak)[:, None] * tint[:, :, None, None]
    for share in (0.15, 0.08):
        y, x = _u(n, 0, ROWS), _u(n, -20, 20)
        a, b = (
            torch.exp(_u(n, math.log(3), math.log(60))),
            torch.exp(_u(n, math.log(2), math.log(25))),
        )
        rho = torch.sqrt(((p.r - p.v(y)) / p.v(a)) ** 2 + ((p.c - p.v(x)) / p.v(b)) ** 2)
        spot = torch.sigmoid((1 - rho) * p.v(torch.exp(_u(n, 0.5, 3.0))))
        p.light = (
            p.light
            + (p.v(_u(n, 0.05, 1.5) * _on(n, share)) * spot)[:, None] * tint[:, :, None, None]
        )


def burn(p: Piece) -> None:
    """Images of lamps so bright that they leave nothing to be seen: spots and streaks over the
    bore, most of them at a level. `photograph` adds them to the exposed light."""
    n = p.n
    for share in (0.25, 0.1):
        level, aimed = p.a_level(0.8)
        streak = torch.rand(n, device=DEVICE) < 0.35
        spot = torch.exp(_u(n, math.log(0.3), math.log(2.5)))
        half_rows = p.bore * torch.where(streak, _u(n, 1.5, 8), spot)
        half_columns = p.bore * torch.where(streak, _u(n, 0.06, 0.4), _u(n, 0.2, 1.0))
        shift = p.bore * torch.randn(n, device=DEVICE) * torch.where(streak, 0.25, 0.15)
        y = torch.where(aimed, level + half_rows * _u(n, -1.3, 1.3), _u(n, 0, ROWS))
        lean = 0.05 * torch.randn(n, device=DEVICE)
        along = (p.r - p.v(y)).abs() / p.v(half_rows)
        across = (p.c - p.v(shift) - p.v(lean) * (p.r - p.v(y))).abs() / p.v(half_columns)
        powers = _u(n, 2, 6), _u(n, 2, 4)
        rho = along.clamp(max=9) ** p.v(powers[0]) + across.clamp(max=9) ** p.v(powers[1])
        rim = torch.exp(_u(n, math.log(0.015), math.log(0.3)))
        mask = torch.sigmoid((1 - rho) / p.v(rim))
        strength = torch.exp(_u(n, math.log(0.3), math.log(4.0))) * _on(n, share)
        p.burning = p.burning + p.v(strength) * mask


def cover(p: Piece) -> None:
    """Labels, tape, clips, sleeves, fingers, half of them at a level, which is no longer to be
    found then."""
    n = p.n
    for share in (0.22, 0.12, 0.06):
        on = _on(n, share)
        height = torch.exp(_u(n, math.log(0.12), math.log(3.5))) * WIDTH
        level, aimed = p.a_level(0.5)
        top = torch.where(aimed, level - height * _u(n, -0.6, 1.6), _u(n, -0.5 * WIDTH, ROWS))
        kind = torch.rand(n, device=DEVICE)
        half = torch.where(kind < 0.35, _u(n, 0.42, 0.56) * WIDTH, _u(n, 0.55, 2.0) * WIDTH)
        shift = torch.where(kind > 0.8, _u(n, -1.0, 1.0) * WIDTH, 0 * half)
        left, right = shift - half, shift + half
        lean = 0.1 * torch.randn(n, device=DEVICE)
        mask = p.box(top, height, left, right, lean, _u(n, 0.25, 0.7))
        through = torch.where(
            torch.rand(n, device=DEVICE) < 0.12, _u(n, 0.3, 0.7), torch.ones(n, device=DEVICE)
        )
        usual = p.light.mean(dim=(2, 3))
        colour = usual * torch.exp(
            0.7 * torch.randn(n, 1, device=DEVICE) + 0.35 * torch.randn(n, 3, device=DEVICE)
        )
        tone = functional.interpolate(
            torch.randn(n, 1, 60, 8, device=DEVICE), size=(ROWS, COLUMNS), mode="bilinear"
        )[:, 0]
        paint = torch.exp(0.3 * p.v(torch.rand(n, device=DEVICE) ** 2) * tone)
        u = (p.c - p.v(shift)) / p.v(half)
        bulge = (1 - 0.8 * u.clamp(-1, 1) ** 2) * (1 + p.v(_u(n, -0.4, 0.4)) * u)
        shine = 1 + p.v(_u(n, 0, 2)) * torch.exp(
            -0.5 * ((u - p.v(_u(n, -0.6, 0.6))) / 0.12) ** 2
        )
        round_one = p.v(torch.rand(n, device=DEVICE) < 0.5)
        paint = torch.where(round_one, paint * bulge * shine, paint)
        words = functional.interpolate(
            (torch.rand(n, 1, ROWS // 3, 28, device=DEVICE) < 0.3).float(),
            size=(ROWS, COLUMNS),
        )[:, 0]
        paint = paint * (1 - 0.7 * p.v(_on(n, 0.3)) * words)
        cast_shadow(p, on, top + _u(n, -4, 8), height, left, right, lean)
        painted = (colour[:, :, None, None] * paint[:, None]).clamp(min=0)
        alpha = (mask * p.v(on * through))[:, None]
        p.light = p.light * (1 - alpha) + painted * alpha
        hide(p, mask * p.v(on * (through > 0.75).float()))


def plugs(p: Piece, share=0.35) -> None:
    """Put a dyed plug, or a leg, on mercury under gas, and its light on the board beside."""
    n = p.n
    lower = p.levels[:, 0, 0]
    height = torch.exp(_u(n, math.log(0.7), math.log(7.0))) * WIDTH
    leg = _on(n, 0.25) > 0
    upper = torch.where(leg, torch.full_like(lower, -ROWS), lower - height)
    alone = (p.levels[:, 0, 1] == 3) & (p.levels[:, 1:, 1] == 0).all(dim=1)
    on = (alone & (leg | (upper > 0.5 * WIDTH))).float() * _on(n, share)
    _, chord, across = p.filled()
    bowl = p.r - p.v(upper) + p.v(_u(n, 0.1, 0.4) * p.bore) * (1 - chord)
    dome = p.r - p.v(lower) - p.v(_u(n, 0.05, 0.35) * p.bore) * (1 - chord)
    region = torch.sigmoid(bowl / 0.6) * torch.sigmoid(-dome / 0.6) * across * p.v(on)
    depth = (torch.rand(n, 3, device=DEVICE) ** 2 * _u(n, 0.3, 5.0)[:, None])[:, :, None, None]
    p.light = p.light * torch.exp(-depth * (region * chord)[:, None])
    high = p.v(_u(n, 0.08, 0.4) * p.bore)
    line = torch.sigmoid((bowl + high) / 0.5) * torch.sigmoid(-bowl / 0.5) * across
    p.times(1 - line * p.v(on * _u(n, 0.1, 0.95)))
    beside = torch.exp(-(p.c.abs() - 0.5 * WIDTH).clamp(min=0) / p.v(_u(n, 2, 14)))
    soft = p.v(_u(n, 1, 6))
    rows = torch.sigmoid((p.r - p.v(upper)) / soft) * torch.sigmoid((p.v(lower) - p.r) / soft)
    cast = rows * beside * (1 - p.in_tube) * p.v(on * _u(n, 0.0, 0.5) * _on(n, 0.5))
    p.light = p.light * torch.exp(-depth * cast[:, None])
    within = (p.r[..., 0] > p.v(upper)[..., 0]) & (p.r[..., 0] < p.v(lower)[..., 0])
    p.state = torch.where(
        within & (on > 0)[:, None] & (p.state == GAS),
        torch.full_like(p.state, LIQUID),
        p.state,
    )
    more = (on > 0) & ~leg
    p.levels[:, 1, 0] = torch.where(more, upper, p.levels[:, 1, 0])
    p.levels[:, 1, 1] = torch.where(more, on, p.levels[:, 1, 1])


def other_fillings(p: Piece) -> None:
    """Other dyes, mercury that mirrors other rooms or one like the board, grain in bores."""
    n = p.n
    there = p.levels[:, :, 1] > 0
    rows = p.levels[:, :, 0]
    lowest = torch.where(there, rows, torch.full_like(rows, -1e4)).max(dim=1)
    above = torch.where(there, rows, torch.full_like(rows, 1e4)).min(dim=1).values
    mercury = torch.gather(p.levels[:, :, 1], 1, lowest.indices[:, None])[:, 0] == 3
    u, chord, across = p.filled()
    bent = torch.where(mercury, -0.2 * p.bore, 0.15 * p.bore)
    below = torch.sigmoid((p.r - p.v(lowest.values) + p.v(bent) * u**2) / 0.7) * across
    between = torch.sigmoid((p.r - p.v(above) + p.v(0.15 * p.bore) * u**2) / 0.7)
    between = between * across * (1 - below)
    for region, dyed in ((below, ~mercury), (between, there.sum(dim=1) > 1)):
        depth = torch.rand(n, 3, device=DEVICE) ** 2 * _u(n, 0.0, 2.5)[:, None]
        depth = depth * (_on(n, 0.25) * dyed.float())[:, None]
        p.light = p.light * torch.exp(-depth[:, :, None, None] * (region * chord)[:, None])
    mirror = below * p.v(mercury.float())
    profile = functional.interpolate(
        torch.randn(n, 3, 5, 9, device=DEVICE), size=(ROWS, COLUMNS), mode="bicubic"
    )
    profile = profile.mean(dim=2, keepdim=True) * 1.6 + 0.25 * profile
    profile = 0.75 * profile.mean(dim=1, keepdim=True) + 0.25 * profile
    strength = _u(n, 0.1, 0.8) * _on(n, 0.6)
    p.light = p.light * torch.exp(strength[:, None, None, None] * profile * mirror[:, None])
    beside = (p.c.abs() > 0.65 * WIDTH).float()
    board = (p.light * beside[:, None]).sum(dim=(2, 3)) / (ROWS * beside.sum())
    board = board * torch.exp(0.25 * torch.randn(n, 1, device=DEVICE))
    p.mix(mirror * p.v(_u(n, 0.2, 0.85) * _on(n, 0.4)), board)
    grain = torch.randn(n, ROWS, COLUMNS, device=DEVICE)
    where = torch.rand(n, device=DEVICE)
    part = torch.where(
        p.v(where < 0.4), below, torch.where(p.v(where < 0.7), across - below, across)
    )
    p.times(torch.exp(p.v(_u(n, 0.03, 0.22) * _on(n, 0.15)) * grain * part))


def rings(p: Piece) -> None:
    """Clips and nuts about the tube, and what it ends in, seen from above or from below: their
    edges are arcs, and through the glass shows their far side."""
    n = p.n
    for share, kind in ((0.25, "clip"), (0.15, "clip"), (0.12, "foot"), (0.1, "head")):
        on = _on(n, share)
        half = _u(n, 0.5, 0.72) * WIDTH
        height = torch.exp(_u(n, math.log(0.15), math.log(1.5))) * WIDTH
        top = _u(n, -0.5 * WIDTH, ROWS)
        if kind != "clip":
            height = height + ROWS
        if kind == "head":
            top = top - height - 0.3 * ROWS
        u = (p.c / p.v(half)).clamp(-1, 1)
        arc = p.v(_u(n, -0.35, 0.35) * half) * (1 - u**2).sqrt()
        wide = torch.sigmoid((p.v(half) - p.c.abs()) / 0.4)
        soft = p.v(_u(n, 0.25, 0.6))

        def band(bulge, top=top, height=height, wide=wide, soft=soft):
            first, last = p.v(top) + bulge, p.v(top + height) + bulge
            return (
                torch.sigmoid((p.r - first) / soft) * torch.sigmoid((last - p.r) / soft) * wide
            )

        usual = p.light.mean(dim=(2, 3))
        colour = usual * torch.exp(
            0.8 * torch.randn(n, 1, device=DEVICE) + 0.3 * torch.randn(n, 3, device=DEVICE)
        )
        shine = functional.interpolate(
            torch.randn(n, 1, 4, 9, device=DEVICE), size=(ROWS, COLUMNS), mode="bicubic"
        )[:, 0]
        shine = torch.exp(p.v(_u(n, 0.05, 0.8)) * shine) * (0.35 + 0.65 * (1 - u**2).sqrt())
        flange = p.box(
            top + _u(n, 0, 0.2) * height,
            _u(n, 0.6, 1.0) * height,
            -_u(n, 0.8, 1.4) * WIDTH,
            _u(n, 0.8, 1.4) * WIDTH,
            0 * top,
            _u(n, 0.25, 0.6),
        ) * (1 - 0.9 * p.in_tube)
        cast_shadow(p, on, top + _u(n, -2, 6), height, -half, half, 0 * top)
        p.mix(flange * p.v(on * _on(n, 0.6)), colour * _u(n, 0.5, 1.2)[:, None])
        far = band(-arc) * p.v(on) * (1 - p.in_tube * p.v(_u(n, 0.1, 0.7)))
        p.mix(far, colour * _u(n, 0.15, 0.9)[:, None])
        near = band(arc) * p.v(on)
        painted = colour[:, :, None, None] * shine[:, None]
        p.light = p.light * (1 - near[:, None]) + painted * near[:, None]
        hide(p, near)


def cast_shadow(p: Piece, on, top, height, left, right, lean) -> None:
    """Darken the board beside what covers the tube."""
    n = p.n
    sides = left + _u(n, -5, 5), right + _u(n, -5, 5)
    shadow = p.box(top, height, *sides, lean, _u(n, 0.6, 4))
    p.times(1 - p.v(on * _u(n, 0, 0.6)) * shadow)


def hide(p: Piece, opaque, state=COVERED) -> None:
    """Take out what an opaque cover (n, R, C) hides of the truth."""
    hides = (opaque * p.in_bore).sum(dim=2) / p.in_bore.sum(dim=2) > 0.6
    p.state = torch.where(
        hides & (p.state != UNKNOWN), torch.full_like(p.state, state), p.state
    )
    at = p.levels[:, :, 0].round().long().clamp(0, ROWS - 1)
    gone = torch.gather(hides, 1, at)
    p.levels[:, :, 1] = torch.where(
        gone, torch.zeros_like(p.levels[:, :, 1]), p.levels[:, :, 1]
    )


def photograph(p: Piece):
    """Lens, sensor, tone curve, sharpening, JPEG: (n, 3, R, C) in 0..1."""
    n, x = p.n, p.light
    bright = torch.quantile(x.amax(dim=1)[:, ::4].reshape(n, -1), 0.95, dim=1)
    exposure = torch.exp(_u(n, math.log(0.25), math.log(1.25)))
    x = x * (exposure / bright.clamp(min=1e-4))[:, None, None, None]
    x = x + p.burning[:, None]
    hide(p, ((x.amin(dim=1) >= 1.0) & (p.burning > 0.1)).float(), UNKNOWN)
    veil = _u(n, 0, 0.12) * _on(n, 0.5)
    x = (
        x * (1 - veil)[:, None, None, None]
        + (veil[:, None] * x.mean(dim=(2, 3)))[:, :, None, None]
    )
    x = _blurred(
        x,
        torch.exp(_u(n, math.log(0.15), math.log(1.7))),
        torch.exp(_u(n, math.log(0.15), math.log(1.7))),
    )
    grain = torch.randn_like(x)
    coarse = functional.interpolate(
        torch.randn(n, 3, ROWS // 2, COLUMNS // 2, device=DEVICE),
        size=(ROWS, COLUMNS),
        mode="bilinear",
    )
    grain = torch.where((torch.rand(n, 1, 1, 1, device=DEVICE) < 0.5), grain, 1.6 * coarse)
    strength = torch.exp(_u(n, math.log(0.0015), math.log(0.04)))[:, None, None, None]
    x = x + strength * grain * torch.sqrt(x.clamp(min=0) + 0.02)
    x = x.clamp(0, 1)
    x = torch.where(x <= 0.0031308, 12.92 * x, 1.055 * x.clamp(min=1e-6) ** (1 / 2.4) - 0.055)
    x = x.clamp(0, 1) ** torch.exp(0.2 * torch.randn(n, 1, 1, 1, device=DEVICE))
    s = _u(n, 0, 0.6)[:, None, None, None]
    x = x * (1 - s) + s * (x * x * (3 - 2 * x))
    sharp = (_u(n, 0, 1.0) * _on(n, 0.6))[:, None, None, None]
    radius = _u(n, 0.4, 1.4)
    x = (x + sharp * (x - _blurred(x, radius, radius))).clamp(0, 1)
    x = _blocks(x, _on(n, 0.5))
    return (x * 255).round().clamp(0, 255) / 255


def _blurred(x, sigma_rows, sigma_columns):
    n = len(x)
    k = torch.arange(-5, 6, device=DEVICE, dtype=torch.float32)
    rows = torch.exp(-0.5 * (k / sigma_rows[:, None]) ** 2)
    columns = torch.exp(-0.5 * (k / sigma_columns[:, None]) ** 2)
    rows, columns = rows / rows.sum(1, keepdim=True), columns / columns.sum(1, keepdim=True)
    flat = functional.pad(x.reshape(1, n * 3, ROWS, COLUMNS), (5, 5, 5, 5), mode="replicate")
    flat = functional.conv2d(
        flat, rows.repeat_interleave(3, 0)[:, None, :, None], groups=3 * n
    )
    flat = functional.conv2d(
        flat, columns.repeat_interleave(3, 0)[:, None, None, :], groups=3 * n
    )
    return flat.reshape(n, 3, ROWS, COLUMNS)


LUMA = torch.tensor(
    [[0.299, 0.587, 0.114], [-0.1687, -0.3313, 0.5], [0.5, -0.4187, -0.0813]], device=DEVICE
)
DCT = torch.tensor(
    [
        [
            math.sqrt((1 if k == 0 else 2) / 8) * math.cos((2 * i + 1) * k * math.pi / 16)
            for i in range(8)
        ]
        for k in range(8)
    ],
    device=DEVICE,
)


def _blocks(x, on):
    """Quantise 8 x 8 blocks in luma and chroma; steps grow with frequency."""
    n = len(x)
    y = torch.einsum("ij,njrc->nirc", LUMA, x) * 255
    b = y.reshape(n, 3, ROWS // 8, 8, COLUMNS // 8, 8)
    f = torch.einsum("ki,nhaibj,lj->nhakbl", DCT, b, DCT)
    k = torch.arange(8, device=DEVICE, dtype=torch.float32)
    step = (2 + 1.6 * (k[:, None] + k[None, :]))[None, None, None, :, None, :]
    strength = torch.exp(_u(n, math.log(0.5), math.log(6.0)))[:, None, None, None, None, None]
    step = (
        step
        * strength
        * torch.tensor([1.0, 1.8, 1.8], device=DEVICE)[None, :, None, None, None, None]
    )
    q = (f / step).round() * step
    b = torch.einsum("ki,nhakbl,lj->nhaibj", DCT, q, DCT)
    back = torch.einsum(
        "ij,njrc->nirc", torch.linalg.inv(LUMA), b.reshape(n, 3, ROWS, COLUMNS) / 255
    )
    on = on[:, None, None, None]
    return (back * on + x * (1 - on)).clamp(0, 1)


def normalised(x):
    """Mean 0 in each colour, standard deviation 1 in all."""
    x = x - x.mean(dim=(2, 3), keepdim=True)
    return x / (x.std(dim=(1, 2, 3), keepdim=True) + 0.03)


def targets(p: Piece):
    """Kind (n, R / 2) and state (n, R / 2) of every second row."""
    rows = torch.arange(ROWS // STRIDE, device=DEVICE) * STRIDE + 0.5 * (STRIDE - 1)
    kind = torch.zeros(p.n, ROWS // STRIDE, dtype=torch.long, device=DEVICE)
    for j in range(p.levels.shape[1]):
        near = (rows[None] - p.levels[:, j, :1]).abs() <= NEAR_WIDTHS * WIDTH
        there = near & (p.levels[:, j, 1:] > 0)
        kind = torch.where(there, p.levels[:, j, 1:].long(), kind)
    return kind, p.state[:, ::STRIDE]


def batch(strips: Strips, n: int):
    with torch.no_grad():
        p = Piece(*pieces(strips, n))
        break_columns(p)
        plugs(p)
        other_fillings(p)
        recolour(p)
        texture(p)
        dirty(p)
        glare(p)
        shade(p)
        rings(p)
        cover(p)
        burn(p)
        x = normalised(photograph(p))
        return x, *targets(p)


# ------------------------------------------------------------------------------ training


def train(strips: Strips, seconds: float, weights: Path | None) -> LevelNet:
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    torch.backends.cudnn.benchmark = True
    net = LevelNet().to(DEVICE)
    if weights is not None and weights.suffix == ".onnx":
        net = opened(weights, strips)
    elif weights is not None:
        net.load_state_dict(torch.load(weights, map_location=DEVICE))
    rate = 2.5e-3 if weights is None else 1.2e-3
    optimiser = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=0.01)
    average = torch.optim.swa_utils.AveragedModel(
        net, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.998), use_buffers=True
    )
    began, step, told = time.time(), 0, 0.0
    kept = [0.0, 0.0]
    while (passed := (time.time() - began) / seconds) < 1:
        if step % 100 == 0:
            strips.refresh(400)
        warm = min(step / 200, 1.0)
        for group in optimiser.param_groups:
            group["lr"] = rate * warm * 0.5 * (1 + math.cos(math.pi * min(passed, 0.97)))
        x, kind, state = batch(strips, BATCH)
        scores = net(x)[..., 0]
        loss_kind = functional.cross_entropy(scores[:, :KINDS], kind)
        loss_state = functional.cross_entropy(scores[:, KINDS:], state, ignore_index=UNKNOWN)
        loss = loss_kind + STATE_WEIGHT * loss_state
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        average.update_parameters(net)
        kept = [
            0.98 * kept[0] + 0.02 * float(loss_kind.detach()),
            0.98 * kept[1] + 0.02 * float(loss_state.detach()),
        ]
        step += 1
        if time.time() - told > 10:
            told = time.time()
            print(
                f"{told - began:5.0f} s  step {step}  strips {len(strips)}"
                f"  {kept[0]:.4f} {kept[1]:.4f}",
                flush=True,
            )
    return average.module.eval()


def opened(onnx: Path, strips: Strips) -> LevelNet:
    """Make the network of a file one that can be trained on.

    The file's convolutions hold their batch norms. Those put back have the mean and the spread
    that pieces of the strips show there, and change nothing.
    """
    stored = cv2.dnn.readNetFromONNX(str(onnx), cv2.dnn.ENGINE_CLASSIC)
    blobs = [stored.getLayer(name).blobs for name in stored.getLayerNames()]
    net = LevelNet().to(DEVICE).eval()
    convolutions = [m for m in net.modules() if isinstance(m, nn.Conv2d)]
    norms = [m for m in net.modules() if isinstance(m, nn.BatchNorm2d)]
    for layer, (weight, bias) in zip(convolutions, filter(None, blobs), strict=True):
        layer.weight.data = torch.from_numpy(weight).transpose(2, 3).contiguous().to(DEVICE)
        shift = torch.from_numpy(bias).ravel().to(DEVICE)
        norm = norms[convolutions.index(layer)] if layer.bias is None else None
        if norm is None:
            layer.bias.data = shift
        else:
            norm.bias.data, norm.running_var = shift, torch.ones_like(shift) - norm.eps
    seen: dict[nn.Module, list[torch.Tensor]] = {norm: [] for norm in norms}
    hooks = [
        norm.register_forward_pre_hook(
            lambda norm, inputs: seen[norm].append(_moments(*inputs))
        )
        for norm in norms
    ]
    with torch.no_grad():
        for _ in range(8):
            net(batch(strips, BATCH)[0])
    for norm, hook in zip(norms, hooks, strict=True):
        hook.remove()
        first, second = torch.stack(seen[norm]).mean(dim=0)
        norm.running_mean, norm.running_var = first, second - first**2
        norm.weight.data = (norm.running_var + norm.eps).sqrt()
        norm.bias.data = norm.bias.data + first
    return net.train()


def _moments(x: torch.Tensor) -> torch.Tensor:
    """Mean and mean square of each channel, (2, C)."""
    return torch.stack([x.mean(dim=(0, 2, 3)), (x**2).mean(dim=(0, 2, 3))])


def export(net: LevelNet, path: Path) -> None:
    """Write the network for strips that lie: along long rows OpenCV takes 0.6 of the time."""
    net = net.cpu().float().eval().lying()
    torch.onnx.export(
        net,
        torch.zeros(1, 3, COLUMNS, 512),
        str(path),
        input_names=["strip"],
        output_names=["scores"],
        dynamic_axes={"strip": {3: "rows"}, "scores": {3: "half_rows"}},
        opset_version=17,
        dynamo=False,
    )


def mean(onnx: Path, weights: list[Path]) -> None:
    """Export the mean of networks that are stages of one training."""
    states = [torch.load(path, map_location="cpu") for path in weights]
    net = LevelNet()
    net.load_state_dict(
        {key: sum(s[key].double() for s in states) / len(states) for key in states[0]}
    )
    export(net, onnx)


def main() -> None:
    if "--mean" in sys.argv:
        paths = [Path(name) for name in sys.argv[1:] if name != "--mean"]
        return mean(paths[0], paths[1:])
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("strips", type=Path)
    parser.add_argument("onnx", type=Path)
    parser.add_argument("seconds", type=float)
    parser.add_argument("weights", type=Path, nargs="?")
    parser.add_argument("--photos", type=Path, help="strips that strips_of_photos.py made")
    a = parser.parse_args()
    strips = Strips(a.strips)
    strips.refresh(3000)
    if a.photos:
        strips.take_in_photos(a.photos)
    net = train(strips, a.seconds, a.weights)
    torch.save(net.state_dict(), a.onnx.with_suffix(".pt"))
    export(net, a.onnx)


if __name__ == "__main__":
    main()
