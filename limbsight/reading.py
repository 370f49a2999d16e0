"""The road from photo to pressure, on one screen.

photo --vision--> graduations --calib--> scale map --vision--> limbs, interfaces
      --calib--> heights --reduce--> pressure
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from limbsight import __version__
from limbsight.askew import doubts_of_place, lean_against_scale, leaning, with_plumb_in_doubt
from limbsight.calib.axis_to_scale import parse_axis_to_scale, with_axis_to_scale
from limbsight.calib.meniscus import COVERAGE_FACTOR
from limbsight.calib.numbering import NamedScale
from limbsight.calib.unknown_scale import ScaleFromPicture
from limbsight.diagnosis import cause_of
from limbsight.errors import InputError, LimbsightError, NotMeasurable
from limbsight.find_limbs import find_limbs
from limbsight.find_scale import (
    MIN_PITCH_PX,
    MOST_UNSEEN,
    View,
    find_scale,
    find_unknown_scale,
    unseen_share,
    upright,
)
from limbsight.know_picture import know_from_picture
from limbsight.knowledge import Knowledge, knowledge_of
from limbsight.labels import check_label, instrument_shown, labels_of
from limbsight.liquid_seen import liquid_doubts
from limbsight.read_limb import Limb
from limbsight.reasons import reason, status_of
from limbsight.records import (
    GraduationMark,
    LimbReading,
    PressureReading,
    Reading,
    Reason,
    ZeroUsed,
)
from limbsight.results import level_height, limb_reading, marks
from limbsight.scale_of_file import find_scale_of_file
from limbsight.threads import one_blas_thread
from limbsight.through_glass import (
    ENDS_SHARE,
    places_on,
    rests_on_glass,
    with_tubes_covered,
)
from limbsight.vision.border import has_border
from limbsight.vision.picture import Picture, load_picture
from limbsight.vision.working import WorkingImage, working_copy
from limbsight.wall_seen import with_wall_seen
from limbsight.zero_photo import ZeroPhoto, camera_of, check_zero
from limbsight.zero_seen import zero_doubts

if TYPE_CHECKING:
    from limbsight.calib.instrument import Instrument


MOST_COVERINGS = 2
"""Tubes are covered where they are found: a limb that is found better so is covered anew."""
ZERO_CODES = ("bad_zero", "not_a_zero")
"""Errors of a zero, from `limbsight.reduce.zero`."""


def read_photo(
    path: str | Path,
    *,
    instrument: Instrument | Sequence[Instrument] | None = None,
    zero: str | Path | ZeroPhoto | None = None,
    axis_to_scale: str | None = None,
) -> Reading:
    """Read one photo.

    Parameters
    ----------
    path
        A photo in any common format.
    instrument
        What is known about the manometer; without it the photo is read as far as it allows.
        Of several the one is taken whose printed label the photo shows.
    zero
        A photo of the same instrument with both ends open to the air, or what
        :func:`read_zero` made of one; what it shows is taken off the pressure.
    axis_to_scale
        How far the axis of the bore stands in front of the graduated face, such as
        ``"6.5 mm"``, known to 0.2 mm; for a photo without an instrument file, or whose file
        leaves it out.

    Returns
    -------
    Reading
        With status ``read``, ``check`` or ``refused`` and reasons; never an exception for a
        photo that can't be read.

    Raises
    ------
    InputError
        The file is not a photo that can be decoded, the zero can't serve as one, or
        ``axis_to_scale`` is no such length or stated by the instrument file, too.
    """
    depth_m = None if axis_to_scale is None else parse_axis_to_scale(axis_to_scale)
    if instrument is not None and depth_m is not None:
        instrument = with_axis_to_scale(instrument, depth_m)
    return read_as_told(path, instrument=instrument, zero=zero, axis_to_scale_m=depth_m)


def read_as_told(
    path: str | Path,
    *,
    instrument: Instrument | Sequence[Instrument] | None,
    zero: str | Path | ZeroPhoto | None,
    axis_to_scale_m: float | None,
) -> Reading:
    """Read one photo as :func:`read_photo` does, once what was given with it is taken in.

    Parameters
    ----------
    path, zero
    instrument
        With the axis filled in, where that was given.
    axis_to_scale_m
        For a photo without an instrument file.
    """
    if zero is not None and not isinstance(zero, ZeroPhoto):
        zero = read_zero(zero, instrument=instrument)
    walked = _walk(path, instrument, axis_to_scale_m)
    known, limbs, reasons = walked.known, walked.limbs, walked.reasons
    pressures: dict[str | None, PressureReading] = {}
    if known is not None and not known.from_picture and status_of(reasons) != "refused":
        pressures, trouble = _pressures(walked.picture, limbs, known, zero)
        reasons += trouble
    return _result(
        path,
        walked,
        reasons=reasons,
        pressures=pressures,
        zero=zero.used if zero is not None and pressures else None,
    )


def read_zero(
    path: str | Path, *, instrument: Instrument | Sequence[Instrument] | None
) -> ZeroPhoto:
    """Read the photo of an instrument with both ends open to the air, to be subtracted.

    Raises
    ------
    InputError
        The file is no photo (``bad_file``), or its levels can't be read, are not those of
        this instrument, or differ by more than a zero can (``bad_zero``, ``not_a_zero``).
    InstrumentError
        The instrument file lacks something the pressure needs.
    """
    if instrument is None:
        raise InputError(
            f"{path}: a zero photo is subtracted from a pressure, which needs an instrument "
            "file; give --instrument",
            code="bad_zero",
        )
    walked = _walk(path, instrument)
    if walked.known is None or status_of(walked.reasons) == "refused":
        why = "; ".join(f"{r.text} [{r.code}]" for r in walked.reasons)
        raise InputError(f"{path}: can't be read as a zero photo: {why}", code="bad_zero")
    known = walked.known
    levels = tuple(
        tuple(level_height(level, known) for level in limb.levels) for limb in walked.limbs
    )
    check_zero(known.instrument, levels, str(path))
    return ZeroPhoto(
        used=ZeroUsed(
            photo=str(path), sha256=walked.picture.sha256, taken_at=walked.picture.taken_at
        ),
        levels=levels,
        camera=camera_of(walked.picture),
        doubts=walked.reasons,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Walked:
    """How far the road went with one photo, from the picture to the levels."""

    picture: Picture
    known: Knowledge | None
    view: View | None = None
    scale: NamedScale | None = None
    limbs: tuple[Limb, ...] = ()
    reasons: tuple[Reason, ...] = ()


def _walk(
    path: str | Path,
    instrument: Instrument | Sequence[Instrument] | None,
    depth_m: float | None = None,
) -> Walked:
    """Go from the photo to the levels, as far as they can be found."""
    with one_blas_thread():
        return _walk_on(load_picture(path), instrument, depth_m)


def _walk_on(
    picture: Picture,
    instrument: Instrument | Sequence[Instrument] | None,
    depth_m: float | None,
) -> Walked:
    known: Knowledge | None = None
    found: ScaleFromPicture | None = None
    notes: tuple[Reason, ...] = ()
    places: tuple[float, ...] = ()
    working = working_copy(picture)
    picture, bordered = _of_known_lens(picture, working)
    try:
        labels = labels_of(working, instrument)
        if isinstance(instrument, Sequence):
            instrument = instrument_shown(labels, instrument)
        if instrument is not None:
            known = knowledge_of(instrument)
            square, notes = check_label(labels, known)
            view, scale = find_scale_of_file(picture, working, known, square)
        else:
            view, found = upright(picture, working, None, find_unknown_scale)
            scale = found.named
            told = know_from_picture(view, found, depth_m)
            known, places, notes = told.known, told.places, told.reasons
        limbs = find_limbs(view, scale, known, places)
        on = _OnScale(scale=scale, known=known, limbs=limbs, told=notes)
        on = _along_tubes(view, on, found, depth_m)
        known, notes = on.known, on.told
        if on.scale.rivals:
            notes += (reason("several_scales", count=1 + on.scale.rivals),)
        scale, limbs, on_glass = _clear_of_glass(view, on.scale, on.limbs, known, on.lean)
        if instrument and unseen_share(view, scale, instrument.scale) > MOST_UNSEEN:
            notes += (reason("scale_partly_seen"),)
        if on_glass:
            notes += (reason("scale_through_tubes"),)
        if instrument:
            notes += liquid_doubts(limbs, known)
        if found is not None and not found.sign_certain:
            notes += zero_doubts(limbs, known)
    except NotMeasurable as stop:
        why = cause_of(stop, working, known, MIN_PITCH_PX)
        return Walked(picture=picture, known=known, reasons=(_reason_of(why),))
    return Walked(
        picture=picture,
        known=with_wall_seen(with_plumb_in_doubt(known, on.lean), limbs),
        view=view,
        scale=scale,
        limbs=limbs,
        reasons=(
            *(r for limb in limbs for r in limb.reasons),
            *notes,
            *(bordered or _focal_note(limbs)),
            *_depth_note(limbs, known),
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _OnScale:
    """What stands by a scale, what was told of that, and how far it leans against it."""

    scale: NamedScale
    known: Knowledge
    limbs: tuple[Limb, ...]
    told: tuple[Reason, ...]
    lean: float = 0.0


def _along_tubes(
    view: View, on: _OnScale, found: ScaleFromPicture | None, depth_m: float | None
) -> _OnScale:
    """Read once more along tubes that lean against the scale; not so where that leaves more
    doubt, in the lean as well.

    ``found`` is a scale that no file describes, beside which the tubes are looked for anew.
    """
    lean = lean_against_scale(on.limbs, view, on.known)
    if lean == 0.0:
        return on
    scale, known, told = leaning(on.scale, lean), on.known, on.told
    places: tuple[float, ...] = ()
    try:
        if found is not None:
            again = know_from_picture(view, replace(found, named=scale), depth_m)
            known, places, told = again.known, again.places, again.reasons
        limbs = find_limbs(view, scale, known, places)
    except NotMeasurable:
        return on
    if doubts_of_place(limbs) > doubts_of_place(on.limbs):
        return on
    note = reason("scale_askew", degrees=math.degrees(math.atan(abs(lean))))
    return _OnScale(scale=scale, known=known, limbs=limbs, told=(*told, note), lean=lean)


def _clear_of_glass(
    view: View,
    scale: NamedScale,
    limbs: tuple[Limb, ...],
    known: Knowledge,
    lean: float,
) -> tuple[NamedScale, tuple[Limb, ...], bool]:
    """Read by the lines beside the tubes alone, where the map rests on others and those are
    scale enough; and whether it still rests on lines seen through a tube."""
    for _ in range(MOST_COVERINGS):
        if not rests_on_glass(limbs, scale, known):
            return scale, limbs, False
        try:
            covered = with_tubes_covered(view, limbs, scale, known)
            beside = leaning(find_scale(covered, known), lean)
            # Without a file which bands are tubes was settled with what they hold.
            places = places_on(view, limbs, beside, known) if known.from_picture else ()
            scale, limbs = beside, find_limbs(view, beside, known, places)
        except NotMeasurable:
            break
    return scale, limbs, rests_on_glass(limbs, scale, known, ENDS_SHARE)


def _of_known_lens(
    picture: Picture, working: WorkingImage
) -> tuple[Picture, tuple[Reason, ...]]:
    """Disbelieve EXIF where the picture shows another one, taken by who knows what lens."""
    if picture.focal_35mm is None or not has_border(working.bgr):
        return picture, ()
    return replace(picture, focal_35mm=None, whole=False), (reason("picture_of_picture"),)


def _focal_note(limbs: tuple[Limb, ...]) -> tuple[Reason, ...]:
    """Say so where a guessed focal length makes most of an interval: that can be mended."""
    for level in (level for limb in limbs for level in limb.levels):
        rest = level.uncertainty_without(("focal length",))
        if rest < level.standard_uncertainty / np.sqrt(2.0):
            return (reason("focal_unknown"),)
    return ()


def _depth_note(limbs: tuple[Limb, ...], known: Knowledge) -> tuple[Reason, ...]:
    """Say by how much the unknown depth of the tubes widens the worst level, if by most."""
    if known.instrument.tube.axis_to_scale_m is not None:
        return ()
    rests = [
        (level.standard_uncertainty, level.uncertainty_without(("axis to scale",)), limb.name)
        for limb in limbs
        for level in limb.levels
    ]
    now, rest, limb_name = max(rests, key=lambda one: one[0] - one[1], default=(0.0, 0.0, ""))
    if rest >= now / np.sqrt(2.0):
        return ()
    return (
        reason(
            "depth_unknown",
            limb=limb_name,
            known=COVERAGE_FACTOR * rest,
            now=COVERAGE_FACTOR * now,
            unit=known.instrument.scale.unit,
        ),
    )


def _pressures(
    picture: Picture, limbs: tuple[Limb, ...], known: Knowledge, zero: ZeroPhoto | None
) -> tuple[dict[str | None, PressureReading], tuple[Reason, ...]]:
    """Return the pressure, under None; or those of a bank, under the names of its limbs."""
    from limbsight.pressure import bank_pressures, pressure_from_levels

    heights = [[level_height(level, known) for level in limb.levels] for limb in limbs]
    off = None if zero is None else zero.levels_beside(picture)
    instrument = known.instrument
    pressures: dict[str | None, PressureReading] = {}
    try:
        if instrument.arrangement == "bank" and instrument.tapped_limb is None:
            found = bank_pressures(instrument, heights, zero=off)
            pressures |= {name.removeprefix("limb "): p for name, p in found.items()}
        else:
            pressures[None] = pressure_from_levels(instrument, heights, zero=off)
    except LimbsightError as error:
        if error.code in ZERO_CODES:
            return {}, (reason("zero_unfit", detail=str(error)),)
        return {}, (reason("pressure_not_computed", detail=str(error)),)
    if zero is None or not zero.doubts:
        return pressures, ()
    codes = ", ".join(dict.fromkeys(r.code for r in zero.doubts))
    return pressures, (reason("zero_doubtful", photo=zero.used.photo, codes=codes),)


def _reason_of(stop: NotMeasurable) -> Reason:
    text = str(stop)
    return Reason(code=stop.code, text=text) if text else reason(stop.code)


def _result(
    path: str | Path,
    walked: Walked,
    *,
    reasons: tuple[Reason, ...],
    pressures: dict[str | None, PressureReading],
    zero: ZeroUsed | None,
) -> Reading:
    picture, known = walked.picture, walked.known
    view, scale = walked.view, walked.scale
    limbs: tuple[LimbReading, ...] = ()
    graduations: tuple[GraduationMark, ...] = ()
    if known is not None and view is not None and scale is not None:
        limbs = tuple(limb_reading(limb, view, scale, known) for limb in walked.limbs)
        graduations = marks(view, scale, known)
    return Reading(
        photo=str(path),
        sha256=picture.sha256,
        taken_at=picture.taken_at,
        status=status_of(reasons),
        reasons=reasons,
        limbs=limbs,
        graduations=graduations,
        pressure=pressures.get(None),
        pressures=tuple((limb, p) for limb, p in pressures.items() if limb is not None),
        instrument=known.instrument.name if known and not known.from_picture else None,
        program=f"limbsight {__version__}",
        size_px=picture.size_px,
        zero=zero,
    )
