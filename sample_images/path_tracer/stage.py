"""What a scene is made of: meshes, their finishes, the liquids between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy.typing as npt

from sample_images.path_tracer.colour import Bytes, one_texel
from sample_images.path_tracer.liquids import Absorption
from sample_images.path_tracer.meshes import Mesh


@dataclass(frozen=True, slots=True)
class Clear:
    """A smooth boundary: refractive index on the side against the normals, and on theirs."""

    inside: float
    outside: float


@dataclass(frozen=True, slots=True)
class Coat:
    """An opaque surface; kinds are the renderer's (:mod:`materials`, :mod:`padding`).

    ``cutout`` is how much of it is there, from 0 to 255, over its texture coordinates.
    """

    kind: str
    texture: Bytes
    roughness: float = 0.2
    cutout: Bytes | None = None


Finish = Clear | Coat


@dataclass(frozen=True, slots=True)
class Part:
    """A mesh, the name of its finish, and of the liquid on either side if it has a colour."""

    mesh: Mesh
    finish: str
    inside: str | None = None
    outside: str | None = None


class Stage:
    """Parts as they are put up. A finish of the same name as another takes its place."""

    def __init__(self) -> None:
        self.parts: list[Part] = []
        self.finishes: dict[str, Finish] = {}
        self.absorptions: dict[str, Absorption] = {}

    def add(
        self, mesh: Mesh, finish: str, inside: str | None = None, outside: str | None = None
    ) -> None:
        self.parts.append(Part(mesh, finish, inside, outside))

    def coat(self, name: str, coat: Coat) -> str:
        """Name a finish."""
        self.finishes[name] = coat
        return name

    def plain(
        self,
        name: str,
        colour: npt.ArrayLike,
        roughness: float = 0.15,
        kind: str = "roughplastic",
    ) -> str:
        """Name a finish of one colour."""
        return self.coat(name, Coat(kind, one_texel(colour), float(roughness)))

    def clear(self, inside: float, outside: float) -> str:
        """Name a boundary of two clear media."""
        name = f"clear_{inside:.4f}_{outside:.4f}".replace(".", "p")
        self.finishes[name] = Clear(float(inside), float(outside))
        return name
