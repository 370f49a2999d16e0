"""Instrument files: what is known about one manometer, read from TOML and checked.

Units are carried to SI here. Names of liquids and materials stay names: which of them the
program knows is decided where pressure is computed. Everything optional is ``None`` when
left out; the default, and what it costs in uncertainty, is applied there too.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal, cast, get_args

from limbsight.errors import InputError, InstrumentError
from limbsight.units import Given, parse_pressure, parse_quantity, unit_factor

ArrangementName = Literal[
    "u-tube",
    "inverted-u-tube",
    "single-limb",
    "cistern",
    "inclined",
    "bank",
    "barometer",
    "micromanometer",
]
Numbers = Literal["upward", "downward", "away-from-zero"]
CisternScale = Literal["true", "compensated", "adjusted"]

LABEL_NUMBERS = 587
"""Of the family 36h11, from 0 on."""
MOST_AXIS_TO_SCALE_M = 50e-3
"""Tubes are clipped to their boards, a few centimetres off at most (common practice, no
source): what is given beyond is another length, or in another unit."""
STEPS_ACROSS_SCALE = 1e-6
"""Relative slack when a range is checked to be a whole number of divisions: the rounding of
the decimal numbers in the file, nothing physical."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleSpec:
    """The graduated scale. Values are as printed; ``lowest`` and ``highest`` carry a sign."""

    unit: str
    division: float
    numbered_every: float
    lowest: float
    highest: float
    numbers: Numbers
    material: str | None
    true_at_k: float | None
    standard_uncertainty_m: float | None
    unit_m: float | None
    """Metres per unit of the scale; None where the scale counts a unit of pressure."""
    unit_pa: float | None
    """Pascals per unit of the scale; None where it counts a length."""

    @property
    def upward(self) -> int:
        """+1 where printed values grow upward, -1 where they grow downward."""
        return -1 if self.numbers == "downward" else 1


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeSpec:
    """The glass: every dimension is None when the file leaves it out."""

    bore_m: float | None = None
    bores_m: tuple[float, ...] | None = None
    """One bore per limb, left to right, where they differ."""
    outside_diameter_m: float | None = None
    axis_to_scale_m: float | None = None
    incline_rad: float | None = None
    incline_standard_uncertainty_rad: float | None = None
    meniscus_height: Given | None = None
    """Rim to apex of the meniscus under gas [m], measured: better than a contact angle."""
    limb_spacing_m: float | None = None
    """Between the axes of the outer limbs: with the tilt it shifts their levels."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LiquidSpec:
    """A liquid by name, or by its own density or specific gravity."""

    name: str
    density_kg_m3: float | None = None
    specific_gravity: float | None = None
    at_k: float | None = None
    expansion_per_k: float | None = None
    standard_uncertainty_kg_m3: float | None = None
    surface_tension_n_m: float | None = None
    contact_angle_rad: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LiquidsSpec:
    """What fills the instrument; ``seals`` from the manometric liquid outwards."""

    manometric: LiquidSpec
    process: LiquidSpec
    seals: tuple[LiquidSpec, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TappingSpec:
    """The tapping point, as a height on the instrument's scale [m, upward from its zero].

    Upright, also where the scale itself lies along an inclined tube.
    """

    height: Given | None = None
    wanted_at: Given | None = None
    """Where the pressure is wanted, if not at the tapping itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceSpec:
    """The other end: open to a gas, to a vacuum, or a second tapping."""

    open_to: str = "air"
    """A gas of the surroundings, ``"vacuum"``, or ``"tapping"``."""
    process: LiquidSpec | None = None
    height: Given | None = None
    limb: int | None = None
    """Bank: the limb, counted from 1 at the left, that is open to the reference."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CisternSpec:
    """Reservoir of a cistern, inclined, bank, barometer or micromanometer instrument."""

    area_ratio: Given | None = None
    """Cross-section of the tube over that of the reservoir."""
    scale: CisternScale = "true"
    level: Given | None = None
    """Level in the reservoir when the tube reads ``zero`` [m on the scale]."""
    zero: Given | None = None
    """Level in the tube when both ends are at one pressure [m on the scale]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteSpec:
    """Surroundings; each may also come with the photo or the round."""

    temperature_k: Given | None = None
    limb_temperatures_k: tuple[Given, ...] | None = None
    latitude_rad: float | None = None
    elevation_m: float | None = None
    gravity_m_s2: Given | None = None
    barometer_pa: Given | None = None
    relative_humidity: Given | None = None
    plumb_rad: Given | None = None
    """Tilt of the board from plumb, in its own plane; right limb up is positive."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsSpec:
    """Alarm limits, gauge unless the arrangement is absolute or differential."""

    low_pa: float | None = None
    high_pa: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelSpec:
    """A printed label on the board: an AprilTag of the family 36h11."""

    number: int
    size_m: float | None = None
    """Edge of its black square."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """One manometer as its file describes it."""

    name: str
    arrangement: ArrangementName
    tapped_limb: str | None
    scale: ScaleSpec
    tube: TubeSpec
    liquids: LiquidsSpec
    tapping: TappingSpec
    reference: ReferenceSpec
    cistern: CisternSpec
    site: SiteSpec
    limits: LimitsSpec
    path: str
    """Where it was read from, for messages."""
    label: LabelSpec | None = None


def load_instrument(path: str | Path) -> Instrument:
    """Read and check an instrument file.

    Parameters
    ----------
    path
        A TOML file as described in the project's documentation.

    Returns
    -------
    Instrument
        The checked description, in SI units.

    Raises
    ------
    InstrumentError
        If the file can't be read, has unknown keys, wrong units or impossible values; the
        message names the file, the key and what would be right.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        what = getattr(error, "strerror", None) or "not a UTF-8 text file"
        raise InstrumentError(f"{path}: can't be read ({what}); give a TOML file") from error
    return parse_instrument(text, source=str(path))


def load_instruments(folder: str | Path) -> tuple[Instrument, ...]:
    """Read and check the instrument files of a folder, which their labels tell apart.

    Raises
    ------
    InstrumentError
        As for :func:`load_instrument`; also if there is none, if one has no label, or two
        have the same label or name.
    """
    paths = sorted(path for path in Path(folder).iterdir() if path.suffix.lower() == ".toml")
    if not paths:
        raise InstrumentError(f"{folder}: no instrument files (*.toml) in this folder")
    instruments = tuple(load_instrument(path) for path in paths)
    before: dict[str, str] = {}
    for instrument in instruments:
        if instrument.label is None:
            raise InstrumentError(
                f"{instrument.path}: label: is missing; of several files each photo is given "
                "the one whose label it shows: write number = 17 under [label], or give the "
                "file alone"
            )
        for key, value in (
            ("label.number", str(instrument.label.number)),
            ("name", instrument.name),
        ):
            other = before.setdefault(f"{key} {value}", instrument.path)
            if other != instrument.path:
                raise InstrumentError(
                    f"{instrument.path}: {key}: {value} is also that of {other}; write another"
                )
    return instruments


def parse_instrument(text: str, *, source: str = "instrument") -> Instrument:
    """Check the text of an instrument file; ``source`` names it in messages.

    Raises
    ------
    InstrumentError
        As for :func:`load_instrument`.
    """
    try:
        top = _Table(tomllib.loads(text), source=source)
    except tomllib.TOMLDecodeError as error:
        raise InstrumentError(f"{source}: not valid TOML: {error}") from error
    arrangement = cast(
        ArrangementName, top.choice("arrangement", get_args(ArrangementName), required=True)
    )
    scale = _scale(top.table("scale", required=True))
    length = _scale_length(scale)
    instrument = Instrument(
        name=top.text("name", required=True),
        arrangement=arrangement,
        tapped_limb=_tapped_limb(top, arrangement),
        scale=scale,
        tube=_tube(top.table("tube"), arrangement),
        liquids=_liquids(top.table("liquids", required=True)),
        tapping=_tapping(top.table("tapping"), length),
        reference=_reference(top.table("reference"), length),
        cistern=_cistern(top.table("cistern"), length),
        site=_site(top.table("site")),
        limits=_limits(top.table("limits"), arrangement),
        path=source,
        label=_label(top.table("label")),
    )
    top.finish()
    return instrument


def parse_axis_to_scale(text: str) -> float:
    """Read how far a tube's axis stands before the graduated face [m], given with a photo.

    Raises
    ------
    InputError
        If the text is no length, or none that clips could give.
    """
    depth_m = parse_quantity(text, "length")
    if not 0 <= depth_m <= MOST_AXIS_TO_SCALE_M:
        raise InputError(
            f"{text!r}: the axis of a tube stands 0 to {1e3 * MOST_AXIS_TO_SCALE_M:g} mm "
            "before the graduated face; write the distance from that face to the middle of "
            "the bore, like '6.5 mm'"
        )
    return depth_m


def with_axis_to_scale(instrument: Instrument, axis_to_scale_m: float) -> Instrument:
    """Fill in the one dimension that was given with the photo.

    Raises
    ------
    InputError
        If the file states it itself.
    """
    if instrument.tube.axis_to_scale_m is not None:
        raise InputError(
            f"{instrument.path or instrument.name}: tube.axis_to_scale is stated there and "
            "given with the photo; leave out one of them"
        )
    tube = replace(instrument.tube, axis_to_scale_m=axis_to_scale_m)
    return replace(instrument, tube=tube)


def _tapped_limb(top: _Table, arrangement: ArrangementName) -> str | None:
    """Limb the process acts on: a side, or for a bank the limb's number from the left."""
    choices: dict[str, tuple[str, ...]] = {
        "u-tube": ("left", "right"),
        "inverted-u-tube": ("left", "right"),
        "micromanometer": ("left", "right"),
        "single-limb": ("tube", "left", "right"),
        "cistern": ("cistern", "tube"),
        "inclined": ("cistern", "tube"),
        "barometer": ("cistern",),
    }
    if arrangement == "bank":
        number = top.integer("tapped_limb", lowest=1)
        return None if number is None else str(number)
    sided = choices[arrangement] == ("left", "right")
    return top.choice("tapped_limb", choices[arrangement], required=sided)


def _scale(table: _Table) -> ScaleSpec:
    unit = table.text("unit", required=True)
    unit_m = unit_pa = None
    try:
        unit_m = unit_factor(unit, "length")
    except InputError:
        try:
            unit_pa = unit_factor(unit, "pressure")
        except InputError:
            table.fail("unit", f"{unit!r} is no length or pressure", "'mm' or 'mmHg'")
    scale = ScaleSpec(
        unit=unit,
        division=table.number("division", required=True, above=0.0),
        numbered_every=table.number("numbered_every", required=True, above=0.0),
        lowest=table.number("lowest", required=True),
        highest=table.number("highest", required=True),
        numbers=cast(
            Numbers, table.choice("numbers", get_args(Numbers), default="upward") or "upward"
        ),
        material=table.text("material"),
        true_at_k=table.quantity("true_at", "temperature"),
        standard_uncertainty_m=table.quantity("standard_uncertainty", "length", lowest=0.0),
        unit_m=unit_m,
        unit_pa=unit_pa,
    )
    _check_graduation(table, scale)
    table.finish()
    return scale


def _check_graduation(table: _Table, scale: ScaleSpec) -> None:
    if scale.highest <= scale.lowest:
        table.fail(
            "highest",
            f"{scale.highest:g} is not above lowest = {scale.lowest:g}",
            "the largest signed value; a scale that counts downward says so in numbers",
        )
    if scale.numbers == "away-from-zero" and not scale.lowest < 0 < scale.highest:
        table.fail(
            "numbers",
            "away-from-zero needs a zero inside the scale",
            "a negative lowest and a positive highest, or 'upward'",
        )
    for key, long, short in (
        ("numbered_every", scale.numbered_every, scale.division),
        ("highest", scale.highest - scale.lowest, scale.division),
    ):
        steps = long / short
        if steps < 1 or abs(steps - round(steps)) > STEPS_ACROSS_SCALE * steps:
            table.fail(
                key,
                f"is not a whole number of divisions of {scale.division:g}",
                "a multiple of division (for highest: counted from lowest)",
            )


def _scale_length(scale: ScaleSpec) -> Callable[[_Table, str], Given | None]:
    """Reader of heights given on the scale: a length, or a value in the scale's own unit."""

    def read(table: _Table, key: str) -> Given | None:
        given = table.given(key, "length", difference="length")
        if given is None:
            return None
        return Given(
            value=scale.upward * given.value, standard_uncertainty=given.standard_uncertainty
        )

    return read


def _tube(table: _Table, arrangement: ArrangementName) -> TubeSpec:
    incline = table.given("incline", "angle", difference="angle")
    if incline is not None and not 0 < incline.value <= math.pi / 2:
        table.fail("incline", "must lie above 0 and up to 90 deg", "'12 deg'")
    if arrangement == "inclined" and incline is None:
        table.fail("incline", "is missing for an inclined tube", "'12 deg' above horizontal")
    bores = table.quantities("bores", "length", above=0.0)
    spec = TubeSpec(
        bore_m=table.quantity("bore", "length", above=0.0),
        bores_m=bores,
        outside_diameter_m=table.quantity("outside_diameter", "length", above=0.0),
        axis_to_scale_m=table.quantity("axis_to_scale", "length", lowest=0.0),
        incline_rad=None if incline is None else incline.value,
        incline_standard_uncertainty_rad=(
            None if incline is None else incline.standard_uncertainty
        ),
        meniscus_height=table.given("meniscus_height", "length", difference="length"),
        limb_spacing_m=table.quantity("limb_spacing", "length", lowest=0.0),
    )
    if spec.meniscus_height is not None and spec.meniscus_height.value <= 0:
        table.fail("meniscus_height", "must be above 0, hollow or domed", "'1.2 mm'")
    if bores and spec.bore_m is not None:
        table.fail("bores", "and bore are both given", "one of the two")
    widest = max(bores) if bores else spec.bore_m
    if widest and spec.outside_diameter_m and widest >= spec.outside_diameter_m:
        table.fail("bore", "is not smaller than outside_diameter", "the inside diameter")
    table.finish()
    return spec


def _liquids(table: _Table) -> LiquidsSpec:
    manometric = table.liquid("manometric")
    if manometric is None:
        table.fail("manometric", "is missing", "a liquid such as 'water'")
    seals = table.liquids("seal")
    spec = LiquidsSpec(
        manometric=cast(LiquidSpec, manometric),
        process=table.liquid("process") or LiquidSpec(name="air"),
        seals=seals,
    )
    table.finish()
    return spec


def _tapping(table: _Table, length: Callable[[_Table, str], Given | None]) -> TappingSpec:
    spec = TappingSpec(height=length(table, "height"), wanted_at=length(table, "wanted_at"))
    table.finish()
    return spec


def _reference(table: _Table, length: Callable[[_Table, str], Given | None]) -> ReferenceSpec:
    spec = ReferenceSpec(
        open_to=table.text("open_to") or "air",
        process=table.liquid("process"),
        height=length(table, "height"),
        limb=table.integer("limb", lowest=1),
    )
    if spec.open_to != "tapping" and (spec.process or spec.height):
        table.fail("open_to", "must be 'tapping' with process or height", "'tapping'")
    table.finish()
    return spec


def _cistern(table: _Table, length: Callable[[_Table, str], Given | None]) -> CisternSpec:
    ratio = table.given_number("area_ratio")
    if ratio is not None and not 0 <= ratio.value < 1:
        table.fail("area_ratio", "is tube over cistern and lies between 0 and 1", "0.01")
    spec = CisternSpec(
        area_ratio=ratio,
        scale=cast(
            CisternScale, table.choice("scale", get_args(CisternScale), default="true")
        ),
        level=length(table, "level"),
        zero=length(table, "zero"),
    )
    table.finish()
    return spec


def _site(table: _Table) -> SiteSpec:
    latitude = table.quantity("latitude", "angle")
    if latitude is not None and abs(latitude) > math.pi / 2:
        table.fail("latitude", "must lie between -90 and 90 deg", "'52 deg'")
    barometer = table.given("barometer", "pressure", difference="pressure")
    # lowest and highest pressure at which anybody works outdoors, with a wide margin
    if barometer is not None and not 3e4 <= barometer.value <= 1.2e5:
        table.fail("barometer", "must lie between 300 and 1200 hPa", "'1009 hPa', not reduced")
    humidity = table.given("humidity", "ratio", difference="ratio")
    if humidity is not None and not 0 <= humidity.value <= 1:
        table.fail("humidity", "must lie between 0 % and 100 %", "'50 %'")
    gravity = table.given("gravity", "acceleration", difference="acceleration")
    # outside the range of gravity on Earth's surface (9.76 to 9.84) by a wide margin
    if gravity is not None and not 9.7 <= gravity.value <= 9.9:
        table.fail("gravity", "must lie between 9.7 and 9.9 m/s^2", "'9.8126 m/s^2'")
    limb_temperatures = table.givens("limb_temperatures", "temperature")
    spec = SiteSpec(
        temperature_k=table.given("temperature", "temperature"),
        limb_temperatures_k=limb_temperatures,
        latitude_rad=latitude,
        elevation_m=table.quantity("elevation", "length"),
        gravity_m_s2=gravity,
        barometer_pa=barometer,
        relative_humidity=humidity,
        plumb_rad=table.given("plumb", "angle", difference="angle"),
    )
    if spec.elevation_m is not None and not -500 <= spec.elevation_m <= 9000:
        table.fail("elevation", "must lie between -500 and 9000 m", "'40 m'")
    table.finish()
    return spec


def _limits(table: _Table, arrangement: ArrangementName) -> LimitsSpec:
    kinds = ("absolute",) if arrangement == "barometer" else ("gauge", "differential")
    spec = LimitsSpec(
        low_pa=table.pressure("low", kinds), high_pa=table.pressure("high", kinds)
    )
    if spec.low_pa is not None and spec.high_pa is not None and spec.low_pa >= spec.high_pa:
        table.fail("low", "is not below high", "a lower limit under the upper one")
    table.finish()
    return spec


def _label(table: _Table) -> LabelSpec | None:
    number = table.integer("number", lowest=0)
    size_m = table.quantity("size", "length", above=0.0)
    table.finish()
    if number is None:
        if size_m is not None:
            table.fail("number", "is missing", "the number of the printed label, number = 17")
        return None
    if number >= LABEL_NUMBERS:
        table.fail(
            "number", f"{number} is not in the family 36h11", f"0 to {LABEL_NUMBERS - 1}"
        )
    return LabelSpec(number=number, size_m=size_m)


class _Table:
    """One table of the file: hands out checked values and finds keys nobody asked for."""

    def __init__(self, content: Mapping[str, Any], *, source: str, path: str = "") -> None:
        self._content = content
        self._source = source
        self._path = path
        self._asked: set[str] = set()

    def fail(self, key: str, what: str, mend: str) -> None:
        """Raise an error that names file, key and mend."""
        where = f"{self._path}.{key}" if self._path else key
        raise InstrumentError(f"{self._source}: {where}: {what}; write {mend}")

    def finish(self) -> None:
        """Fail on the first key that is not known."""
        for key in self._content:
            if key not in self._asked:
                known = ", ".join(sorted(self._asked))
                self.fail(key, "is not a known key here", f"one of: {known}")

    def _get(self, key: str, *, required: bool = False, example: str = "it") -> Any:
        self._asked.add(key)
        if required and key not in self._content:
            self.fail(key, "is missing", example)
        return self._content.get(key)

    def table(self, key: str, *, required: bool = False) -> _Table:
        value = self._get(key, required=required, example=f"a table [{key}]")
        if value is not None and not isinstance(value, dict):
            self.fail(key, "is not a table", f"[{key}] on its own line, keys below it")
        path = f"{self._path}.{key}" if self._path else key
        return _Table(value or {}, source=self._source, path=path)

    def text(self, key: str, *, required: bool = False) -> Any:
        """A text, or None; typed Any because ``required`` makes it certain."""
        value = self._get(key, required=required, example=f'{key} = "..."')
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
        value = self.text(key, required=required)
        if value is None:
            return default
        if value not in choices:
            self.fail(key, f"{value!r} is not known", f"one of: {', '.join(choices)}")
        return cast(str, value)

    def integer(self, key: str, *, lowest: int) -> int | None:
        value = self._get(key)
        if value is None:
            return None
        if isinstance(value, str) and value.isdigit():
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int) or value < lowest:
            self.fail(key, f"{value!r} is not a whole number from {lowest}", f"{key} = 2")
        return cast(int, value)

    def number(
        self,
        key: str,
        *,
        required: bool = False,
        above: float = -math.inf,
        lowest: float = -math.inf,
    ) -> Any:
        """A plain number in the unit of the scale, or None (see ``text`` for Any)."""
        value = self._get(key, required=required, example=f"{key} = 1.0")
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.fail(key, f"{value!r} is not a plain number", f"{key} = 1.0, without a unit")
        self._check_range(key, float(value), above, lowest)
        return float(value)

    def quantity(
        self, key: str, dimension: str, *, above: float = -math.inf, lowest: float = -math.inf
    ) -> float | None:
        value = self._get(key)
        return None if value is None else self._parse(key, value, dimension, above, lowest)

    def quantities(
        self, key: str, dimension: str, *, above: float = -math.inf
    ) -> tuple[float, ...] | None:
        value = self._get(key)
        if value is None:
            return None
        if not isinstance(value, list) or not value:
            self.fail(key, "is not a list", f'{key} = ["7 mm", "7.2 mm"], left to right')
        return tuple(self._parse(key, item, dimension, above, -math.inf) for item in value)

    def given(
        self, key: str, dimension: str, *, difference: str = "temperature difference"
    ) -> Given | None:
        """A quantity, alone or as ``{ value = ..., standard_uncertainty = ... }``."""
        value = self._get(key)
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
        value = self._get(key)
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
            raise InstrumentError(f"{self._source}: {self._path}.{key}: {error}") from error
        if kind is not None and kind not in kinds:
            self.fail(key, f"{kind} is not what this instrument shows", f"it as {kinds[0]}")
        return number

    def liquid(self, key: str) -> LiquidSpec | None:
        value = self._get(key)
        return None if value is None else self._liquid(key, value)

    def liquids(self, key: str) -> tuple[LiquidSpec, ...]:
        value = self._get(key)
        if value is None:
            return ()
        items = value if isinstance(value, list) else [value]
        return tuple(self._liquid(key, item) for item in items)

    def _liquid(self, key: str, value: Any) -> LiquidSpec:
        if isinstance(value, str):
            value = {"name": value}
        if not isinstance(value, dict):
            self.fail(
                key, f"{value!r} is no liquid", '"water" or { name = ..., density = ... }'
            )
        table = _Table(value, source=self._source, path=f"{self._path}.{key}")
        spec = LiquidSpec(
            name=table.text("name", required=True),
            density_kg_m3=table.quantity("density", "density", above=0.0),
            specific_gravity=table.number("specific_gravity", above=0.0),
            at_k=table.quantity("at", "temperature", above=0.0),
            expansion_per_k=table.quantity("expansion", "expansion"),
            standard_uncertainty_kg_m3=table.quantity(
                "standard_uncertainty", "density", lowest=0.0
            ),
            surface_tension_n_m=table.quantity(
                "surface_tension", "surface tension", above=0.0
            ),
            contact_angle_rad=table.quantity("contact_angle", "angle", lowest=0.0),
        )
        if spec.density_kg_m3 is not None and spec.specific_gravity is not None:
            table.fail("specific_gravity", "and density are both given", "one of the two")
        own = spec.density_kg_m3 is not None or spec.specific_gravity is not None
        if not own and (spec.at_k is not None or spec.expansion_per_k is not None):
            table.fail(
                "at", "belongs to a density, and none is given", 'density = "826 kg/m^3"'
            )
        # liquids from liquefied gases at room temperature to heavier than any element
        if spec.density_kg_m3 is not None and not 300 <= spec.density_kg_m3 <= 25000:
            table.fail("density", "is no density of a liquid", '"826 kg/m^3"')
        if spec.specific_gravity is not None and not 0.3 <= spec.specific_gravity <= 25:
            table.fail("specific_gravity", "is not that of a liquid", "0.827")
        if spec.contact_angle_rad is not None and spec.contact_angle_rad > math.pi:
            table.fail("contact_angle", "is above 180 deg", '"20 deg"')
        table.finish()
        return spec

    def _given(self, key: str, value: Any, dimension: str, difference: str) -> Given:
        if not isinstance(value, dict):
            return Given(value=self._parse(key, value, dimension))
        table = _Table(value, source=self._source, path=f"{self._path}.{key}")
        number = table.quantity("value", dimension)
        if number is None:
            table.fail("value", "is missing", "{ value = ..., standard_uncertainty = ... }")
        given = Given(
            value=cast(float, number),
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
        where = f"{self._path}.{key}" if self._path else key
        if not isinstance(value, str):
            raise InstrumentError(
                f"{self._source}: {where}: {value!r} has no unit; "
                f"write a text with a {dimension}, number and unit"
            )
        try:
            number = parse_quantity(value, dimension)
        except InputError as error:
            raise InstrumentError(f"{self._source}: {where}: {error}") from error
        self._check_range(key, number, above, lowest)
        return number

    def _check_range(self, key: str, number: float, above: float, lowest: float) -> None:
        if not math.isfinite(number):
            self.fail(key, "is not a finite number", "a plain number")
        if number <= above:
            self.fail(key, f"must be above {above:g}", "a larger value")
        if number < lowest:
            self.fail(key, f"must not be below {lowest:g}", "a larger value")
