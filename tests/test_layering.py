"""Who may import whom: the road goes one way."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

LEAVES = {"limbsight.errors", "limbsight.units", "limbsight.records"}
"""The package's own modules that the three may import."""

ALLOWED = {
    "vision": LEAVES | {"limbsight.vision"},
    "calib": LEAVES | {"limbsight.calib", "limbsight.vision"},
    "reduce": LEAVES | {"limbsight.reduce"},
}

READS_PHOTOS = {"vision/training/strips_of_photos.py"}
"""A script beside the product that uses the whole of it."""

IMAGE_CODE = {"cv2", "PIL", "pillow_heif", "skimage", "simplejpeg"}


def imports(path: Path) -> Iterator[str]:
    """Every module a file imports, wherever in the file, type checking included."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            assert node.module
            yield node.module
            if node.module == "limbsight":
                yield from (f"limbsight.{alias.name}" for alias in node.names)


def files(folder: str) -> list[Path]:
    found = (ROOT / folder).rglob("*.py")
    return sorted(p for p in found if str(p.relative_to(ROOT)) not in READS_PHOTOS)


def within(module: str, allowed: set[str]) -> bool:
    return any(module == name or module.startswith(f"{name}.") for name in allowed)


def faults(path: Path, allowed: set[str]) -> list[str]:
    return [
        module
        for module in imports(path)
        if within(module, {"limbsight"}) and not within(module, allowed)
    ]


@pytest.mark.parametrize("folder", sorted(ALLOWED))
def test_only_downhill(folder):
    assert files(folder)
    wrong = {str(p.relative_to(ROOT)): faults(p, ALLOWED[folder]) for p in files(folder)}
    assert {path: modules for path, modules in wrong.items() if modules} == {}


def test_reduce_needs_no_image_code():
    for path in files("reduce"):
        assert not {module.split(".")[0] for module in imports(path)} & IMAGE_CODE, path


@pytest.mark.parametrize("leaf", sorted(LEAVES))
def test_leaves_import_only_leaves(leaf):
    path = ROOT / (leaf.replace(".", "/") + ".py")
    assert faults(path, LEAVES) == []


def test_the_check_can_fail(tmp_path):
    path = tmp_path / "wrong.py"
    path.write_text("def f():\n    from limbsight.calib.instrument import Instrument\n")
    assert faults(path, ALLOWED["vision"]) == ["limbsight.calib.instrument"]
    path.write_text("from limbsight import reading\n")
    assert "limbsight.reading" in faults(path, ALLOWED["vision"])
