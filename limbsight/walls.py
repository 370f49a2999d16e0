"""What a tube's wall is made of, as far as water wets it.

Water creeps up glass; on the walls of plastic tubes, and on greasy glass, its surface meets
the wall steeply, the meniscus is flat and the capillary rise small.  Oils wet both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from limbsight.calib.instrument import Instrument
from limbsight.errors import InstrumentError
from limbsight.reduce.constants import constants, entry_of

GLASS, PLASTIC = "glass", "plastic"
"""Names of any glass and any plastic, in an instrument file, too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wetting:
    """Of a wall that water does not wet: the contact angle through the water.

    ``u_limb_rad`` is the part of it that each level has of its own: a level that has risen
    meets the wall more steeply than one that has fallen.
    """

    contact_angle_rad: float
    u_rad: float
    u_limb_rad: float


def wetting_of(instrument: Instrument) -> Wetting | None:
    """Look up how water wets the wall that an instrument file names; None as glass, or where
    none is named.

    Raises
    ------
    InstrumentError
        If the material is not known.
    """
    wanted = instrument.tube.material
    if wanted is None:
        return None
    _, entry = entry_of("wall", wanted)
    if entry is None:
        raise InstrumentError(
            f"{instrument.path}: tube.material: {wanted!r} is not known; "
            f"write one of: {', '.join(constants()['wall'])}"
        )
    return _wetting(entry) if entry["contact_angle_deg"] else None


def _wetting(entry: dict[str, float]) -> Wetting:
    return Wetting(
        contact_angle_rad=math.radians(entry["contact_angle_deg"]),
        u_rad=math.radians(entry["standard_uncertainty_deg"]),
        u_limb_rad=math.radians(entry["limb_standard_uncertainty_deg"]),
    )
