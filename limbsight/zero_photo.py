"""A photo of the instrument with both ends open to the air, to be subtracted.

What two photos of one instrument share, and what is each one's own, is said here: the depth of
the tubes before the scale is the instrument's, the focal length the camera's, the scale map
the photo's. A component of a meniscus is each photo's own: physics not known exactly moves it
in both, but by an amount and a sense that depend on where the camera stood, so that counting
on it to cancel could state too little.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from limbsight.errors import InputError
from limbsight.records import Reason, ZeroUsed
from limbsight.vision.picture import Picture

if TYPE_CHECKING:
    from limbsight.calib.instrument import Instrument
    from limbsight.level_heights import LevelHeight

OF_THE_PHOTO = "scale_map_"
OF_THE_CAMERA = "focal_length"
"""First words of the shared keys of `limbsight.calib.height_components`."""

Heights = tuple[tuple["LevelHeight", ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """What tells cameras apart: focal length [mm, 35 mm equivalent] and size of picture."""

    focal_35mm: float | None
    size_px: tuple[int, int]

    def is_same(self, other: Camera) -> bool:
        """Whether both took their photos with one lens; not known without EXIF data."""
        return self.focal_35mm is not None and self == other


def camera_of(picture: Picture) -> Camera:
    """Describe the camera of a photo, however it was held."""
    short, long = sorted(picture.size_px)
    return Camera(focal_35mm=picture.focal_35mm, size_px=(short, long))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ZeroPhoto:
    """A zero that was read and found fit to be subtracted."""

    used: ZeroUsed
    levels: Heights
    camera: Camera
    doubts: tuple[Reason, ...] = ()
    """Why a person should look at the zero photo itself."""

    def levels_beside(self, picture: Picture) -> Heights:
        """Levels of the zero, with what they share with the levels of another photo."""
        same_camera = self.camera.is_same(camera_of(picture))
        return tuple(
            tuple(_as_zero(level, same_camera) for level in limb) for limb in self.levels
        )


def _as_zero(level: LevelHeight, same_camera: bool) -> LevelHeight:
    own = (OF_THE_PHOTO,) if same_camera else (OF_THE_PHOTO, OF_THE_CAMERA)
    parts = tuple(
        replace(part, shared_key=f"zero photo {part.shared_key}")
        if part.shared_key is not None and part.shared_key.startswith(own)
        else part
        for part in level.components
    )
    return replace(level, components=parts)


def check_zero(instrument: Instrument, levels: Heights, photo: str) -> None:
    """Check that levels can be a zero of the instrument, before any reading needs it.

    Raises
    ------
    InputError
        Naming the photo: ``bad_zero`` where the instrument can have none, ``not_a_zero``
        where the levels are not of both ends at one pressure.
    InstrumentError
        If the instrument file lacks something the pressure needs.
    """
    from limbsight.pressure import bank_pressures, pressure_from_levels

    every_tube = instrument.arrangement == "bank" and instrument.tapped_limb is None
    reduce = bank_pressures if every_tube else pressure_from_levels
    try:
        reduce(instrument, levels, zero=levels)
    except InputError as error:
        raise InputError(f"{photo}: {error}", code=error.code) from error
