"""Brightness along traced rays, as a sum of columns.

What is supposed of their factors is in ``meniscus_factors``.  The first columns are light on
the board, which runs straight from node to node; each of the rest is what a path's end shows,
in each channel, times a weight by height or direction.

Lengths are in bore radii.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.meniscus_factors import (
    BANDS,
    DOME_KNOTS,
    KNOTS,
    MIX_KNOTS,
    harmonics,
)
from limbsight.calib.meniscus_light import BOARD_NODES, Shading
from limbsight.calib.meniscus_optics import (
    BACK,
    COLUMN,
    FRONT,
    MIRROR_REFLECTANCE,
    TRAPPED,
    Paths,
    Scene,
)
from limbsight.calib.meniscus_rays import Rays, summed_over_paths
from limbsight.calib.meniscus_scene import height_on_board
from limbsight.calib.meniscus_surroundings import Surroundings, is_gas

Array = NDArray[np.float64]
Index = NDArray[np.int64]

_WHITE = 0.3
"""Brightness of a white board at least, in linear light, where the one behind a tube is dark:
light that is trapped in wall and liquid comes from elsewhere.  By the dark board it was too
little: tops of oil were 1.0 and 1.6 mm low at u 0.1 on two of seven path-traced photographs of
dark boards; with 0.5 the walls of one tube of plastic were taken for glass."""

_ROOM_IN_FRONT = 0.5
"""Least brightness of the room over that of the board (common practice, no source): lamps may
stand where a dark column does not show them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What the columns take from the rays' geometry alone.

    Attributes
    ----------
    bounds, height
        As in ``Pictures``.
    paths
        Of all of its rays.
    variant : (P,) array of int
        Which way of shading is meant.
    chord : (P,) array
        Length of a full chord there.
    board_height : (P,) array
        Where a path ends on the board.
    apparent, level : (P,) arrays
        Apparent height, in bore radii and over that of the contact line.
    """

    bounds: Index
    height: Array
    paths: Paths
    variant: Index
    chord: Array
    board_height: Array
    apparent: Array
    level: Array


def seen_along(around: Surroundings, scenes: list[Scene], rays: Rays, copies: int) -> Seen:
    """The scenes, and the first one again for each other way of shading."""
    paths = rays.paths
    of_path = np.searchsorted(rays.bounds, paths.ray, side="right") - 1
    chord = np.array(
        [2.0 / np.sqrt(1.0 - (np.sin(s.elevation_rad) / s.below_index) ** 2) for s in scenes]
    )[of_path]
    wall = np.array([s.surface.wall_height_m / s.surface.bore_radius_m for s in scenes])
    board_height = height_on_board(around, scenes, of_path, paths)
    apparent = rays.height[paths.ray]
    level = apparent / np.maximum(np.abs(wall[of_path]), 0.05)
    bounds, height = rays.bounds, rays.height * around.section
    variant = np.zeros(len(apparent), dtype=np.int64)
    if copies:
        first, rays_first = int(np.searchsorted(paths.ray, bounds[1])), int(bounds[1])
        again = np.concatenate([np.arange(len(apparent)), np.tile(np.arange(first), copies)])
        more = np.repeat(np.arange(copies), first)
        fields = {name: getattr(paths, name)[again] for name in Paths.__slots__}
        fields["ray"][len(apparent) :] += bounds[-1] + rays_first * more
        paths = Paths(**fields)
        chord, board_height = chord[again], board_height[again]
        apparent, level = apparent[again], level[again]
        height = np.concatenate([height, np.tile(height[:rays_first], copies)])
        bounds = np.concatenate([bounds, bounds[-1] + rays_first * np.arange(1, copies + 1)])
        variant = np.concatenate([variant, more + 1])
    return Seen(
        bounds=bounds,
        height=height,
        paths=paths,
        variant=variant,
        chord=chord,
        board_height=board_height,
        apparent=apparent,
        level=level,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """Brightness along P paths, as a sum of products.

    Attributes
    ----------
    ray : (P,) array of int
        To which ray a path belongs, in order.
    board : (V, nodes, 3, bands) array
        Light on the board.
    variant, left, part : (P,) arrays
        Way of shading; node of the board below the path's end, and how far it is from there.
    of_board : (P, 3) array
        What the light on the board is to be multiplied by.
    products : list of (P, K_t) and (P, 3) arrays
        Columns by height or direction, and what all of them are multiplied by.
    """

    ray: Index
    board: Array
    variant: Index
    left: Index
    part: Array
    of_board: Array
    products: list[tuple[Array, Array]]

    def of(self, rays: slice) -> Terms:
        """Those of some rays, numbered from zero."""
        first, last = np.searchsorted(self.ray, [rays.start, rays.stop])
        own = slice(int(first), int(last))
        return Terms(
            ray=self.ray[own] - rays.start,
            board=self.board,
            variant=self.variant[own],
            left=self.left[own],
            part=self.part[own],
            of_board=self.of_board[own],
            products=[(columns[own], by[own]) for columns, by in self.products],
        )

    def columns(self) -> Array:
        """Brightness of each ray in each column and channel, (N, 3, K)."""
        light = self._on_board(self.board) * self.of_board[:, :, None]
        parts = [light] + [c[:, None, :] * by[:, :, None] for c, by in self.products]
        value = np.concatenate(parts, axis=2)
        return summed_over_paths(self.ray, value.reshape(len(value), -1)).reshape(
            -1, *value.shape[1:]
        )

    def lit(self, factors: Array) -> Array:
        """Brightness of each ray with these factors (3, K) of the columns, (N, 3)."""
        light = (self.board * factors[:, :BANDS]).sum(axis=3)
        value = self._on_board(light) * self.of_board
        first = BANDS
        for columns, by in self.products:
            last = first + columns.shape[1]
            value += (columns @ factors[:, first:last].T) * by
            first = last
        return summed_over_paths(self.ray, value)

    def _on_board(self, light: Array) -> Array:
        return _at_ends(light, self.variant, self.left, self.part)


def terms_of(around: Surroundings, shade: Shading, seen: Seen) -> Terms:
    """Terms of all columns, in the order of ``factor_priors``."""
    paths = seen.paths
    every = np.ones((len(paths.ray), 1))
    passed = paths.weight[:, None] * shade.transmittance(paths, seen.chord, seen.variant)
    left, part = _between(BOARD_NODES, seen.board_height)
    white = around.white
    front = passed * white * (paths.end == FRONT)[:, None]
    lit = np.maximum(white, _WHITE)
    trapped = paths.weight[:, None] * lit * (paths.end == TRAPPED)[:, None]
    of_board = passed * (paths.end == BACK)[:, None]
    on_board = of_board * _at_ends(shade.board.sum(axis=3), seen.variant, left, part)
    uneven = _hats(KNOTS, seen.board_height)
    if around.below.opaque_mirror:
        mirrored = paths.mirrored[:, None]
        column = paths.weight[:, None] * around.below_colour * (paths.end == COLUMN)[:, None]
        dome = (on_board + _room_in_front(around) * front) * mirrored
        turned = np.arcsin(np.clip(paths.exit_sine, -1.0, 1.0))
        turned = np.where(paths.end == FRONT, np.pi - turned, turned)
        of_board = of_board * (1.0 - mirrored)
        straight = on_board * (1.0 - mirrored)
        products = [
            (uneven, straight),
            (every, trapped),
            (np.stack([every[:, 0], seen.apparent], axis=1), column),
            (every, dome),
            (_hats(DOME_KNOTS, turned), dome),
        ]
    else:
        straight = on_board
        products = [
            (uneven, straight),
            (np.stack([every[:, 0], paths.exit_sine], axis=1), front),
            (every, trapped),
        ]
        if not is_gas(around.above):
            both = (paths.below > 0.0) & (paths.above > 0.0)
            products.append((_hats(MIX_KNOTS, seen.level), on_board * both[:, None]))
    if harmonics(around.view):
        products.append((_waves(around, seen), straight))
    return Terms(
        ray=paths.ray,
        board=shade.board,
        variant=seen.variant,
        left=left,
        part=part,
        of_board=of_board,
        products=products,
    )


def _room_in_front(around: Surroundings) -> Array:
    """Brightness over the board's of the room that the dome shows in front: the column mirrors
    it, too."""
    shown = around.below_colour / (MIRROR_REFLECTANCE * around.white)
    return np.maximum(shown, _ROOM_IN_FRONT)


def _waves(around: Surroundings, seen: Seen) -> Array:
    """Harmonics of the lines on the board where each path meets it, (P, 2 H)."""
    view = around.view
    turn = 2.0 * np.pi * seen.board_height * view.bore_radius_m / view.line_pitch_m
    each = turn[:, None] * np.arange(1, harmonics(view) + 1)
    return np.concatenate([np.cos(each), np.sin(each)], axis=1)


def _at_ends(light: Array, variant: Index, left: Index, part: Array) -> Array:
    """Light (V, nodes, ...) where each path ends on the board."""
    part = part.reshape(-1, *(1,) * (light.ndim - 2))
    out: Array = light[variant, left] * (1.0 - part)
    out += light[variant, left + 1] * part
    return out


def _between(knots: Array, height: Array) -> tuple[Index, Array]:
    """Number of the knot below, and how far it is from there (0) to the next (1)."""
    clipped = np.clip(height, knots[0], knots[-1] - 1e-9)
    left = np.searchsorted(knots, clipped, side="right") - 1
    return left, (clipped - knots[left]) / (knots[left + 1] - knots[left])


def _hats(knots: Array, height: Array) -> Array:
    """Weights of linear interpolation between knots, (P, knots)."""
    left, part = _between(knots, height)
    out = np.zeros((len(height), len(knots)))
    every = np.arange(len(height))
    out[every, left] = 1.0 - part
    out[every, left + 1] = part
    return out
