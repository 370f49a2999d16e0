"""Train the network of ``vision/numerals_net.onnx``, which reads printed numbers.

Data recipe: number strings (and unit names) are set from the glyph atlas of ``glyphs.py``
on a long row; each step then draws a batch of them on the accelerator with random height,
stretch, slant and place, graduation lines touching, crossing or ending beside them, border
lines, other numbers above and below, uneven light, blur, motion, sharpening, noise of
several grain sizes and block quantisation like that of JPEG. The network has seen no
photograph. It gives, per column step, the log-probability of each class, trained with the
connectionist temporal classification loss [1]_. Run::

    python train_numerals.py glyphs.npz held_out.npz numerals_net.onnx SECONDS [WEIGHTS.pt]

The shipped network had 200 s and then, from its weights, 150 s on one data-centre GPU.

.. [1] Graves et al., Proc. ICML 2006, 369-376.
"""

# mypy: ignore-errors
# A script beside the product: its libraries are no dependencies and need no types.

from __future__ import annotations

import multiprocessing
import sys
import time

import numpy as np
import torch
from torch import nn
from torch.nn import functional

CHARACTERS = "0123456789.abcghikmnprsHOP,-"
CLASSES = "0123456789.abcghikmnprsHOP"
"""Class 0 is blank; a comma counts as a point, a minus sign is not read."""
UNITS = ("mm", "cm", "in", "mmHg", "inHg", "cmHg", "mbar", "bar", "kPa", "hPa", "Pa", "psi",
         "mmH2O", "cmH2O", "inH2O", "m", "kg", "g")  # fmt: skip
ROW_HEIGHT, ROW_WIDTH = 64, 320
ROW_MIDDLE = 31.0
"""Row of the middle of the figures in an atlas cell (baseline 51, height 40)."""
HEIGHT, WIDTH = 32, 96
BATCH = 1024
LONGEST = 7
BLANK_FRACTION = 0.12
RANDOM = np.random.default_rng()
NOISE_TO_CONTRAST = 0.4
"""Largest standard deviation of the noise as a fraction of the contrast of the ink."""


class NumeralNet(nn.Module):
    """(N, 1, 32, W) crops to (N, 1 + len(CLASSES), 1, W // 2) log-probabilities."""

    def __init__(self) -> None:
        super().__init__()

        def block(inputs: int, outputs: int, stride: tuple[int, int]) -> list[nn.Module]:
            return [
                nn.Conv2d(inputs, outputs, 3, stride, 1, bias=False),
                nn.BatchNorm2d(outputs),
                nn.ReLU(),
            ]

        self.layers = nn.Sequential(
            nn.Conv2d(1, 12, 3, 1, 1),
            nn.ReLU(),
            *block(12, 32, (2, 2)),
            *block(32, 48, (2, 1)),
            *block(48, 64, (2, 1)),
            *block(64, 80, (2, 1)),
            nn.Conv2d(80, 96, (2, 3), 1, (0, 1), bias=False),
            nn.BatchNorm2d(96),
            nn.ReLU(),
            nn.Conv2d(96, 64, (1, 5), 1, (0, 2)),
            nn.ReLU(),
            nn.Conv2d(64, 1 + len(CLASSES), 1),
        )

    def forward(self, crops: torch.Tensor) -> torch.Tensor:
        """Log-probabilities; softmax over classes."""
        return functional.log_softmax(self.layers(crops), dim=1)


def draw_string(rng: np.random.Generator) -> str:
    """One label: even digits half the time, scale-like numbers and units otherwise."""
    kind = rng.random()
    if kind < 0.12:
        return str(rng.choice(UNITS))
    if kind < 0.5:
        length = rng.choice((1, 2, 3, 4, 5), p=(0.2, 0.3, 0.3, 0.13, 0.07))
        return "".join(rng.choice(list("0123456789"), length))
    if kind < 0.8:
        return str(
            rng.integers(0, 10 ** rng.integers(1, 4)) * rng.choice((1, 2, 5, 10, 20, 50, 100))
        )
    whole = "" if rng.random() < 0.05 else str(rng.integers(0, 10 ** rng.integers(1, 3)))
    return (
        whole
        + rng.choice((".", ".", ","))
        + str(rng.integers(0, 10 if rng.random() < 0.7 else 100))
    )


def set_row(
    atlas: dict[str, np.ndarray], rng: np.random.Generator
) -> tuple[np.ndarray, list[int], float]:
    """A string set in one face: row of ink (64, 320), classes, and its length in pixels."""
    family = rng.integers(atlas["family"].max() + 1)
    face = rng.choice(np.flatnonzero(atlas["family"] == family))
    text = draw_string(rng)
    shown = "-" + text if rng.random() < 0.03 else text
    spacing = rng.choice((0.0, rng.uniform(-1.5, 4.0)))
    row = np.zeros((ROW_HEIGHT, ROW_WIDTH), np.uint8)
    x = 0.0
    for character in shown:
        index = CHARACTERS.index(character)
        left = round(x)
        if left + ROW_HEIGHT > ROW_WIDTH:
            break
        span = row[:, left : left + ROW_HEIGHT]
        np.maximum(span, atlas["cells"][face, index], out=span)
        x += atlas["advances"][face, index] + spacing
    target = [1 + CLASSES.index(c) for c in text.replace(",", ".")]
    return row, target, x


def make_rows(
    job: tuple[str, int, int],
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Many rows from one seed: ink, padded targets, target lengths, row lengths."""
    path, seed, count = job
    atlas = dict(np.load(path))
    rng = np.random.default_rng(seed)
    rows = np.zeros((count, ROW_HEIGHT, ROW_WIDTH), np.uint8)
    targets, lengths = np.zeros((count, LONGEST), np.int64), np.zeros(count, np.int64)
    extents = np.zeros(count, np.float32)
    for i in range(count):
        rows[i], target, extents[i] = set_row(atlas, rng)
        targets[i, : len(target)], lengths[i] = target, len(target)
    return rows, targets, lengths, extents


def load_rows(path: str, count: int, seed: int, workers: int) -> list[torch.Tensor]:
    """Rows from several processes, as tensors."""
    jobs = [(path, seed + i, count // workers) for i in range(workers)]
    with multiprocessing.Pool(workers) as pool:
        parts = pool.map(make_rows, jobs)
    return [torch.from_numpy(np.concatenate(part)) for part in zip(*parts, strict=True)]


class Drawing:
    """Draws a batch of crops on a grid of twice the resolution of the network's input."""

    def __init__(self, device: torch.device) -> None:
        self.device = device
        self.y = torch.arange(2 * HEIGHT, device=device).view(1, -1, 1).float()
        self.x = torch.arange(2 * WIDTH, device=device).view(1, 1, -1).float()

    def uniform(self, n: int, low: float, high: float) -> torch.Tensor:
        return torch.empty(n, 1, 1, device=self.device).uniform_(low, high)

    def chance(self, n: int, p: float) -> torch.Tensor:
        return (torch.rand(n, 1, 1, device=self.device) < p).float()

    def ink(
        self, rows: torch.Tensor, pose: dict[str, torch.Tensor], dy: torch.Tensor
    ) -> torch.Tensor:
        """Ink of the rows at a pose, shifted down by dy."""
        x, y = self.x - pose["x"], self.y - pose["y"] - dy
        u = (x * pose["cos"] + y * pose["sin"] + pose["slant"] * y) / pose["scale_x"] + pose[
            "half"
        ]
        v = (-x * pose["sin"] + y * pose["cos"]) / pose["scale_y"] + ROW_MIDDLE
        grid = torch.stack((2 * u / (ROW_WIDTH - 1) - 1, 2 * v / (ROW_HEIGHT - 1) - 1), -1)
        sampled = functional.grid_sample(
            rows[:, None].float() / 255,
            grid.expand(-1, 2 * HEIGHT, 2 * WIDTH, -1),
            align_corners=True,
        )
        return sampled[:, 0]

    def pose(self, n: int, extent: torch.Tensor) -> dict[str, torch.Tensor]:
        """Height 12 to 23 of the 32 rows, anywhere it fits, turned and slanted a little."""
        height = 2 * self.uniform(n, 12.0, 23.0)
        scale_y = height / 40
        length = extent.view(-1, 1, 1)
        scale_x = torch.minimum(
            scale_y * self.uniform(n, 0.72, 1.2), 0.97 * 2 * WIDTH / (length + 1)
        )
        room = (2 * WIDTH - length * scale_x).clamp(min=0) / 2
        x = WIDTH + room * self.uniform(n, -1, 1) * self.uniform(n, 0, 1)
        angle = self.uniform(n, -0.07, 0.07)
        return {
            "x": x, "y": HEIGHT - 0.5 + self.uniform(n, -0.16, 0.16) * height,
            "cos": torch.cos(angle), "sin": torch.sin(angle),
            "slant": self.uniform(n, -0.1, 0.1), "scale_x": scale_x, "scale_y": scale_y,
            "half": 8 + length / 2, "height": height, "length": length * scale_x,
        }  # fmt: skip

    def lines(self, n: int, pose: dict[str, torch.Tensor]) -> torch.Tensor:
        """Graduation lines beside (seldom through) the number, and border lines."""
        pitch = torch.exp(self.uniform(n, np.log(4.0), np.log(90.0)))
        thick = torch.minimum(self.uniform(n, 0.8, 6.0), 0.45 * pitch)
        phase = pose["y"] + self.uniform(n, -4, 4)
        offset = torch.remainder(self.y - phase + pitch / 2, pitch) - pitch / 2
        comb = (thick / 2 + 0.5 - offset.abs()).clamp(0, 1)
        own = (thick / 2 + 0.5 - (self.y - phase).abs()).clamp(0, 1)
        total = torch.zeros(n, 2 * HEIGHT, 2 * WIDTH, device=self.device)
        for side in (-1.0, 1.0):
            gap = pose["length"] / 2 + self.uniform(n, -3.0, 24.0)
            distance = side * (self.x - pose["x"]) - gap
            longer = self.uniform(n, 0.0, 20.0) * self.chance(n, 0.7)
            far = self.uniform(n, 10.0, 200.0)
            small = (distance - longer).clamp(0, 1) * (far - distance).clamp(0, 1)
            large = distance.clamp(0, 1) * (far - distance).clamp(0, 1)
            present = self.chance(n, 0.55)
            total = torch.maximum(total, present * torch.maximum(comb * small, own * large))
        total = torch.maximum(total, comb * self.chance(n, 0.03))
        return total

    def bars(self, n: int, pose: dict[str, torch.Tensor]) -> torch.Tensor:
        """Change of tone by borders and tube walls beside the number, some across it."""
        total = torch.zeros(n, 1, 2 * WIDTH, device=self.device)
        for side in (-1.0, 1.0):
            across = self.chance(n, 0.25)
            away = across * self.uniform(n, -1.0, 0.1) * pose["length"] / 2
            away = pose["length"] / 2 + away + (1 - across) * self.uniform(n, 3.0, 60.0)
            wide = self.uniform(n, 0.5, 9.0)
            bar = (wide - (self.x - pose["x"] - side * away).abs()).clamp(0, 1)
            total = total + bar * self.chance(n, 0.2) * self.uniform(n, -1.0, 1.0)
        return total

    def light(self, n: int) -> torch.Tensor:
        """Slow changes of tone: a slope, blotches and a step beyond a random column."""
        slope = (
            self.uniform(n, -1, 1) * self.x / WIDTH + self.uniform(n, -1, 1) * self.y / HEIGHT
        )
        blotches = functional.interpolate(
            torch.randn(n, 1, 4, 9, device=self.device),
            (2 * HEIGHT, 2 * WIDTH),
            mode="bilinear",
        )[:, 0]
        step = (self.x > self.uniform(n, -WIDTH, 3 * WIDTH)).float() * self.chance(n, 0.15)
        return (
            0.08 * slope
            + 0.05 * self.uniform(n, 0, 1) * blotches
            + 0.5 * step * self.uniform(n, -1, 1)
        )

    def degrade(self, image: torch.Tensor, contrast: torch.Tensor) -> torch.Tensor:
        """Blur, sharpening, noise and block quantisation; ends at the network's resolution."""
        n = len(image)
        parts = [
            smear(part, *blur) for part, blur in zip(image.chunk(16), blurs(16), strict=True)
        ]
        image = functional.avg_pool2d(torch.cat(parts)[:, None], 2)
        halo = image - functional.avg_pool2d(image, 3, 1, 1, count_include_pad=False)
        image = image + self.chance(n, 0.4)[:, None] * self.uniform(n, 0, 1.5)[:, None] * halo
        level = (
            0.004 + (NOISE_TO_CONTRAST * contrast.abs() * self.uniform(n, 0, 1) ** 2)[:, None]
        )
        grains = []
        for part in torch.zeros_like(image).chunk(8):
            size = RANDOM.choice((0.33, 0.5, 0.75, 1.0, 1.4))
            shape = (int(HEIGHT * size), int(WIDTH * size))
            noise = torch.randn(len(part), 1, *shape, device=self.device)
            grains.append(functional.interpolate(noise, (HEIGHT, WIDTH), mode="bilinear"))
        return blocks(image + level * torch.cat(grains))

    def batch(
        self, rows: torch.Tensor, extent: torch.Tensor, blank: torch.Tensor
    ) -> torch.Tensor:
        """Crops (N, 1, 32, 96), each with mean 0 and standard deviation 1."""
        n = len(rows)
        pose = self.pose(n, extent)
        ink = self.ink(rows, pose, torch.zeros_like(pose["x"])) * (
            1 - blank.view(-1, 1, 1).float()
        )
        away = pose["height"] * (1.2 + 1.3 * self.uniform(n, 0, 1) ** 2)
        for sign in (-1, 1):
            other = self.ink(rows.roll(sign, 0), pose, sign * away) * self.chance(n, 0.3)
            ink = torch.maximum(ink, other)
        ink = torch.maximum(
            ink * self.uniform(n, 0.75, 1.0), self.lines(n, pose) * self.uniform(n, 0.4, 1.0)
        )
        contrast = torch.where(self.chance(n, 0.25) > 0, 1.0, -1.0) * torch.exp(
            self.uniform(n, np.log(0.08), np.log(0.9))
        )
        lit = self.light(n) * self.uniform(n, 0, 1) * (0.2 + contrast.abs())
        bars = self.bars(n, pose)
        tone = torch.where(bars.abs() > 0.5, 0.4 * contrast * ink, contrast * ink)
        image = self.degrade(0.5 + lit + tone + contrast.abs() * bars, contrast)
        return normalise(image)


def normalise(image: torch.Tensor) -> torch.Tensor:
    """Mean 0, standard deviation 1 per crop; the floor keeps an empty crop quiet."""
    centred = image - image.mean((1, 2, 3), keepdim=True)
    return centred / (centred.std((1, 2, 3), keepdim=True) + 0.01)


def blurs(count: int) -> list[tuple[float, float]]:
    """Standard deviations (rows, columns) in doubled pixels; some motion-like."""
    round_ = RANDOM.uniform(0.3, 5.5, count) * RANDOM.uniform(0.3, 1.0, count)
    motion = RANDOM.uniform(0.5, 2.0, (count, 2))
    uneven = np.where(RANDOM.random((count, 2)) < 0.2, motion, 1.0)
    return [tuple(row) for row in np.clip(round_[:, None] * uneven, 0.2, 6.5)]


def smear(image: torch.Tensor, rows: float, columns: float) -> torch.Tensor:
    """Separable Gaussian blur of (N, H, W)."""
    offsets = torch.arange(-14, 15, device=image.device).float()
    image = image[:, None]
    for sigma, shape, pad in (
        (rows, (1, 1, -1, 1), (0, 0, 14, 14)),
        (columns, (1, 1, 1, -1), (14, 14, 0, 0)),
    ):
        kernel = torch.exp(-0.5 * (offsets / sigma) ** 2)
        image = functional.conv2d(
            functional.pad(image, pad, "replicate"), (kernel / kernel.sum()).view(shape)
        )
    return image[:, 0]


def blocks(image: torch.Tensor) -> torch.Tensor:
    """Quantise 8 x 8 cosine coefficients of half the batch, as JPEG does."""
    k = torch.arange(8, device=image.device).float()
    basis = torch.cos((2 * k[None] + 1) * k[:, None] * np.pi / 16) * np.sqrt(2 / 8)
    basis[0] = np.sqrt(1 / 8)
    half = len(image) // 2
    tiles = image[:half].unfold(2, 8, 8).unfold(3, 8, 8)
    coefficients = basis @ tiles @ basis.T
    strength = torch.empty(half, 1, 1, 1, 1, 1, device=image.device).uniform_(0.005, 0.05)
    step = strength * (1 + 0.5 * (k[:, None] + k[None]))
    tiles = basis.T @ (torch.round(coefficients / step) * step) @ basis
    joined = tiles.permute(0, 1, 2, 4, 3, 5).reshape(half, 1, HEIGHT, WIDTH)
    return torch.cat((joined, image[half:]))


def greedy(log_probabilities: torch.Tensor) -> list[str]:
    """Most likely class per step, repeats and blanks dropped."""
    texts = []
    for steps in log_probabilities[:, :, 0].argmax(1).cpu().numpy():
        kept = steps[np.insert(steps[1:] != steps[:-1], 0, True)]
        texts.append("".join(CLASSES[c - 1] for c in kept if c))
    return texts


def measure(net: nn.Module, drawing: Drawing, data: list[torch.Tensor]) -> float:
    """Fraction of non-blank crops read right without any context."""
    rows, targets, lengths, extents = data
    right = 0
    for first in range(0, len(rows) - BATCH + 1, BATCH):
        span = slice(first, first + BATCH)
        blank = torch.zeros(BATCH, device=rows.device)
        with torch.no_grad():
            texts = greedy(net(drawing.batch(rows[span], extents[span], blank)))
        pairs = zip(targets[span].tolist(), lengths[span].tolist(), strict=True)
        wanted = ["".join(CLASSES[c - 1] for c in codes[:length]) for codes, length in pairs]
        right += sum(a == b for a, b in zip(texts, wanted, strict=True))
    return right / (len(rows) // BATCH * BATCH)


def train(
    data: list[torch.Tensor], held: list[torch.Tensor], seconds: float, start_from: str | None
) -> NumeralNet:
    """One-cycle training until the time is up, from earlier weights if there are some."""
    device = data[0].device
    net, drawing = NumeralNet().to(device), Drawing(device)
    if start_from is not None:
        net.load_state_dict(torch.load(start_from, map_location=device))
    optimiser = torch.optim.AdamW(net.parameters(), 2e-3, weight_decay=1e-2)
    start, step, done = time.monotonic(), 0, 0.0
    while done < 1.0:
        done = (time.monotonic() - start) / seconds
        rate = (
            3e-3 * min(1.0, 20 * done + 0.02) * 0.5 * (1 + np.cos(np.pi * min(done, 1.0)))
            + 1e-6
        )
        for group in optimiser.param_groups:
            group["lr"] = rate
        pick = torch.randint(len(data[0]), (BATCH,), device=device)
        rows, targets, lengths, extents = (part[pick] for part in data)
        blank = torch.rand(BATCH, device=device) < BLANK_FRACTION
        out = net(drawing.batch(rows, extents, blank))[:, :, 0].permute(2, 0, 1)
        steps = torch.full((BATCH,), out.shape[0], dtype=torch.long, device=device)
        loss = functional.ctc_loss(out, targets, steps, lengths * ~blank, zero_infinity=True)
        optimiser.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        step += 1
        if step % 1000 == 1:
            net.eval()
            print(f"{step} {time.monotonic() - start:.0f} s loss {loss.item():.4f} "
                  f"held-out faces {measure(net, drawing, held):.4f}", flush=True)  # fmt: skip
            net.train()
    return net.eval()


def main(
    faces: str, held_faces: str, target: str, seconds: str, start_from: str | None = None
) -> None:
    """Make the rows, train, export."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    count, workers = (400_000, 16) if device.type == "cuda" else (4_096, 2)
    data = [part.to(device) for part in load_rows(faces, count, 1, workers)]
    held = [part.to(device) for part in load_rows(held_faces, count // 40, 10_001, workers)]
    net = train(data, held, float(seconds), start_from)
    print("held-out faces, single crops right:", measure(net, Drawing(device), held))
    torch.save(net.state_dict(), target.replace(".onnx", ".pt"))
    example = torch.zeros(1, 1, HEIGHT, WIDTH)
    torch.onnx.export(
        net.cpu(),
        (example,),
        target,
        input_names=["crops"],
        output_names=["log_probabilities"],
        dynamic_axes={"crops": {0: "n", 3: "w"}, "log_probabilities": {0: "n", 3: "t"}},
        dynamo=False,
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
