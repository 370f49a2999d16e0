"""The printed label of an instrument: which one this is, and how its board stands."""

from __future__ import annotations

from collections.abc import Sequence

from limbsight.calib.camera import Square
from limbsight.calib.instrument import Instrument
from limbsight.knowledge import Knowledge
from limbsight.reasons import reason, refusal
from limbsight.records import Reason
from limbsight.vision.labels import SeenLabel, find_labels
from limbsight.vision.working import WorkingImage


def labels_of(
    working: WorkingImage, instrument: Instrument | Sequence[Instrument] | None
) -> tuple[SeenLabel, ...]:
    """Labels in a picture at the size of the search, if a file states one."""
    stated = instrument if isinstance(instrument, Sequence) else (instrument,)
    if not any(one and one.label for one in stated):
        return ()
    return find_labels(working)


def instrument_shown(
    seen: Sequence[SeenLabel], instruments: Sequence[Instrument]
) -> Instrument:
    """Choose among instruments the one whose label is in the picture.

    Raises
    ------
    NotMeasurable
        ``instrument_not_told``: none of their labels is, or those of several are.
    """
    numbers = {label.number for label in seen}
    shown = [one for one in instruments if one.label and one.label.number in numbers]
    if len(shown) == 1:
        return shown[0]
    names = " and ".join(one.name for one in shown)
    raise refusal("instrument_not_told", what=f"those of {names}" if names else "none")


def check_label(
    seen: Sequence[SeenLabel], known: Knowledge
) -> tuple[Square | None, tuple[Reason, ...]]:
    """Compare the label in the picture with the one that the file states.

    Returns
    -------
    square
        The label as a square of known size on the board; None where its size is not stated,
        or it is not seen once.
    notes

    Raises
    ------
    NotMeasurable
        ``other_instrument``: only labels of others are in the picture.
    """
    stated = known.instrument.label
    if stated is None:
        return None, ()
    own = [label for label in seen if label.number == stated.number]
    if not own and seen:
        numbers = ", ".join(str(number) for number in sorted({label.number for label in seen}))
        raise refusal("other_instrument", seen=numbers, stated=stated.number)
    if not own:
        return None, (reason("label_not_seen", stated=stated.number),)
    if len(own) > 1 or stated.size_m is None:
        return None, ()
    return Square(corners_px=own[0].corners_px, edge=stated.size_m / known.unit_m), ()
