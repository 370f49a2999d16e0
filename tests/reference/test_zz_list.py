"""The list of checks is up to date; named to run last in this folder."""

from __future__ import annotations

from pathlib import Path

import pytest

README = Path(__file__).resolve().parent / "README.md"


def columns(line: str) -> tuple[str, ...]:
    """All of a line but the deviation, which may differ in its last digit by machine."""
    cells = [cell.strip() for cell in line.strip("|").split("|")]
    return (*cells[:4], *cells[5:])


def test_list_is_current(request, agrees):
    if request.config.getoption("--write-list", default=False) or len(agrees.lines) < 20:
        pytest.skip("the list is being written, or only a part of the checks ran")
    written = README.read_text(encoding="utf-8").splitlines()
    listed = {columns(line) for line in written if line.startswith("| ")}
    missing = [line for line in agrees.lines.values() if columns(line) not in listed]
    assert not missing, "run: pytest tests/reference --write-list"
