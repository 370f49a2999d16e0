"""Values of one table of an instrument file, checked and in SI units."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, NoReturn, cast

from limbsight.errors import InputError, InstrumentError
from limbsight.units import Given, parse_pressure, parse_quantity


class Table:
    """One table of the file: hands out checked values and finds keys nobody asked for."""

    def __init__(self, content: Mapping[str, Any], *, source: str, path: str = "") -> None:
        self._content = content
        self._source = source
        self._path = path
        self._asked: set[str] = set()

    def fail(self, key: str, what: str, mend: str) -> NoReturn:
        """Raise an error that names file, key and mend."""
        raise InstrumentError(f"{self._named(key)}: {what}; write {mend}")

    def finish(self) -> None:
        """Fail on the first key that is not known."""
        for key in self._content:
            if key not in self._asked:
                known = ", ".join(sorted(self._asked))
                self.fail(key, "is not a known key here", f"one of: {known}")

    def as_written(self, key: str, *, required: bool = False, example: str = "it") -> Any:
        """The value as the file has it, or None."""
        self._asked.add(key)
        if required and key not in self._content:
            self.fail(key, "is missing", example)
        return self._content.get(key)

    def table(self, key: str, *, required: bool = False) -> Table:
        """A table in this one; empty where it is left out."""
        value = self.as_written(key, required=required, example=f"a table [{key}]")
        if value is not None and not isinstance(value, dict):
            self.fail(key, "is not a table", f"[{key}] on its own line, keys below it")
        return self.part(key, value or {})

    def part(self, key: str, content: Mapping[str, Any]) -> Table:
        """A table of ``content``, which messages name after a key of this one."""
        return Table(content, source=self._source, path=self._path_of(key))

    def text(self, key: str, *, required: bool = False) -> Any:
        """A text, or None; typed Any because ``required`` makes it certain."""
        value = self.as_written(key, required=required, example=f'{key} = "..."')
        if value is not None and (not isinstance(value, str) or not value.strip()):
            self.fail(key, f"{value!r} is not a text", f'{key} = "..."')
        return value

    def choice(
        self,
        key: str,
        choices: tuple[str, ...],
        *,
        required: bool = False,
        default: str | None = None,
    ) -> str | None:
        """A text that is one of ``choices``."""
        value = self.text(key, required=required)
        if value is None:
            return default
        if value not in choices:
            self.fail(key, f"{value!r} is not known", f"one of: {', '.join(choices)}")
        return cast(str, value)

    def integer(self, key: str, *, lowest: int) -> int | None:
        """A whole number, which may be written as a text."""
        value = self.as_written(key)
        if value is None:
            return None
        if isinstance(value, str) and value.isdigit():
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int) or value < lowest:
            self.fail(key, f"{value!r} is not a whole number from {lowest}", f"{key} = 2")
        return value

    def number(
        self,
        key: str,
        *,
        required: bool = False,
        above: float = -math.inf,
        lowest: float = -math.inf,
    ) -> Any:
        """A plain number in the unit of the scale, or None (see ``text`` for Any)."""
        value = self.as_written(key, required=required, example=f"{key} = 1.0")
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.fail(key, f"{value!r} is not a plain number", f"{key} = 1.0, without a unit")
        self._check_range(key, float(value), above, lowest)
        return float(value)

    def quantity(
        self, key: str, dimension: str, *, above: float = -math.inf, lowest: float = -math.inf
    ) -> float | None:
        """A text with number and unit."""
        value = self.as_written(key)
        return None if value is None else self._parse(key, value, dimension, above, lowest)

    def quantities(
        self, key: str, dimension: str, *, above: float = -math.inf
    ) -> tuple[float, ...] | None:
        """A list of quantities."""
        value = self.as_written(key)
        if value is None:
            return None
        if not isinstance(value, list) or not value:
            self.fail(key, "is not a list", f'{key} = ["7 mm", "7.2 mm"], left to right')
        return tuple(self._parse(key, item, dimension, above, -math.inf) for item in value)

    def given(
        self, key: str, dimension: str, *, difference: str = "temperature difference"
    ) -> Given | None:
        """A quantity, alone or as ``{ value = ..., standard_uncertainty = ... }``."""
        value = self.as_written(key)
        return None if value is None else self._given(key, value, dimension, difference)

    def given_number(self, key: str) -> Given | None:
        """A plain number, alone or as ``{ value = ..., standard_uncertainty = ... }``."""
        if not isinstance(self._content.get(key), dict):
            value = self.number(key)
            return None if value is None else Given(value=value)
        table = self.table(key)
        given = Given(
            value=table.number("value", required=True),
            standard_uncertainty=table.number("standard_uncertainty", lowest=0.0),
        )
        table.finish()
        return given

    def givens(self, key: str, dimension: str) -> tuple[Given, ...] | None:
        """A list of quantities, each as ``given`` reads one."""
        value = self.as_written(key)
        if value is None:
            return None
        if not isinstance(value, list) or not value:
            self.fail(key, "is not a list", f'{key} = ["22 degC", "24 degC"], left to right')
        return tuple(
            self._given(key, item, dimension, "temperature difference") for item in value
        )

    def pressure(self, key: str, kinds: tuple[str, ...]) -> float | None:
        """A pressure, with or without a word for its kind, which must be one of ``kinds``."""
        value = self.text(key)
        if value is None:
            return None
        try:
            number, kind = parse_pressure(value)
        except InputError as error:
            raise InstrumentError(f"{self._named(key)}: {error}") from error
        if kind is not None and kind not in kinds:
            self.fail(key, f"{kind} is not what this instrument shows", f"it as {kinds[0]}")
        return number

    def _given(self, key: str, value: Any, dimension: str, difference: str) -> Given:
        if not isinstance(value, dict):
            return Given(value=self._parse(key, value, dimension))
        table = self.part(key, value)
        number = table.quantity("value", dimension)
        if number is None:
            table.fail("value", "is missing", "{ value = ..., standard_uncertainty = ... }")
        given = Given(
            value=number,
            standard_uncertainty=table.quantity(
                "standard_uncertainty", difference, lowest=0.0
            ),
        )
        table.finish()
        return given

    def _parse(
        self,
        key: str,
        value: Any,
        dimension: str,
        above: float = -math.inf,
        lowest: float = -math.inf,
    ) -> float:
        if not isinstance(value, str):
            raise InstrumentError(
                f"{self._named(key)}: {value!r} has no unit; "
                f"write a text with a {dimension}, number and unit"
            )
        try:
            number = parse_quantity(value, dimension)
        except InputError as error:
            raise InstrumentError(f"{self._named(key)}: {error}") from error
        self._check_range(key, number, above, lowest)
        return number

    def _check_range(self, key: str, number: float, above: float, lowest: float) -> None:
        if not math.isfinite(number):
            self.fail(key, "is not a finite number", "a plain number")
        if number <= above:
            self.fail(key, f"must be above {above:g}", "a larger value")
        if number < lowest:
            self.fail(key, f"must not be below {lowest:g}", "a larger value")

    def _path_of(self, key: str) -> str:
        return f"{self._path}.{key}" if self._path else key

    def _named(self, key: str) -> str:
        """File and key, as messages begin."""
        return f"{self._source}: {self._path_of(key)}"
