"""The constants of ``constants.toml``, read once.

Values and their sources are in that file; code asks for them by name.
"""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib.resources import files
from typing import Any

CELSIUS_ZERO_K = 273.15
"""Exact, ITS-90; a constant here because conversions are everywhere."""


@lru_cache(maxsize=1)
def constants() -> dict[str, Any]:
    """Return the whole data file as nested dictionaries."""
    text = files("limbsight.reduce").joinpath("constants.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def entry_of(table: str, name: str) -> tuple[str, Any]:
    """Return the own name and the entry of a table by any of its names; ``None`` for the entry
    where the table has none."""
    wanted = name.lower()
    for own, entry in constants()[table].items():
        if wanted in {own.lower(), *(alias.lower() for alias in entry["aliases"])}:
            return own, entry
    return name, None


def default(key: str) -> float:
    """Return one value of the ``[default]`` table."""
    return float(constants()["default"][key])


def convention(key: str) -> float:
    """Return one value of the ``[convention]`` table."""
    return float(constants()["convention"][key])
