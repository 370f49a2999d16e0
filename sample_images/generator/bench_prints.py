"""Boards, rulers, papers and plates of ``benches``, with all that is printed on them."""

from __future__ import annotations

from dataclasses import dataclass

from sample_images.generator import looks, rulings, surfaces
from sample_images.generator.looks import INKS, Rng, pick
from sample_images.generator.plans import Frame, Plan
from sample_images.generator.printing import Sheet
from sample_images.generator.rulings import Ruling
from sample_images.generator.scene import Box, Face, Material, Print, Rgb

GRID_INKS: dict[str, Rgb] = {
    "green": (0.22, 0.50, 0.30),
    "orange": (0.72, 0.36, 0.16),
    "blue": (0.25, 0.42, 0.66),
    "grey": (0.35, 0.35, 0.36),
}
STUFF: dict[str, tuple[Rgb, str]] = {
    "ply": ((0.62, 0.46, 0.28), "wood"),
    "varnished": ((0.36, 0.20, 0.09), "wood"),
    "beech": ((0.72, 0.56, 0.36), "wood"),
    "maple": ((0.78, 0.62, 0.34), "wood"),
    "white plastic": ((0.80, 0.80, 0.78), "paint"),
    "yellow plastic": ((0.82, 0.66, 0.10), "paint"),
    "clear plastic": ((0.62, 0.60, 0.55), "paint"),
    "paper": ((0.84, 0.83, 0.79), "paper"),
    "old paper": ((0.76, 0.69, 0.52), "paper"),
    "painted white": ((0.74, 0.74, 0.72), "paint"),
    "grey": ((0.33, 0.35, 0.36), "paint"),
    "green": ((0.16, 0.30, 0.20), "paint"),
    "steel": ((0.46, 0.47, 0.48), "brushed"),
    "enamel": ((0.86, 0.86, 0.84), "paint"),
    "cream enamel": ((0.80, 0.74, 0.58), "paint"),
    "blue enamel": ((0.03, 0.07, 0.24), "paint"),
}
GRAIN_PX_PER_MM = 3.0
RULED = ("school_ruler", "school_stick", "steel_rule")
"""Classes whose scale is a bar of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """A printed face, what it is printed on, and where its columns of lines are."""

    face: Face
    body: Box | None
    columns_mm: tuple[float, ...] = ()


def panels(cls: str, plan: Plan, f: Frame, r: Ruling, rng: Rng) -> list[Panel]:
    """The scale's panel first, then the board's."""
    ppm = min(2.5 * plan.px_per_mm, 30.0)
    out = []
    ruled = cls in RULED
    if ruled:
        out.append(_rule(cls, f, r, ppm, rng))
    board = {
        "school_ruler": ("ply", "varnished", "beech", "painted white"),
        "steel_rule": ("varnished", "painted white", "grey", "green", "ply"),
        "paper_scale": ("paper", "paper", "old paper"),
        "graph_paper": ("paper", "paper", "old paper"),
        "enamel_plate": ("enamel", "enamel", "cream enamel", "blue enamel"),
    }.get(cls)
    if board is None:
        return out
    stuff = pick(rng, board)
    rect = (-f.board_half, f.board_half, 0.0, f.board_height)
    prints: list[Print] = []
    columns: tuple[float, ...] = ()
    z = 0.0
    if not ruled:
        z = f.scale_z
        sheet, columns = _sheets(cls, f, r, ppm, rng)
        dark = stuff == "blue enamel"
        ink = "white" if dark else pick(rng, ("black", "black", "blue", "red"))
        prints = [
            s.printed(INKS[ink] if not grid else GRID_INKS[pick(rng, tuple(GRID_INKS))])
            for s, grid in sheet
        ]
    out.append(_panel(stuff, rect, z, prints, -rng.uniform(3, 18), columns, rng))
    if not ruled:
        under = pick(rng, ("ply", "varnished", "grey", "painted white"))
        more = rng.uniform(0, 40)
        wide = (rect[0] - more, rect[1] + more, rect[2] - more, rect[3] + more)
        out.append(_panel(under, wide, 0.0, [], -rng.uniform(3, 18), (), rng))
    return out


def _panel(
    stuff: str,
    rect: tuple[float, float, float, float],
    z: float,
    prints: list[Print],
    back: float,
    columns: tuple[float, ...],
    rng: Rng,
) -> Panel:
    albedo, kind = STUFF[stuff]
    metal = kind == "brushed"
    shiny = metal or "enamel" in stuff or "plastic" in stuff or stuff == "varnished"
    face = Face(
        x0_mm=rect[0],
        x1_mm=rect[1],
        y0_mm=rect[2],
        y1_mm=rect[3],
        z_mm=z,
        albedo=albedo,
        grain=surfaces.grain(
            kind,
            int((rect[1] - rect[0]) * GRAIN_PX_PER_MM),
            int((rect[3] - rect[2]) * GRAIN_PX_PER_MM),
            rng,
        ),
        grain_px_per_mm=GRAIN_PX_PER_MM,
        gloss=rng.uniform(0.04, 0.14) if shiny else rng.uniform(0, 0.02),
        gloss_exponent=rng.uniform(8, 60),
        prints=tuple(prints),
    )
    body = Box(
        lo_mm=(rect[0], rect[2], back),
        hi_mm=(rect[1], rect[3], z - 0.01),
        material=Material(albedo=albedo),
    )
    return Panel(face=face, body=body, columns_mm=columns)


def _rule(cls: str, f: Frame, r: Ruling, ppm: float, rng: Rng) -> Panel:
    """A ruler, stick or engraved rule: lines from one edge or both, another unit beyond."""
    x0, x1, _ = f.strips[0]
    low, high = r.span_mm()
    end = 0.3 if rng.random() < 0.4 else rng.uniform(2, 9)
    rect = (x0, x1, low - end, high + rng.uniform(1, 9))
    sheet = Sheet(x0, x1, rect[2], rect[3], ppm)
    wide = r.widest_mm()
    near_right = f.tube_x[-1] > x1 if len(f.tube_x) > 1 else False
    main = 1 if near_right and rng.random() < 0.5 else -1
    other = pick(rng, ("none", "same", "inch", "half"))
    room = x1 - x0 >= 2 * (max(r.length_mm) + wide + 1.5)
    columns = []
    for side in (main, -main):
        root = x1 - 0.1 if side > 0 else x0 + 0.1
        ruled: Ruling | None = r
        if side != main:
            if other == "inch" and room:
                g = rulings.inches_of(r.graduation, high - low, rng.random() < 0.6)
                ruled = rulings.inch_ruling(g, r.font, r.digit_mm, r.quarters)
            elif other != "same":
                ruled = None
        if ruled is None:
            continue
        rulings.column(sheet, ruled, root, -side, rng)
        if ruled is r:
            columns.append(root - side * 0.5 * max(r.length_mm))
        if side == main or (room and (other == "inch" or rng.random() < 0.7)):
            at = root - side * (max(ruled.length_mm) + 0.8)
            if ruled.quarters % 2:
                at -= side * 0.65 * ruled.digit_mm
                rulings.figures(sheet, ruled, at, "m")
            else:
                rulings.figures(sheet, ruled, at, "r" if side > 0 else "l")
    stuff = {
        "school_ruler": ("maple", "white plastic", "yellow plastic", "clear plastic", "beech"),
        "school_stick": ("maple", "maple", "beech", "white plastic", "yellow plastic"),
        "steel_rule": ("steel",),
    }[cls]
    ink = INKS[pick(rng, ("black", "black", "black", "blue", "red"))]
    back = f.scale_z - 6 if cls == "school_stick" else 0.0
    return _panel(
        pick(rng, stuff), rect, f.scale_z, [sheet.printed(ink)], back, tuple(columns), rng
    )


def _sheets(
    cls: str, f: Frame, r: Ruling, ppm: float, rng: Rng
) -> tuple[list[tuple[Sheet, bool]], tuple[float, ...]]:
    """What is printed on the board: sheets (grids marked), columns of lines."""
    low, high = r.span_mm()
    half, top = f.board_half, f.board_height
    sheet = Sheet(-half, half, 0.0, top, ppm)
    out = [(sheet, False)]
    columns: tuple[float, ...] = ()
    if f.line_span is not None:
        x0, x1 = f.line_span
        paper = Sheet(x0 - 1, x1 + 1, 0.0, top, ppm)
        more = rng.uniform(0, 25) if rng.random() < 0.7 else 0.0
        reach = (max(low - more, 2.0), min(high + more, top - 2.0))
        rulings.grid(paper, r, (x0, x1), reach)
        out.insert(0, (paper, True))
        side = pick(rng, (-1, 1))
        inside = rng.random() < 0.5
        at = side * (x1 - 1.0 if inside else x1 + 1.5)
        anchor = ("r" if inside else "l") if side > 0 else ("l" if inside else "r")
        rulings.figures(sheet, r, at, anchor)
        return out, (0.0,)
    longest = max(r.length_mm)
    if len(f.strips) == 1:
        x0, x1, _ = f.strips[0]
        twice = cls == "enamel_plate" and rng.random() < 0.35
        for side in (-1, 1):
            edge = x0 + 0.5 if side < 0 else x1 - 0.5
            rulings.column(sheet, r, edge, -side, rng)
        columns = (x0 + longest / 2, x1 - longest / 2)
        rulings.figures(sheet, r, 0.5 * (x0 + x1), "m")
        if twice and f.board_half > f.tube_x[-1] + f.outer + r.widest_mm() + 4:
            at = f.tube_x[-1] + f.outer + 2.0
            rulings.figures(sheet, r, at, "l", backward=r.graduation.labels == "signed")
    else:
        for x0, x1, ticks in f.strips:
            side = 1 if ticks == "left" else -1
            root = x0 + 0.5 if side > 0 else x1 - 0.5
            rulings.column(sheet, r, root, side, rng)
            columns = (*columns, root + side * longest / 2)
            at = root + side * (longest + 1.0)
            rulings.figures(sheet, r, at, "l" if side > 0 else "r")
    _words(cls, f, r, sheet, low, high, rng)
    return out, columns


def _words(
    cls: str, f: Frame, r: Ruling, sheet: Sheet, low: float, high: float, rng: Rng
) -> None:
    """Unit, title, border, and columns of words or figures where there is room."""
    half, top = f.board_half, f.board_height
    font = looks.font(rng)
    if rng.random() < 0.8:
        x = 0.5 * (f.strips[0][0] + f.strips[0][1])
        unit = rulings.unit_words(r.graduation.unit_mm, rng)
        sheet.text(unit, x, high + 2 * r.digit_mm + 1, rng.uniform(2.2, 3.6), font)
    if cls == "paper_scale" and rng.random() < 0.7:
        words = pick(rng, looks.WORDS) + " " + pick(rng, looks.WORDS)
        sheet.text(
            words, 0.0, min(top - 8, high + 4 * r.digit_mm + 6), rng.uniform(3, 6), font
        )
    if rng.random() < 0.6:
        inset = rng.uniform(1.5, 4.0)
        rulings.frame(
            sheet, (-half + inset, half - inset), (inset, top - inset), rng.uniform(0.3, 1.2)
        )
    outer = max(abs(v) for s in f.strips for v in s[:2])
    outer = max(outer, *(abs(x) + f.outer for x in f.tube_x))
    if half - outer > 22 and cls == "paper_scale":
        side = pick(rng, (-1, 1))
        x0, x1 = sorted((side * (outer + 6), side * (half - 6)))
        y1 = rng.uniform(0.6 * high + 0.4 * low, high)
        y0 = rng.uniform(low, 0.5 * (low + y1))
        if rng.random() < 0.5:
            rulings.table(sheet, (x0, x1), (y0, y1), rng.uniform(4, 8), rng)
        else:
            rulings.paragraph(sheet, (x0, x1), (y0, y1), rng.uniform(1.6, 2.6), rng)
