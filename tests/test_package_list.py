"""What is in the folders is what is installed, and under one name only."""

from __future__ import annotations

import fnmatch
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import limbsight

ROOT = Path(__file__).resolve().parent.parent
SETUPTOOLS = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]
MAPPED = ("vision", "calib", "reduce")


def package_folders() -> dict[str, Path]:
    """Import name and folder of every package, by its ``__init__.py``."""
    found = {}
    for top in (ROOT / "limbsight", *(ROOT / name for name in MAPPED)):
        for marker in sorted(top.rglob("__init__.py")):
            inner = marker.parent.relative_to(ROOT).parts
            if top.name == "limbsight" and set(inner[1:2]) & set(MAPPED):
                continue  # the links
            name = ".".join(inner if top.name == "limbsight" else ("limbsight", *inner))
            found[name] = marker.parent
    return found


def test_every_package_is_listed():
    assert sorted(SETUPTOOLS["packages"]) == sorted(package_folders())


@pytest.mark.parametrize("name", MAPPED)
def test_links_lead_to_the_folders(name):
    link = ROOT / "limbsight" / name
    assert link.resolve() == ROOT / name
    assert SETUPTOOLS["package-dir"][f"limbsight.{name}"] == name


def test_every_data_file_is_listed():
    for name, folder in package_folders().items():
        patterns = SETUPTOOLS["package-data"].get(name, [])
        for file in folder.iterdir():
            if not file.is_file() or file.suffix in (".py", ".pyc"):
                continue
            assert any(fnmatch.fnmatch(file.name, p) for p in patterns), f"{name}: {file.name}"


def test_no_second_copy_under_a_bare_name():
    """``import vision`` would make classes that are not those of ``limbsight.vision``."""
    code = (
        "import sys, importlib, pkgutil, limbsight\n"
        "for m in pkgutil.walk_packages(limbsight.__path__, 'limbsight.'):\n"
        "    if not m.name.endswith('__main__'):\n"
        "        importlib.import_module(m.name)\n"
        f"print([n for n in {MAPPED!r} if n in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "[]"


def test_every_public_name_is_there():
    for name in limbsight.__all__:
        assert getattr(limbsight, name) is not None
    with pytest.raises(AttributeError):
        _ = limbsight.nonsense
