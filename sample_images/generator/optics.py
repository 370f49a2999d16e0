"""Light through glass tubes: every interface, both children, until too faint to matter."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from sample_images.generator.fluids import Floats, Fluid
from sample_images.generator.meniscus import Surface

Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
Sink = Callable[[Floats, Floats, Floats, Ints], None]

OUTSIDE, GLASS = -2, -1  # media; 0, 1, ... are the fluids from the bottom up
CULL_WEIGHT = 0.02  # fainter children are dropped; one reflection off glass is 0.04
DEEPEST = 14  # interfaces followed; light still in the wall then is lost
START_MM = 1e-6
GLASS_ABSORPTION_PER_MM = (0.0035, 0.0012, 0.0028)  # greenish soda-lime glass; from memory


class Geometry(Protocol):
    """A tube of concentric outer and inner walls, with fluids inside."""

    @property
    def glass_index(self) -> float: ...

    @property
    def fluids(self) -> tuple[Fluid, ...]: ...

    @property
    def absorption_per_mm(self) -> tuple[tuple[float, float, float], ...]: ...

    def enter(self, o: Floats, d: Floats) -> tuple[Floats, Floats]:
        """Distance to the outer wall from outside (inf if missed), outward normals."""
        ...

    def hit(self, o: Floats, d: Floats, m: Ints) -> tuple[Floats, Floats, Ints]:
        """Distance to the next interface, its normal (any side), medium beyond."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Drop:
    """A drop on the inner wall in the uppermost fluid, as a flat cap that bends light.

    Its surface leans against the wall by ``slope`` at its edge, ever less towards its
    middle, as a cap's does; it has the index of the glass, and no thickness. Angles are
    counted about the axis from x to z.
    """

    angle_rad: float
    y_mm: float
    radius_mm: float
    slope: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Straight:
    """Straight tube along y, its fluids stacked from the bottom up."""

    x_mm: float
    z_mm: float
    inner_mm: float
    outer_mm: float
    glass_index: float
    fluids: tuple[Fluid, ...]
    absorption_per_mm: tuple[tuple[float, float, float], ...]
    surfaces: tuple[Surface, ...]
    drops: tuple[Drop, ...] = ()

    def _radial(self, o: Floats, d: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        x, z = o[:, 0] - self.x_mm, o[:, 2] - self.z_mm
        a = np.maximum(d[:, 0] ** 2 + d[:, 2] ** 2, 1e-12)
        b = x * d[:, 0] + z * d[:, 2]
        return x, z, a, b, x * x + z * z

    def enter(self, o: Floats, d: Floats) -> tuple[Floats, Floats]:
        x, z, a, b, rr = self._radial(o, d)
        disc = b * b - a * (rr - self.outer_mm**2)
        t = np.where((disc > 0) & (b < 0), (-b - np.sqrt(np.maximum(disc, 0))) / a, np.inf)
        reach = np.where(np.isfinite(t), t, 0.0)
        n = np.zeros_like(d)
        n[:, 0] = (x + reach * d[:, 0]) / self.outer_mm
        n[:, 2] = (z + reach * d[:, 2]) / self.outer_mm
        return t, n

    def hit(self, o: Floats, d: Floats, m: Ints) -> tuple[Floats, Floats, Ints]:
        x, z, a, b, rr = self._radial(o, d)
        in_glass = m == GLASS
        disc_in = b * b - a * (rr - self.inner_mm**2)
        root_in = np.sqrt(np.maximum(disc_in, 0))
        to_inner = np.where((disc_in > 0) & (b < 0), (-b - root_in) / a, np.inf)
        to_inner[to_inner < START_MM] = np.inf
        to_outer = (-b + np.sqrt(np.maximum(b * b - a * (rr - self.outer_mm**2), 0))) / a
        t = np.where(in_glass, np.minimum(to_inner, to_outer), (-b + root_in) / a)
        t = np.clip(t, 0.0, 1e5)
        beyond = np.where(in_glass & (to_outer <= to_inner), OUTSIDE, GLASS)
        surface = np.full(len(t), -1)
        for k, s in enumerate(self.surfaces):
            for medium, below in ((k, True), (k + 1, False)):
                pick = np.flatnonzero(m == medium)
                if not pick.size:
                    continue
                ts = _crossing(s, x[pick], o[pick, 1], z[pick], d[pick], t[pick], below)
                found = ts < t[pick]
                pick = pick[found]
                t[pick], surface[pick] = ts[found], k
                beyond[pick] = k + 1 if below else k
        px, pz = x + t * d[:, 0], z + t * d[:, 2]
        r = np.maximum(np.hypot(px, pz), 1e-12)
        n = np.zeros_like(d)
        n[:, 0], n[:, 2] = px / r, pz / r
        bore = in_glass & (beyond == GLASS)
        if bore.any():
            y = o[bore, 1] + t[bore] * d[bore, 1]
            beyond[bore] = self.fluid_at(px[bore], y, pz[bore])
        for k, s in enumerate(self.surfaces):
            on = surface == k
            if on.any():
                n[on] = s.normal(px[on], pz[on])
        if self.drops:
            top = len(self.fluids) - 1
            wall = np.flatnonzero(
                (surface < 0)
                & (((m == top) & (beyond == GLASS)) | (in_glass & (beyond == top)))
            )
            self._lean(n, wall, px, o[:, 1] + t * d[:, 1], pz)
        return t, n, beyond

    def _lean(self, n: Floats, wall: Ints, x: Floats, y: Floats, z: Floats) -> None:
        """Turn the normals of points of the inner wall that are wet with drops."""
        angle = np.arctan2(z[wall], x[wall])
        for drop in self.drops:
            turn = (angle - drop.angle_rad + np.pi) % (2 * np.pi) - np.pi
            u, v = (
                self.inner_mm * turn / drop.radius_mm,
                (y[wall] - drop.y_mm) / drop.radius_mm,
            )
            on = u * u + v * v < 1
            at, a = wall[on], angle[on]
            around = np.stack([-np.sin(a), np.zeros(len(a)), np.cos(a)], axis=1)
            bent = n[at] + drop.slope * u[on, None] * around
            bent[:, 1] += drop.slope * v[on]
            n[at] = bent / np.sqrt(dot(bent, bent))[:, None]

    def fluid_at(self, x: Floats, y: Floats, z: Floats) -> Ints:
        """Index of the fluid at points x, z (from the axis) and height y."""
        k = np.zeros(len(y), dtype=np.int64)
        for s in self.surfaces:
            k += y > s.height(x, z)
        return k


def _crossing(
    s: Surface, x: Floats, y: Floats, z: Floats, d: Floats, t_max: Floats, below: bool
) -> Floats:
    """First distance below t_max at which a ray crosses the surface, else inf."""
    samples, halvings = 14, 24
    out = np.full(len(x), np.inf)
    y_end = y + t_max * d[:, 1]
    near = np.flatnonzero(
        (np.minimum(y, y_end) <= s.highest_mm) & (np.maximum(y, y_end) >= s.lowest_mm)
    )
    if not near.size:
        return out
    x, y, z, d, t_max = x[near], y[near], z[near], d[near], t_max[near]
    sign = 1.0 if below else -1.0

    def side(t: Floats) -> Floats:
        return sign * (y + t * d[:, 1] - s.height(x + t * d[:, 0], z + t * d[:, 2]))

    first = np.full(len(x), samples + 1)
    for i in range(samples, 0, -1):
        first[side(t_max * (i / samples)) > 0] = i
    crossed = first <= samples
    lo = np.where(crossed, (first - 1) / samples, 0.0) * t_max
    hi = np.where(crossed, first / samples, 0.0) * t_max
    for _ in range(halvings):
        mid = 0.5 * (lo + hi)
        past = side(mid) > 0
        hi = np.where(past, mid, hi)
        lo = np.where(past, lo, mid)
    # a ray that starts on the surface and leaves it finds its own start: not a crossing
    crossed &= hi > 10 * START_MM
    out[near[crossed]] = hi[crossed]
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Bend:
    """U-bend: two verticals at x = +-half_mm above y_mm, a half circle below."""

    half_mm: float
    y_mm: float
    z_mm: float
    inner_mm: float
    outer_mm: float
    glass_index: float
    fluids: tuple[Fluid, ...]
    absorption_per_mm: tuple[tuple[float, float, float], ...]

    def _offset(self, p: Floats) -> tuple[Floats, Floats]:
        """Distance from the centre line, unit vectors away from it."""
        x, y, z = p[:, 0], p[:, 1] - self.y_mm, p[:, 2] - self.z_mm
        upper = y >= 0
        rho = np.maximum(np.hypot(x, y), 1e-9)
        cx = np.where(
            upper, np.where(x >= 0, self.half_mm, -self.half_mm), x * self.half_mm / rho
        )
        cy = np.where(upper, y, y * self.half_mm / rho)
        v = np.stack([x - cx, y - cy, z], axis=1)
        q = np.maximum(np.linalg.norm(v, axis=1), 1e-9)
        return q, v / q[:, None]

    def _march(
        self, o: Floats, d: Floats, clearance: Callable[[Floats], Floats], farthest: float
    ) -> Floats:
        """Sphere tracing; inf where nothing is met before ``farthest``."""
        t = np.full(len(o), 4e-3)
        live = np.arange(len(o))
        for _ in range(70):
            q, _ = self._offset(o[live] + t[live, None] * d[live])
            s = clearance(q)
            t[live] += np.maximum(s, 5e-4)
            live = live[(s > 1e-3) & (t[live] < farthest)]
            if not live.size:
                break
        t[t >= farthest] = np.inf
        return t

    def enter(self, o: Floats, d: Floats) -> tuple[Floats, Floats]:
        skip = (self.z_mm + 1.5 * self.outer_mm - o[:, 2]) / np.minimum(d[:, 2], -1e-6)
        skip = np.maximum(skip, 0.0)
        start = o + skip[:, None] * d
        t = self._march(start, d, lambda q: q - self.outer_mm, 12 * self.outer_mm)
        _, n = self._offset(start + np.where(np.isfinite(t), t, 0.0)[:, None] * d)
        return t + skip, n

    def hit(self, o: Floats, d: Floats, m: Ints) -> tuple[Floats, Floats, Ints]:
        t = np.empty(len(o))
        glass = m == GLASS
        far = 40 * self.outer_mm
        t[glass] = self._march(
            o[glass], d[glass], lambda q: np.minimum(self.outer_mm - q, q - self.inner_mm), far
        )
        t[~glass] = self._march(o[~glass], d[~glass], lambda q: self.inner_mm - q, far)
        t = np.minimum(t, far)
        q, n = self._offset(o + t[:, None] * d)
        outer = q > 0.5 * (self.inner_mm + self.outer_mm)
        return t, n, np.where(glass, np.where(outer, OUTSIDE, 0), GLASS)


def dot(a: Floats, b: Floats) -> Floats:
    """Row-wise scalar product of shape (N, 3) arrays; far faster than a sum over axis 1."""
    return np.asarray(np.einsum("ij,ij->i", a, b))


def largest(w: Floats) -> Floats:
    """Row-wise maximum of a shape (N, 3) array."""
    return np.asarray(np.maximum(np.maximum(w[:, 0], w[:, 1]), w[:, 2]))


def fresnel(cos_i: Floats, n1: Floats, n2: Floats) -> tuple[Floats, Floats]:
    """Unpolarised reflectance and cosine of refraction (0 where totally reflected)."""
    sin2 = (n1 / n2) ** 2 * np.maximum(1 - cos_i**2, 0.0)
    cos_t = np.sqrt(np.maximum(1 - sin2, 0.0))
    rs = (n1 * cos_i - n2 * cos_t) / (n1 * cos_i + n2 * cos_t + 1e-15)
    rp = (n2 * cos_i - n1 * cos_t) / (n2 * cos_i + n1 * cos_t + 1e-15)
    return np.where(sin2 >= 1, 1.0, 0.5 * (rs**2 + rp**2)), cos_t


def walk(tube: Geometry, o: Floats, d: Floats, sink: Sink) -> None:
    """Follow rays that hit a tube from outside; ``sink`` gets what leaves it.

    Parameters
    ----------
    tube : Geometry
        Tube; every ray must meet it.
    o, d : ndarray, shape (N, 3)
        Origins outside the tube and unit directions.
    sink : callable
        ``sink(origin, direction, weight, index)`` for each batch of leaving rays, with
        weights of shape (M, 3) and the index of the ray each descends from.
    """
    t, n = tube.enter(o, d)
    p = o + t[:, None] * d
    index = np.array([1.0, tube.glass_index, *[f.index for f in tube.fluids]])
    alpha = np.array([(0.0, 0.0, 0.0), GLASS_ABSORPTION_PER_MM, *tube.absorption_per_mm])
    mirror = np.array(
        [(0.0, 0.0, 0.0)] * 2 + [f.mirror or (0.0, 0.0, 0.0) for f in tube.fluids]
    )
    weight = np.ones((len(o), 3))
    source = np.arange(len(o))
    m1 = np.full(len(o), OUTSIDE)
    m2 = np.full(len(o), GLASS)
    for _ in range(DEEPEST):
        cos_i = -dot(d, n)
        n *= np.where(cos_i < 0, -1.0, 1.0)[:, None]
        np.abs(cos_i, out=cos_i)
        n1, n2 = index[m1 + 2], index[m2 + 2]
        r, cos_t = fresnel(cos_i, n1, n2)
        metal = mirror[m2 + 2]
        shiny = metal[:, 0] > 0
        strongest = largest(weight)
        back = np.flatnonzero(np.where(shiny, metal[:, 0], r) * strongest > CULL_WEIGHT)
        on = np.flatnonzero(np.where(shiny, 0.0, 1 - r) * strongest > CULL_WEIGHT)
        n_back, n_on = n[back], n[on]
        d_back = d[back] + 2 * cos_i[back, None] * n_back
        eta = n1[on] / n2[on]
        d_on = eta[:, None] * d[on] + (eta * cos_i[on] - cos_t[on])[:, None] * n_on
        r_back = np.where(shiny[back, None], metal[back], r[back, None])
        p = np.concatenate([p[back], p[on]])
        d = np.concatenate([d_back, d_on])
        d /= np.sqrt(dot(d, d))[:, None]
        weight = np.concatenate([weight[back] * r_back, weight[on] * (1 - r[on, None])])
        source = np.concatenate([source[back], source[on]])
        m1 = np.concatenate([m1[back], m2[on]])
        gone = np.flatnonzero(m1 == OUTSIDE)
        if gone.size:
            sink(p[gone], d[gone], weight[gone], source[gone])
            kept = np.flatnonzero(m1 != OUTSIDE)
            p, d, weight, source, m1 = p[kept], d[kept], weight[kept], source[kept], m1[kept]
        if not len(p):
            return
        t, n, m2 = tube.hit(p, d, m1)
        p += t[:, None] * d
        weight *= np.exp(-alpha[m1 + 2] * t[:, None])
