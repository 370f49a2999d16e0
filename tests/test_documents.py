"""DEVELOPERS.md and docs/ name what is there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from limbsight.calib.instrument_file import parse_instrument
from limbsight.errors import InstrumentError
from limbsight.reduce.constants import constants

ROOT = Path(__file__).resolve().parent.parent
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
KEYS = (ROOT / "docs" / "instrument-file.md").read_text(encoding="utf-8")

WHOLE = """
name = "x"
arrangement = "u-tube"
tapped_limb = "left"
{top}
[scale]
unit = "mm"
division = 1.0
numbered_every = 10.0
lowest = 0
highest = 100
{scale}
[tube]
{tube}
[liquids]
manometric = "water"
{liquids}
[tapping]
{tapping}
[reference]
{reference}
[cistern]
{cistern}
[site]
{site}
[limits]
{limits}
[label]
{label}
"""
TABLES = (
    "top",
    "scale",
    "tube",
    "liquids",
    "tapping",
    "reference",
    "cistern",
    "site",
    "limits",
    "label",
)


def known_keys(table: str) -> set[str]:
    """Keys of one table, as the message on an unknown one lists them."""
    text = WHOLE.format(**{name: "nonsense = 1" if name == table else "" for name in TABLES})
    with pytest.raises(InstrumentError) as caught:
        parse_instrument(text)
    message = str(caught.value)
    assert "nonsense: is not a known key" in message
    return set(message.split("one of: ")[1].split(", "))


@pytest.mark.parametrize("table", TABLES)
def test_every_key_of_the_instrument_file_is_documented(table):
    heading = "## Top" if table == "top" else f"## [{table}]"
    section = KEYS.split(heading)[1].split("\n## ")[0]
    documented = set(re.findall(r"`(\w+)`", section))
    missing = known_keys(table) - documented - set(TABLES)
    assert missing == set()


def test_every_liquid_gas_and_material_is_listed():
    data = constants()
    words = " ".join(KEYS.split())
    for kind in ("liquid", "gas", "material"):
        assert [name for name in data[kind] if name not in words] == []


def test_paths_named_exist():
    names = set(re.findall(r"`((?:\w+/)+[\w.]+\.\w+|(?:\w+/)+)`", DEVELOPERS + KEYS))
    assert "vision/segments.py" in names
    wanted = [name for name in names if not (ROOT / name).exists()]
    assert [name for name in wanted if not (ROOT / "limbsight" / name).exists()] == []


def test_functions_of_the_road_exist():
    import importlib

    section = DEVELOPERS.split("## The road of a photo")[1].split("\n## ")[0]
    names = re.findall(r"`((?:\w+\.){1,2}\w+)`", section)
    assert "vision.levels.find_layers" in names
    for name in names:
        module, _, attribute = name.removeprefix("limbsight.").rpartition(".")
        if attribute == "py":
            continue
        assert hasattr(importlib.import_module(f"limbsight.{module}"), attribute), name


def test_thresholds_exist():
    section = DEVELOPERS.split("## Thresholds")[1].split("\n## ")[0]
    rows = re.findall(r"^\| (`[A-Z].*?) \| `([\w/.]+)` \|", section, flags=re.M)
    assert len(rows) > 5
    for names, path in rows:
        source = (ROOT / path).read_text(encoding="utf-8")
        for name in re.findall(r"`(\w+)`", names):
            assert re.search(rf"\b{name}\b.*=", source), f"{path}: {name}"
