"""What is known about one meniscus before its picture is fitted, and what comes back.

A level is the point where the meniscus meets the tube's axis: the lowest point of a
concave one, the highest of a convex one (ISO 4787: the meniscus is set tangentially at its
lowest point; for mercury at the top).  A camera does not see that point directly.  The road
from here to there is in modules of one law or idea each; first what a meniscus looks like:

``meniscus_shape``
    Young-Laplace: height and slope of the liquid's surface over the distance from the axis.
``meniscus_optics``
    Snell, Fresnel, total reflection: where each line of sight ends, and through what.
``meniscus_surroundings``
    What surrounds a level, and the physics that its picture depends on.
``meniscus_factors``
    The columns that make its picture, and what is supposed of their factors.
``meniscus_scene``
    Tube, surface and camera as rays meet them.
``meniscus_light``
    Beer and Lambert: how the liquids take light, and what falls on the board.
``meniscus_rays``
    Where lines of sight are laid; tracing them.
``meniscus_columns``
    Brightness along them, as a sum of columns.
``meniscus_picture``
    All of that put together.
``meniscus_blur``
    What a camera makes of it, row by row.

Then least squares, for the position of the apex at which that meets the photo.  Each of these
uses those before it:

``meniscus_priors``
    What is supposed about the physics, how surely, and within which bounds.
``meniscus_profile``
    The rows and colours that are fitted, their noise, and all that is known beforehand.
``meniscus_tracing``
    Pictures at a point of the physics and a step from it in each unknown.
``meniscus_refinement``
    Where a fit stands; Gauss-Newton steps from there.
``meniscus_search``
    Places that the level may have.
``meniscus_rivals``
    Which of them is taken, and what the others cost.
``meniscus_outcome``
    Components of the uncertainty, and doubts.
``meniscus_fit``
    All of it: from a profile to an ``ApexFit``.

The algebra beneath is in ``meniscus_basis`` (which brightness factors count),
``meniscus_cost`` (robust residuals) and ``meniscus_step`` (a step within bounds).

Directions: ``y`` along the tube's axis, upward; ``s`` horizontally toward the camera; ``x``
to the right as seen by the camera.  Origin: the apex.  The *apparent height* of a line of
sight is the height at which its straight, unrefracted continuation crosses the axis.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

GLASS_REFRACTIVE_INDEX = 1.473
"""Borosilicate glass 3.3 at 587.6 nm (manufacturers' data sheets: 1.473; soda-lime 1.52)."""

U_GLASS_REFRACTIVE_INDEX = 0.025
"""Half the way from borosilicate to soda-lime, taken as one standard uncertainty."""

COVERAGE, COVERAGE_FACTOR = 0.95, 2.0
"""Of an interval, and standard uncertainties to its ends (JCGM 100:2008, 6.3.3)."""

AMBIGUOUS = "level_ambiguous"
"""Doubt of a fit that finds other places about as good, all like a meniscus."""
NOT_SEEN = "meniscus_not_seen"
"""Doubt of a fit that explains no more than a smooth profile would."""
UNLIKE_MODEL = "meniscus_unlike_model"
"""Doubt of one that leaves more unexplained than the model may miss."""
STRAINED = "meniscus_strained"
"""Doubt of one that needs liquids and light such as there are none."""
AS_SEEN = "level_as_seen"
"""Doubt of one that was given up for where the level is seen, or is borne out by that."""
UNLIKE = (UNLIKE_MODEL, NOT_SEEN)
"""Doubts of one whose picture is not that of a meniscus."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeGeometry:
    """Tube dimensions with standard uncertainties [m]."""

    bore_radius_m: float
    u_bore_radius_m: float
    outer_radius_m: float
    axis_to_scale_m: float
    u_axis_to_scale_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeView:
    """Viewing geometry of one level.

    Attributes
    ----------
    bore_radius_m, outer_radius_m, u_bore_radius_m
        Radii of the tube; standard uncertainty of the bore's.
    axis_to_board_m
        Distance from the axis to what is seen behind the tube.
    elevation_rad, u_elevation_rad
        Angle of the camera above the plane through the level square to the axis.
    distance_m
        Camera to axis.
    px_per_m
        Pixels per metre along the axis, at the level.
    line_pitch_m
        Distance of graduations on the board, where they are seen through the tube; 0 where
        there are none.
    """

    bore_radius_m: float
    outer_radius_m: float
    u_bore_radius_m: float
    axis_to_board_m: float
    elevation_rad: float
    u_elevation_rad: float
    distance_m: float
    px_per_m: float
    line_pitch_m: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FluidOptics:
    """How one fluid treats light; ``opaque_mirror`` for mercury."""

    refractive_index: float
    u_refractive_index: float
    opaque_mirror: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MeniscusPhysics:
    """One interface: capillary length sqrt(sigma / (delta rho g)), contact angle through
    the lower fluid."""

    capillary_length_m: float
    u_capillary_length_m: float
    contact_angle_rad: float
    u_contact_angle_rad: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ApexFit:
    """Position of the apex along the axis, upward, in the caller's pixel rows.

    Attributes
    ----------
    position_px
        Where the straight line of sight to the true apex meets the picture.
    u_statistical_px
        From the noise and misfit of the profile.
    u_model_px
        From what is known only roughly; root sum of squares of ``u_components_px``.
    u_components_px
        By name: refractive_index, capillary_length, contact_angle, bore, elevation,
        brightness, tone, ambiguity (rival positions), reflection (a lamp's at the axis),
        room (what a mirror shows beside the axis), lines behind (graduations seen through the
        tube), colours (kept at half resolution).
    misfit
        Root mean square residual over the profile's range of brightness.
    ok
        False: the picture does not look like the model; a person should look.
    reason
        Code of the doubt, ``""`` if none.
    blur_px
        Fitted width of the point spread (one standard deviation).
    px_per_elevation
        By how much the position moves with the elevation supposed [px/rad].
    for_wetting
        Twice the logarithm of how much better the picture is explained than with the other
        contact angle asked about; None where none was, or neither shows a meniscus.
    """

    position_px: float
    u_statistical_px: float
    u_model_px: float
    u_components_px: Mapping[str, float]
    misfit: float
    ok: bool
    reason: str
    blur_px: float
    px_per_elevation: float = 0.0
    for_wetting: float | None = None

    @property
    def u_px(self) -> float:
        """Combined standard uncertainty, px."""
        return float((self.u_statistical_px**2 + self.u_model_px**2) ** 0.5)

    @property
    def is_likely(self) -> bool:
        """Whether it looks like a meniscus, if at several places: the interval holds them."""
        return self.ok or self.reason == AMBIGUOUS
