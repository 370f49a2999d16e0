"""Checks against sources outside the project: each names its source, and is listed.

``pytest tests/reference --write-list`` writes README.md beside this file from the checks as
they ran; a test fails when that list is out of date.
"""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import pytest

HERE = Path(__file__).resolve().parent
DATA = HERE / "data"
README = HERE / "README.md"

Basis = Literal["published", "library", "computed", "closed form"]
"""Printed somewhere and read there; a library run in the test; a table computed with a named
library beforehand; an exact result."""

HEAD = """# Checks against outside sources

Written by `pytest tests/reference --write-list`; do not edit. Every line is one test over
all its values. The basis says what stands on the other side: *published* (printed, and read
there), *library* (another library, run in the test), *computed* (a table computed
beforehand with the library it names), *closed form*. Nothing here rests on a recalled value
alone; where a recalled coefficient is used in the program, one of these confirms it.

| check | basis | source | values | largest deviation | tolerance | unit |
|---|---|---|--:|--:|--:|---|
"""


@dataclass
class Recorder:
    """Asserts values against a source and remembers the largest deviation."""

    lines: dict[str, str] = field(default_factory=dict)

    def __call__(
        self,
        name: str,
        *,
        basis: Basis,
        source: str,
        unit: str,
        rows: Iterable[tuple[str, float, float]],
        tolerance: float,
    ) -> None:
        """Assert |got - expected| <= tolerance for rows of (label, expected, got)."""
        deviations = {label: abs(got - expected) for label, expected, got in rows}
        assert deviations, f"{name}: nothing was checked"
        wrong = {label: d for label, d in deviations.items() if not d <= tolerance}
        largest = max(deviations.values())
        self.lines[name] = (
            f"| {name} | {basis} | {source} | {len(deviations)} | {largest:.2g} "
            f"| {tolerance:.2g} | {unit} |"
        )
        assert not wrong, f"{name} ({source}): off by more than {tolerance:g} {unit}: {wrong}"


RECORDER = Recorder()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--write-list", action="store_true", help="Write tests/reference/README.md"
    )


def pytest_sessionfinish(session: pytest.Session) -> None:
    if session.config.getoption("--write-list", default=False):
        README.write_text(HEAD + "\n".join(RECORDER.lines.values()) + "\n", encoding="utf-8")


@pytest.fixture(scope="session")
def agrees() -> Recorder:
    """Assert against a source, and put the check into the list."""
    return RECORDER


@pytest.fixture(scope="session")
def table():
    """Rows of a table in ``data``, numbers as floats, other cells as text."""

    def read(name: str) -> list[dict[str, Any]]:
        lines = (DATA / name).read_text(encoding="utf-8").splitlines()
        return [
            {key: _number(cell) for key, cell in row.items()}
            for row in csv.DictReader(line for line in lines if not line.startswith("#"))
        ]

    return read


@pytest.fixture(scope="session")
def worked_problems() -> list[dict[str, Any]]:
    text = (DATA / "worked_problems.toml").read_text(encoding="utf-8")
    problems: list[dict[str, Any]] = tomllib.loads(text)["problem"]
    return problems


def _number(cell: str) -> float | str:
    try:
        return float(cell)
    except ValueError:
        return cell
