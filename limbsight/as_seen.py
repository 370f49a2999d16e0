"""Levels whose picture no meniscus as modelled explains: taken where they are seen.

Rooms, boards and dirt are more various than any model of light in a tube. The level network
knows nothing of that model, and says for a level under gas or of mercury where its apex is to
a small part of the bore. Where it is sure and a fit that explains too little lies where it
says, both cannot be far off; where that fit lies elsewhere, it has gone after something else.
For boundaries of two liquids the network's place is no better than that of such a fit: they
are only borne out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from limbsight.calib.height_components import own_component
from limbsight.calib.heights import LevelFit
from limbsight.calib.meniscus import AMBIGUOUS, AS_SEEN
from limbsight.calib.rectify import Grid
from limbsight.calib.scale_map import ScaleMap
from limbsight.vision.level_choice import SURE

NEAR_BORES = 0.1
"""A fit that explains too little and lies this near to where the network sees the apex, in
bores, is borne out. Of 55 levels under gas of 449 path-traced photos of random looks, whose
fit does so and of which the network is sure, 43 are: 0.055 bores off (root mean square; 0.10
at 95 of 100). The fits of the other 12 are 0.20 bores off, the network's places 0.064. Of 16
such levels of mercury of 108 photos 11 are, 0.060 off; the fits of the other five are 0.12
off, the network's places 0.064."""
U_UNEXPLAINED_BORES = 0.056
"""Standard uncertainty that such a fit has besides its own: what the 54 are off."""
U_UNEXPLAINED_BETWEEN_BORES = 0.09
"""Of boundaries of two liquids, what 47 are off that are so near to the network's place."""
FAR_BORES = 0.2
"""A fit so far from the place of which the network is sure is wrong even where it looks like
a meniscus: of 783 such levels under gas the fits of four are, 0.24 bores off (the network
0.064), and all others are nearer."""
ODD_BORES = 0.16
"""A fit that looks like a meniscus and lies farther than this from the place of which the
network is sure may be the wrong one of the two: of five of 787 such levels under gas that are
no farther than ``FAR_BORES`` the fit of one is wrong, 0.22 bores off, and the places of the
other four. Half the distance is uncertain then: the place is within the interval. So it is
wherever two places fit alike: of seven such levels of 130 photos one was outside its interval
(0.064 bores off at u 0.013), none is with it; at the median they are 1.08 times as wide."""
U_SEEN_BORES = 0.08
"""Standard uncertainty of the network's place: 0.064 at those 16 levels, 0.058 at 779 others,
0.068 at the 43, with more than a few far ones (0.25 at most). That was before the network had
learnt from photographs; since then it is 0.069 off at 195 levels of new photos, 0.048 at 97 of
another renderer, and of mercury 0.073 at 78 of new photos, 0.037 at 23 of the other."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeenApex:
    """Where the level network sees an apex.

    Attributes
    ----------
    row
        Of ``grid``, whose middle column is the tube's axis.
    bore_rows
        The bore in rows.
    chance
        Probability of a level there.
    """

    grid: Grid
    row: float
    bore_rows: float
    chance: float

    @property
    def bore(self) -> float:
        """The bore in scale units."""
        return self.bore_rows * self.grid.step

    def bores_to(self, height: float) -> float:
        """Distance of a height [bores]."""
        return abs(self.grid.row_at(height) - self.row) / self.bore_rows


def held_against_seen(
    level: LevelFit,
    seen: SeenApex,
    scale_map: ScaleMap,
    *,
    between_liquids: bool,
    lies: bool,
    line_stands_out: bool,
) -> LevelFit:
    """Hold a fit against the place of its level, of which the network must be sure.

    Parameters
    ----------
    level
        The fit.
    seen
        Where the network sees the level.
    scale_map
        Of the scale.
    between_liquids
        Whether it is of a boundary of two liquids other than mercury.
    lies
        Whether the tube lies: the level slants there, and its place on the axis counts.
    line_stands_out
        Whether the level shows by its dark line though its profile is spoilt, so that a fit
        near the place needs no more than that.

    Returns
    -------
    LevelFit
        The fit; or the fit with a wider interval; or the place.
    """
    if seen.chance < SURE:
        return level
    apart, likely = seen.bores_to(level.height), level.apex.is_likely
    if not likely and apart < NEAR_BORES:
        if line_stands_out:
            return level
        return _borne_out(level, seen.bore, between_liquids=between_liquids)
    if between_liquids or lies:
        return level
    if likely and apart < ODD_BORES and level.apex.reason != AMBIGUOUS:
        return level
    if likely and apart < FAR_BORES:
        return _at_odds(level, 0.5 * apart * seen.bore)
    return _at(seen, level, scale_map)


def _at_odds(level: LevelFit, u: float) -> LevelFit:
    """The fit, whose interval holds the place as well."""
    part = own_component("level seen elsewhere", u)
    return replace(level, components=(*level.components, part))


def _borne_out(level: LevelFit, bore: float, *, between_liquids: bool) -> LevelFit:
    share = U_UNEXPLAINED_BETWEEN_BORES if between_liquids else U_UNEXPLAINED_BORES
    parts = (*level.components, own_component("meniscus unexplained", share * bore))
    return replace(level, components=parts, apex=replace(level.apex, reason=AS_SEEN))


def _at(seen: SeenApex, level: LevelFit, scale_map: ScaleMap) -> LevelFit:
    """The level where it is seen; what the fit has in common with other levels, and the doubt
    about its axis, hold for the place as well."""
    grid = seen.grid
    kept = tuple(
        part for part in level.components if part.shared_key or part.name == "tube axis"
    )
    height = grid.value_at(seen.row)
    across = grid.across_at(0.5 * (len(grid.across) - 1))
    x, y = scale_map.plane().to_pixel(across, height, grid.in_front)
    return replace(
        level,
        height=height,
        x_px=float(x),
        y_px=float(y),
        components=(*kept, own_component("meniscus as seen", U_SEEN_BORES * seen.bore)),
        apex=replace(level.apex, ok=False, reason=AS_SEEN),
    )
