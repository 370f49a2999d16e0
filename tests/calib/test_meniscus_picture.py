"""Pictures for one point of the physics and others about it, made together or alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib import meniscus_picture
from limbsight.calib.meniscus_factors import factor_priors
from limbsight.calib.meniscus_light import light_paths
from limbsight.calib.meniscus_picture import pictures
from tests.helpers.menisci import CASES
from tests.helpers.menisci import physics_supposed as supposed
from tests.helpers.menisci import surroundings as around

STEPS = {
    "capillary_length_m": 0.1e-3,
    "contact_angle_rad": 0.05,
    "bore_radius_m": 0.1e-3,
    "elevation_rad": 0.02,
    "lit_through": -0.3,
    "skin_below": 0.4,
    "skin_above": 0.2,
}
"""In an order in which those with rays of their own and those without alternate."""


def moved(base, field):
    return replace(base, **{field: getattr(base, field) + STEPS[field]})


@pytest.fixture(params=["water", "mercury"])
def made(request):
    """Together, and how each would be made alone."""
    case = CASES[request.param]
    place, base = around(case), supposed(case)
    light = light_paths(place, base)
    fields = sorted(STEPS, key=lambda field: len(field))
    others = [moved(base, field) for field in fields]
    together = pictures(place, base, others, light)
    mean, _ = factor_priors(place)

    def alone(k):
        """Of the bore as supposed: heights count in it."""
        picture = pictures(place, ([base, *others])[k], [], light).only(0)
        return picture.height, picture.value @ mean

    def found(k):
        picture = together.only(k)
        return picture.height, picture.value @ mean

    return fields, found, alone


def test_each_is_found_at_its_place_in_the_order_asked_for(made):
    fields, found, alone = made
    for k in range(len(fields) + 1):
        height, rows = found(k)
        own_height, own = alone(k)
        at = np.linspace(-2.0, 2.5, 200)
        one, other = (
            np.stack([np.interp(at, h, channel) for channel in r.T])
            for h, r in ((height, rows), (own_height, own))
        )
        # rays lie where the base's do: edges differ by what is between two of them
        assert np.mean(np.abs(one - other)) < 4e-3, ["base", *fields][k]


def test_what_differs_in_light_alone_is_seen_along_the_same_rays(made):
    fields, found, alone = made
    height, base = found(0)
    for field in ("lit_through", "skin_below", "skin_above"):
        k = 1 + fields.index(field)
        assert np.array_equal(found(k)[0], height)
        assert found(k)[1] == pytest.approx(alone(k)[1], rel=1e-9)
    k = 1 + fields.index("lit_through")
    assert np.abs(found(k)[1] - base).max() > 1e-3


def test_rays_of_another_point_that_bend_alike_serve_again(monkeypatch):
    """Nothing is traced anew, and the picture is the same."""
    case = CASES["water"]
    place, base = around(case), supposed(case)
    other = replace(base, lit_through=0.2, skin_below=0.5)
    before = pictures(place, base, [moved(base, "contact_angle_rad")])
    anew = pictures(place, other, [moved(other, "contact_angle_rad")])
    monkeypatch.setattr(meniscus_picture, "rays_of", None)
    again = pictures(place, other, [moved(other, "contact_angle_rad")], like=before)
    mean, _ = factor_priors(place)
    for k in (0, 1):
        one, two = anew.only(k), again.only(k)
        at = np.linspace(-2.0, 2.5, 100)
        assert np.interp(at, one.height, (one.value @ mean)[:, 2]) == pytest.approx(
            np.interp(at, two.height, (two.value @ mean)[:, 2]), abs=0.02
        )
    assert np.array_equal(again.height, before.height)


def test_all_rays_are_lit_in_the_order_of_the_bounds():
    case = CASES["water"]
    base = supposed(case)
    found = pictures(around(case), base, [moved(base, "skin_below")])
    mean, _ = factor_priors(around(case))
    every = found.lit(np.tile(mean, (3, 1)))
    assert len(every) == len(found.height) == found.bounds[-1]
    for k in (0, 1):
        at = found.order[k]
        part = every[found.bounds[at] : found.bounds[at + 1]]
        assert part == pytest.approx(found.only(k).value @ mean)


def test_heights_are_in_bore_radii_beside_the_axis_too():
    case = CASES["water"]
    beside = pictures(around(case, aside=0.6), supposed(case), [])
    assert beside.height.min() == pytest.approx(-2.5, abs=0.01)
    assert beside.height.max() == pytest.approx(3.0, abs=0.01)
