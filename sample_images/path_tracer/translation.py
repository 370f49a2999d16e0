"""A scene in the renderer's own terms.

Imported once the renderer's variant is set.
"""

# mypy: ignore-errors
# The renderer's types are its own.

from pathlib import Path

import mitsuba as mi
import numpy as np

from sample_images.path_tracer.materials import METAL, PLASTIC
from sample_images.path_tracer.meshes import box, ply_bytes
from sample_images.path_tracer.padding import (
    LIQUIDS,
    MIRROR,
    PARTS,
    padded,
    rounded,
    standard_names,
)
from sample_images.path_tracer.stage import Clear

PLASTIC_INDEX = 1.49
FAINT = (1e-3, 1e-3, 1e-3)
DENSEST = 8.0
"""The renderer takes coefficients as colours from 0 to 1, times this [1/mm]."""
OUT_OF_SIGHT_MM = 30000
APART_MM = 40


def translated(scene, folder: Path):
    """Load a scene; its parts are written to ``folder`` for it."""
    whole = {"type": "scene", "room": _light(scene)}
    finishes = padded({name: rounded(finish) for name, finish in scene.finishes.items()})
    for name, finish in finishes.items():
        whole[_finish_id(name)] = _finish(finish) | {"id": _finish_id(name)}
    media = {_medium_id(name): a for name, a in scene.absorptions.items()}
    media |= {_medium_id(f"spare {i}"): FAINT for i in range(LIQUIDS - len(media))}
    for name, absorption in media.items():
        whole[name] = _medium(name, absorption)
    for i, part in enumerate(scene.parts):
        whole[f"part{i}"] = _part(part, scene.middle_mm, folder / f"{i}.ply")
    whole |= _hidden(folder, PARTS - len(scene.parts), next(reversed(media)))
    return mi.load_dict(whole, optimize=False)


def _light(scene):
    """The room, as it stands to gravity."""
    upward = scene.camera.upward
    leaning_deg = float(np.degrees(np.arctan2(-upward[0], upward[1])))
    return {
        "type": "envmap",
        "bitmap": mi.Bitmap(scene.light),
        "scale": 1.0,
        "to_world": mi.ScalarTransform4f().rotate([0, 0, 1], leaning_deg),
    }


def _finish_id(name):
    return "finish_" + name.replace(" ", "_")


def _medium_id(name):
    return "liquid_" + name.replace(" ", "_")


def _reference(name):
    return {"type": "ref", "id": name}


def _texture(picture, *, raw=False):
    if picture.ndim == 2:
        picture = picture[..., None]
    bitmap = mi.Bitmap(np.ascontiguousarray(picture))
    return {"type": "bitmap", "bitmap": bitmap, "raw": raw, "wrap_mode": "clamp"}


def _finish(finish):
    if isinstance(finish, Clear):
        return {"type": "dielectric", "int_ior": finish.inside, "ext_ior": finish.outside}
    texture = _texture(finish.texture)
    if finish.cutout is not None:
        opacity = _texture(finish.cutout, raw=True)
        return {
            "type": "mask",
            "opacity": opacity,
            "nested": {"type": "diffuse", "reflectance": texture},
        }
    facets = {"alpha": finish.roughness, "distribution": "ggx"}
    if finish.kind == MIRROR:
        return {"type": MIRROR, "material": "none", "specular_reflectance": texture}
    if finish.kind == METAL:
        return {"type": METAL, "material": "none", "specular_reflectance": texture} | facets
    if finish.kind == PLASTIC:
        coat = {"type": PLASTIC, "int_ior": PLASTIC_INDEX, "diffuse_reflectance": texture}
        return coat | facets
    return {"type": "diffuse", "reflectance": texture}


def _medium(name, absorption):
    value = [min(1.0, float(a) / DENSEST) for a in absorption]
    extinction = {"type": "rgb", "value": value}
    return {
        "type": "homogeneous",
        "albedo": 0.0,
        "scale": DENSEST,
        "sigma_t": extinction,
        "id": name,
    }


def _part(part, middle_mm, path: Path):
    path.write_bytes(ply_bytes(part.mesh, (0, middle_mm, 0)))
    shape = {
        "type": "ply",
        "filename": str(path),
        "bsdf": _reference(_finish_id(part.finish)),
    }
    if part.inside:
        shape["interior"] = _reference(_medium_id(part.inside))
    if part.outside:
        shape["exterior"] = _reference(_medium_id(part.outside))
    return shape


def _hidden(folder: Path, count, medium):
    """Boxes out of sight, with every standard finish, for as many parts in every scene."""
    path = folder / "hidden.ply"
    path.write_bytes(ply_bytes(box(-1, 1, -1, 1, -1, 1), (0, 0, 0)))
    names = standard_names()
    shapes = {}
    for i in range(count):
        finish = names[i] if i < len(names) else names[0]
        place = [0, APART_MM * i, OUT_OF_SIGHT_MM]
        shapes[f"hidden{i}"] = {
            "type": "ply",
            "filename": str(path),
            "bsdf": _reference(_finish_id(finish)),
            "to_world": mi.ScalarTransform4f().translate(place),
        }
    for side in ("interior", "exterior"):
        shapes["hidden0"][side] = _reference(medium)
    return shapes
