"""Classes of photographs, and which of them a seed is."""

from __future__ import annotations

import numpy as np

READABLE_WEIGHTS = {
    "utube_colour": 17,
    "utube_clear": 11,
    "utube_mercury": 11,
    "utube_behind": 11,
    "utube_twoscale": 9,
    "utube_leg": 7,
    "utube_seal": 8,
    "bank": 10,
    "single": 12,
    "inclined": 7,
}
"""Photographs that can be read, and how often each class comes up. Our own choice."""

READABLE = tuple(READABLE_WEIGHTS)
NEGATIVE = (
    "neg_missing",
    "neg_outofrange",
    "neg_occluded",
    "neg_broken",
    "neg_blur",
    "neg_small",
    "neg_glare",
)
"""Photographs that must not be read."""

CLASSES = READABLE + NEGATIVE

NEGATIVE_EVERY = 9
NEGATIVE_REMAINDER = 4
"""Seeds of this remainder are negative ones."""
CLASS_STREAM = 77
"""Keeps the draw of the class apart from those of the scene."""


def class_of(seed: int) -> str:
    """The class that goes with a seed: one in nine is negative, in turn."""
    if seed % NEGATIVE_EVERY == NEGATIVE_REMAINDER:
        return NEGATIVE[(seed // NEGATIVE_EVERY) % len(NEGATIVE)]
    weights = np.array(list(READABLE_WEIGHTS.values()), float)
    rng = np.random.default_rng([seed, CLASS_STREAM])
    return str(rng.choice(list(READABLE), p=weights / weights.sum()))


def is_negative(cls: str) -> bool:
    """Whether nothing should be read from photographs of this class."""
    return cls in NEGATIVE
