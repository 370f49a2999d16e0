"""Train the networks of ``vision/limbs_*net.onnx``, which say where tubes stand.

Data recipe: boards straightened (``straighten_boards.py``) from generated photographs of all
classes, benches of schools and workshops among them, and from path-traced ones, in linear
light. Each step takes random boards, and on the accelerator gives them other sizes, colours,
shadows and glare, ruled paper, and things that are no tubes but stand upright as they do:
bars, rods, wires, edges of planks and strips, bands of print; then blur, noise and tone curve.
The networks have seen no real photograph. For every column they give the score that a tube's
axis is there, and the tube's outside diameter. Run::

    python train_limbs.py BOARDS limbs_net.onnx SECONDS [WEIGHTS.pt] [--photos BOARDS]

The shipped networks: 425 s each on a data-centre GPU, on 1314 boards of 438 generated
photographs (seeds from 60000, those of benches from 70000, 900 x 1200 px) and 1944 boards of
648 path-traced ones, of the seeds that ``train_levels.py`` has learnt from; ``PHOTO_SHARE``
was 0.65 for ``limbs_second_net.onnx``.
"""

# mypy: ignore-errors
# A script beside the product: its libraries are no dependencies and need no types.

from __future__ import annotations

import argparse
import math
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import nn
from torch.nn import functional

ROWS, COLUMNS = 128, 288
"""Of a training piece; the network takes any even number of columns."""
NEAR_COLUMNS = 1.0
"""Standard deviation of the bump at an axis."""
USUAL_WIDTH = 12.0
"""Columns to an outside diameter at which the second score is 0."""
BATCH = 64
PHOTO_SHARE = 0.5
"""Of the pieces, where there are boards of photographs besides."""
PEAK_RATE = 2e-3
AVERAGED_STEPS = 1000
"""The weights shipped are a running mean over about so many steps."""
NARROWEST, WIDEST = 0.4, 2.2
"""Tubes' outside diameters in training, as shares of ``USUAL_WIDTH``."""
BRIGHTEST, GAMMA = 3.0, 2.4
DEVICE = "cuda" if torch.cuda.is_available() else "cpu"


class LimbNet(nn.Module):
    """(N, 3, 128, C) boards to (N, 2, 1, C): axis score, ln(width / USUAL_WIDTH)."""

    def __init__(self) -> None:
        super().__init__()

        def block(inputs, outputs, kernel=(3, 3), stride=(1, 1), dilation=1):
            pad = ((kernel[0] - 1) // 2, (kernel[1] - 1) // 2 * dilation)
            return nn.Sequential(
                nn.Conv2d(inputs, outputs, kernel, stride, pad, (1, dilation), bias=False),
                nn.BatchNorm2d(outputs),
                nn.ReLU(),
            )

        self.near = nn.Sequential(
            block(3, 16, stride=(2, 1)),
            block(16, 24, stride=(2, 1)),
            block(24, 40, stride=(2, 2)),
            block(40, 40, stride=(2, 1)),
            block(40, 56, stride=(2, 1)),
        )
        self.wide = nn.ModuleList(
            block(width, 80, kernel=(1, 5), dilation=d)
            for width, d in ((112, 1), (80, 2), (80, 4), (80, 8), (80, 1))
        )
        self.head = nn.ConvTranspose2d(80, 2, (1, 4), (1, 2), (0, 1))
        # Axes are few: scores start low.
        nn.init.constant_(self.head.bias, 0.0)
        with torch.no_grad():
            self.head.bias[0] = -4.0

    def forward(self, x):
        y = self.near(x)
        # Four blocks along the board: a tube goes on through all of them, or most.
        y = torch.cat([y.mean(dim=2, keepdim=True), y.amax(dim=2, keepdim=True)], dim=1)
        for k, layer in enumerate(self.wide):
            y = layer(y) if k == 0 else y + layer(y)
        return self.head(y)


class Boards:
    """Boards on the accelerator, padded to one size.

    Attributes
    ----------
    weight
        How often each is taken, relative to the others.
    """

    def __init__(self, drawn: Path, photos: Path | None) -> None:
        folders = [drawn, photos] if photos else [drawn]
        paths = [sorted(folder.rglob("*.npz")) for folder in folders]
        with ThreadPoolExecutor(8) as pool:
            parts = [[b for b in pool.map(_read, some) if b is not None] for some in paths]
        read = [board for part in parts for board in part]
        shares = (1 - PHOTO_SHARE, PHOTO_SHARE) if photos else (1.0,)
        each = [np.full(len(p), s / len(p)) for p, s in zip(parts, shares, strict=True)]
        self.weight = torch.tensor(np.concatenate(each), device=DEVICE)
        rows = max(len(light) for light, _ in read)
        columns = max(light.shape[1] for light, _ in read)
        most = max(len(tubes) for _, tubes in read)
        self.size = torch.tensor([light.shape[:2] for light, _ in read], device=DEVICE)
        self.light = torch.zeros(
            (len(read), 3, rows, columns), dtype=torch.float16, device=DEVICE
        )
        self.tubes = torch.full((len(read), most, 2), -1e6, device=DEVICE)
        for k, (light, tubes) in enumerate(read):
            h, w = light.shape[:2]
            self.light[k, :, :h, :w] = torch.from_numpy(light).permute(2, 0, 1)
            self.tubes[k, : len(tubes)] = torch.from_numpy(tubes)

    def __len__(self) -> int:
        return len(self.light)


def _read(path: Path):
    try:
        with np.load(path) as file:
            bgr = cv2.imdecode(file["picture"], cv2.IMREAD_COLOR)
            tubes = file["tubes"]
    except (OSError, ValueError, EOFError):
        return None
    light = BRIGHTEST * (bgr[:, :, ::-1].astype(np.float32) / 255) ** GAMMA
    return light.astype(np.float16), tubes


def pieces(boards: Boards, n: int):
    """Random pieces (n, 3, R, C) with targets (n, 3, C): axis bump, ln width, its weight."""
    which = torch.multinomial(boards.weight, n, replacement=True)
    rows, columns = boards.size[which].float().T
    # Tubes of one board are alike; a board without any is taken for a usual one.
    diameter = boards.tubes[which, 0, 1]
    diameter = torch.where(diameter > 0, diameter, torch.full_like(diameter, 16.0))
    wide = diameter / USUAL_WIDTH / torch.exp(_u(n, math.log(NARROWEST), math.log(WIDEST)))
    spare = columns - COLUMNS * wide
    start = spare.clamp(max=0) - 4 + torch.rand(n, device=DEVICE) * (spare.abs() + 8)
    share = _u(n, 0.55, 1.0)
    first = torch.rand(n, device=DEVICE) * (1 - share) * rows
    mirrored = torch.rand(n, device=DEVICE) < 0.5
    r = torch.linspace(0, 1, ROWS, device=DEVICE)
    c = torch.arange(COLUMNS, device=DEVICE, dtype=torch.float32)[None, :]
    c = torch.where(mirrored[:, None], COLUMNS - 1 - c, c)
    y = first[:, None] + (share * rows)[:, None] * r[None, :]
    x = (start[:, None] + wide[:, None] * c)[:, None, :]
    lean = 0.004 * torch.randn(n, device=DEVICE)
    x = x + _v(lean) * (y - rows[:, None] / 2)[:, :, None]
    x = x.clamp(min=torch.zeros_like(columns)[:, None, None], max=(columns - 1)[:, None, None])
    y = torch.minimum(y, rows[:, None] - 1)[:, :, None].expand_as(x)
    height, width = boards.light.shape[2:]
    grid = torch.stack([2 * (x + 0.5) / width - 1, 2 * (y + 0.5) / height - 1], dim=-1)
    light = functional.grid_sample(boards.light[which].float(), grid, align_corners=False)
    tubes = boards.tubes[which]
    at = (tubes[..., 0] - start[:, None]) / wide[:, None]
    at = torch.where(mirrored[:, None], COLUMNS - 1 - at, at)
    away = torch.arange(COLUMNS, device=DEVICE) - at[..., None]
    bump = torch.exp(-0.5 * (away / NEAR_COLUMNS) ** 2).amax(dim=1)
    near = (away.abs() < 3).float()
    size = torch.log((tubes[..., 1].clamp(min=1e-3) / wide[:, None]) / USUAL_WIDTH)
    weight = near.amax(dim=1)
    log_width = (near * size[..., None]).sum(dim=1) / near.sum(dim=1).clamp(min=1)
    return light, torch.stack([bump, log_width, weight], dim=1)


def _u(n, low, high):
    return torch.rand(n, device=DEVICE) * (high - low) + low


def _on(n, share):
    return (torch.rand(n, device=DEVICE) < share).float()


def _v(x):
    return x[:, None, None]


def photograph(light, target):
    """Make a batch of drawings into photographs with distractors."""
    n = len(light)
    r = torch.arange(ROWS, device=DEVICE, dtype=torch.float32)[None, :, None]
    c = torch.arange(COLUMNS, device=DEVICE, dtype=torch.float32)[None, None, :]
    eye = torch.eye(3, device=DEVICE).expand(n, 3, 3)
    swap = torch.stack([eye[0][torch.randperm(3)] for _ in range(n)])
    matrix = torch.where(torch.rand(n, 1, 1, device=DEVICE) < 0.4, swap, eye)
    matrix = matrix + 0.1 * torch.randn(n, 3, 3, device=DEVICE)
    fade = _u(n, 0, 0.8) * _on(n, 0.3)
    matrix = matrix * (1 - _v(fade)) + _v(fade) / 3
    light = torch.einsum("nij,njrc->nirc", matrix, light).clamp(min=0)
    light = light * torch.exp(0.15 * torch.randn(n, 3, 1, 1, device=DEVICE))
    # Free columns: no distractor is laid over a tube.
    widest = functional.max_pool1d(
        target[:, 2:3] * torch.exp(target[:, 1:2]), 2 * 14 + 1, 1, 14
    )[:, 0]
    free = (widest == 0).float()[:, None, :]
    # Ruled and squared paper beside the tubes.
    for lines, pitches in ((r, (2.5, 30)), (c, (1.5, 25))):
        pitch = torch.exp(_u(n, math.log(pitches[0]), math.log(pitches[1])))
        phase = (lines / _v(pitch) + _v(torch.rand(n, device=DEVICE))) % 1.0
        thin = torch.sigmoid((_v(_u(n, 0.05, 0.3)) - (phase - 0.5).abs()) * _v(pitch) / 0.3)
        every = _v(torch.randint(2, 11, (n,), device=DEVICE))
        strong = ((lines / _v(pitch)).floor() % every == 0).float()
        ink = _v(_u(n, 0.05, 0.8) * _on(n, 0.2)) * thin * (0.4 + 0.6 * strong) * free
        colour = torch.rand(n, 3, device=DEVICE)[:, :, None, None]
        light = light * (1 - ink[:, None] * colour)
    # Bars, rods, wires, planks: upright bands, some shaded like a cylinder, some ending.
    for share in (0.35, 0.25, 0.2, 0.15):
        width = torch.exp(_u(n, math.log(1.2), math.log(28)))
        middle = _u(n, 0, COLUMNS)
        s = (c - _v(middle) - _v(0.003 * torch.randn(n, device=DEVICE)) * (r - ROWS / 2)) / _v(
            width / 2
        )
        inside = torch.sigmoid((1 - s.abs()) * _v(width / 2) / 0.35)
        end = _u(n, 0, ROWS)
        way = torch.sign(torch.randn(n, device=DEVICE))
        along = torch.where(
            _v(torch.rand(n, device=DEVICE)) < 0.3,
            torch.sigmoid((r - _v(end)) * _v(way) / 0.6),
            torch.ones_like(r),
        )
        kind = _v(torch.rand(n, device=DEVICE))
        tilt = _v(_u(n, -0.8, 0.8))
        round_shade = 0.35 + 0.65 * (1 - (s - tilt).clamp(-1, 1) ** 2)
        shine = 1.2 * torch.exp(-0.5 * ((s - tilt) / _v(_u(n, 0.05, 0.3))) ** 2)
        body = torch.where(kind < 0.35, torch.ones_like(s), round_shade)
        body = body + torch.where(kind > 0.6, shine, torch.zeros_like(s))
        colour = torch.exp(0.5 * torch.randn(n, 3, device=DEVICE)) * _u(n, 0.03, 0.8)[:, None]
        mask = (inside * along * free * _v(_on(n, share) * _u(n, 0.5, 1.0)))[:, None]
        light = light * (1 - mask) + colour[:, :, None, None] * body[:, None] * mask
    # An edge of the board: beyond it everything differs.
    for side in (-1.0, 1.0):
        reach = _u(n, 0, 0.3 * COLUMNS)
        place = reach if side < 0 else COLUMNS - reach
        beyond = torch.sigmoid((c - _v(place)) * side / 0.4) * free * _v(_on(n, 0.25))
        gain = torch.exp(0.8 * torch.randn(n, 3, device=DEVICE))
        light = light * (1 + beyond[:, None] * (gain[:, :, None, None] - 1))
    # Shadows, uneven light.
    slow = functional.interpolate(
        torch.randn(n, 1, 4, 5, device=DEVICE), size=(ROWS, COLUMNS), mode="bicubic",
        align_corners=True,
    )  # fmt: skip
    light = light * torch.exp(0.2 * _u(n, 0, 1)[:, None, None, None] * slow)
    for share in (0.3, 0.2):
        way = torch.randn(n, 2, device=DEVICE)
        way = way / way.norm(dim=1, keepdim=True)
        off = way[:, :1, None] * (r - ROWS / 2) + way[:, 1:, None] * (c - COLUMNS / 2)
        dark = torch.sigmoid(
            (off - _v(60 * torch.randn(n, device=DEVICE))) / _v(torch.exp(_u(n, -1.0, 3.0)))
        )
        light = light * (1 - _v(_u(n, 0.1, 0.6) * _on(n, share)) * dark)[:, None]
    # Patches of glare.
    for share in (0.2, 0.1):
        rho = torch.sqrt(
            ((r - _v(_u(n, 0, ROWS))) / _v(torch.exp(_u(n, 1.0, 4.5)))) ** 2
            + ((c - _v(_u(n, 0, COLUMNS))) / _v(torch.exp(_u(n, 0.5, 4.0)))) ** 2
        )
        spot = torch.sigmoid((1 - rho) * 4)
        light = light + _v(_u(n, 0.05, 1.5) * _on(n, share))[:, None] * spot[:, None]
    # Lens: blur along the columns by a random Gaussian.
    sigma = _u(n, 0.05, 0.9)
    tap = torch.arange(-3, 4, device=DEVICE, dtype=torch.float32)[None, :]
    kernel = torch.exp(-0.5 * (tap / sigma[:, None]) ** 2)
    kernel = (kernel / kernel.sum(dim=1, keepdim=True)).repeat_interleave(3, dim=0)
    flat = light.reshape(1, 3 * n, ROWS, COLUMNS)
    flat = functional.conv2d(flat, kernel[:, None, None, :], padding=(0, 3), groups=3 * n)
    light = flat.reshape(n, 3, ROWS, COLUMNS)
    light = light * torch.exp(_u(n, -0.7, 0.35))[:, None, None, None]
    light = light + 0.03 * _u(n, 0, 1)[:, None, None, None] * torch.randn_like(light) * (
        light.clamp(0.02, 1).sqrt()
    )
    light = light + _u(n, 0, 0.05)[:, None, None, None]
    light = light.clamp(1e-5, 1)
    curve = _u(n, -0.6, 0.6)[:, None, None, None]
    srgb = torch.where(light < 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    srgb = srgb + curve * srgb * (1 - srgb) * (2 * srgb - 1)
    return (srgb.clamp(0, 1) * 255).round() / 255


def loss_of(score, target):
    """Focal-like loss on the bump; absolute error of ln width near axes."""
    p = torch.sigmoid(score[:, 0, 0])
    want = target[:, 0]
    # Columns of a tube are one in forty.
    miss = (p - want).abs() ** 2 * (1 + 2 * want)
    bump = (
        miss
        * functional.binary_cross_entropy_with_logits(score[:, 0, 0], want, reduction="none")
    ).sum(dim=1)
    width = ((score[:, 1, 0] - target[:, 1]).abs() * target[:, 2]).sum() / target[
        :, 2
    ].sum().clamp(min=1)
    return bump.mean() + 2.0 * width, bump.mean(), width


def train(boards, seconds: float, weights: Path | None):
    net = LimbNet().to(DEVICE)
    if weights and weights.exists():
        net.load_state_dict(torch.load(weights, map_location=DEVICE))
    mean = torch.optim.swa_utils.AveragedModel(
        net,
        multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(1 - 1 / AVERAGED_STEPS),
        use_buffers=True,
    )
    optimiser = torch.optim.AdamW(net.parameters(), PEAK_RATE, weight_decay=1e-4)
    start, step, saved = time.time(), 0, 0.0
    while (spent := time.time() - start) < seconds:
        for group in optimiser.param_groups:
            warm = min(1.0, (step + 1) / 100)
            group["lr"] = (
                PEAK_RATE
                * warm
                * (0.02 + 0.98 * 0.5 * (1 + math.cos(math.pi * spent / seconds)))
            )
        light, target = pieces(boards, BATCH)
        total, bump, width = loss_of(net(photograph(light, target)), target)
        optimiser.zero_grad()
        total.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        mean.update_parameters(net)
        if step % 200 == 0:
            print(
                f"{spent:5.0f} s {step:6d}  {bump.item():.4f}  {width.item():.4f}", flush=True
            )
        step += 1
        if weights and spent - saved > 120:
            torch.save(mean.module.state_dict(), weights)
            saved = spent
    return mean.module.eval()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("boards", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("seconds", type=float)
    parser.add_argument("weights", type=Path, nargs="?")
    parser.add_argument("--photos", type=Path, help="boards of path-traced photographs")
    a = parser.parse_args()
    boards = Boards(a.boards, a.photos)
    print(f"{len(boards)} boards, {DEVICE}", flush=True)
    net = train(boards, a.seconds, a.weights)
    if a.weights:
        torch.save(net.state_dict(), a.weights)
    net = net.float().cpu()
    torch.onnx.export(
        net, torch.zeros(1, 3, ROWS, COLUMNS), str(a.out), opset_version=13, dynamo=False,
        input_names=["board"], output_names=["score"],
        dynamic_axes={"board": {3: "columns"}, "score": {3: "columns"}},
    )  # fmt: skip


if __name__ == "__main__":
    main()
