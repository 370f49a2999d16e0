"""Random choices. A seed's photograph depends on the order in which they are made.

Several modules draw a number for every case and use that of one: what is drawn afterwards
then does not depend on the case.
"""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np

Rng = np.random.Generator
T = TypeVar("T")


def pick(rng: Rng, *options: T) -> T:
    """One of the options, all equally likely."""
    return options[int(rng.integers(len(options)))]


def chance(rng: Rng, probability: float) -> bool:
    """True with this probability."""
    return bool(rng.random() < probability)


def log_uniform(rng: Rng, low: float, high: float) -> float:
    """A positive number, evenly distributed by its logarithm."""
    return math.exp(rng.uniform(math.log(low), math.log(high)))
