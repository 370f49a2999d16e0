"""Propagation of distributions after JCGM 101:2008, and what it says of the linear result."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from limbsight.reduce.uncertainty import (
    COVERAGE_PROBABILITY,
    DIVISORS,
    Estimate,
    Input,
    Model,
)

END_TOLERANCE = 0.05
"""Of u, for each end of the interval: JCGM 101, 8.1, see ``compare``."""
BLOCK = 10_000
"""Draws per block of the adaptive procedure: JCGM 101, 7.9.4 b, for 95 percent."""
FEWEST_DRAWS = 10_000
"""Fewest that say anything about the ends of a 95 percent interval."""
FEWEST_BLOCKS = 20
"""Blocks a stated number of draws is cut into, to see the scatter between them."""
MOST_DRAWS = 4_000_000
"""Where the adaptive procedure gives up; 32 MB of results."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MonteCarlo:
    """What the draws came to; ``low`` and ``high`` bound the shortest coverage interval."""

    mean: float
    standard_uncertainty: float
    low: float
    high: float
    symmetric_low: float
    symmetric_high: float
    coverage_probability: float
    draws: int
    end_standard_error: float
    """Of the ends of the symmetric interval, from the scatter between blocks of draws."""
    converged: bool
    """False where the adaptive procedure ran out of draws, True where a number was asked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Whether the linear interval may be used: JCGM 101, clause 8."""

    agrees: bool
    low_difference: float
    high_difference: float
    tolerance: float
    advice: str


def monte_carlo(
    model: Model,
    inputs: Sequence[Input],
    *,
    draws: int | None = None,
    probability: float = COVERAGE_PROBABILITY,
    significant: int = 2,
    seed: int = 0,
    correlations: Mapping[tuple[str, str], float] | None = None,
) -> MonteCarlo:
    """Propagate distributions by drawing from them.

    Parameters
    ----------
    model
        Function of a mapping from input keys to arrays.
    inputs
        The inputs; those with finite degrees of freedom are drawn from a scaled and shifted
        t distribution (6.4.9), others from their stated one.
    draws
        Number of draws; None for the adaptive procedure of 7.9, which goes on until mean,
        standard uncertainty and both ends are stable to ``significant`` digits of u.
    probability
        Coverage probability of the intervals.
    significant
        Digits of the standard uncertainty that are to be stable.
    seed
        Of the random numbers: the same seed gives the same result.
    correlations
        Correlation coefficients of pairs of normal inputs.

    Returns
    -------
    MonteCarlo
    """
    generator = np.random.default_rng(seed)
    blocks: list[NDArray[np.float64]] = []
    summaries: list[_Summary] = []
    converged = draws is not None
    size = max(BLOCK, math.ceil(100 / (1 - probability)))
    if draws is not None:
        size = min(size, max(1, draws // FEWEST_BLOCKS))
    for count in _block_sizes(draws, size):
        sample = _draw(inputs, count, generator, correlations or {})
        result = np.broadcast_to(np.asarray(model(sample), dtype=float), (count,))
        blocks.append(result)
        summaries.append(_summary(np.sort(result), probability))
        if draws is None and len(summaries) > 1 and _stable(summaries, significant):
            converged = True
            break
    whole = _summary(np.sort(np.concatenate(blocks)), probability)
    return MonteCarlo(
        **whole._asdict(),
        coverage_probability=probability,
        draws=sum(len(block) for block in blocks),
        end_standard_error=float(max(_standard_errors(summaries)[-2:])),
        converged=converged,
    )


def shortest_interval(values: NDArray[np.float64], probability: float) -> tuple[float, float]:
    """Shortest interval that holds a share of sorted values: JCGM 101, 7.7.4."""
    inside = min(len(values) - 1, round(probability * len(values)))
    widths = values[inside:] - values[: len(values) - inside]
    start = int(np.argmin(widths))
    return float(values[start]), float(values[start + inside])


def numerical_tolerance(standard_uncertainty: float, significant: int = 2) -> float:
    """Half a unit in the last of the significant digits of u: JCGM 101, 7.9.2."""
    if standard_uncertainty <= 0:
        return 0.0
    exponent = math.floor(math.log10(standard_uncertainty)) - (significant - 1)
    return float(0.5 * 10.0**exponent)


def compare(linear: Estimate, drawn: MonteCarlo) -> Agreement:
    """Compare the linear coverage interval with the drawn one.

    Parameters
    ----------
    linear, drawn
        Both for the same coverage probability.

    Returns
    -------
    Agreement
        With a sentence that says which of the two to use.

    Notes
    -----
    JCGM 101, clause 8.1 allows each end half a unit in the second digit of u, which is 0.5 to
    5 percent of u with its leading digit; the wider figure is taken for all. Three standard
    errors of the drawn ends are added, so that the noise of a short run is not taken for a
    disagreement. The probabilistically symmetric interval is compared: the ends of the
    shortest wander along a flat minimum.
    """
    low = abs(linear.value - linear.expanded_uncertainty - drawn.symmetric_low)
    high = abs(linear.value + linear.expanded_uncertainty - drawn.symmetric_high)
    tolerance = END_TOLERANCE * linear.standard_uncertainty + 3 * drawn.end_standard_error
    agrees = low <= tolerance and high <= tolerance
    if not drawn.converged:
        advice = "the draws have not settled: ask for more before comparing"
    elif agrees:
        advice = "linear propagation and Monte Carlo agree: either may be used"
    else:
        advice = (
            "linear propagation and Monte Carlo disagree: use the Monte Carlo mean, standard "
            "uncertainty and shortest interval"
        )
    return Agreement(
        agrees=agrees,
        low_difference=low,
        high_difference=high,
        tolerance=tolerance,
        advice=advice,
    )


def _block_sizes(draws: int | None, size: int) -> Iterator[int]:
    """Blocks of about one size, since the scatter between them counts each alike."""
    total = MOST_DRAWS if draws is None else draws
    blocks = max(1, total // size)
    least, larger = divmod(total, blocks)
    for number in range(blocks):
        yield least + (number < larger)


def _draw(
    inputs: Sequence[Input],
    count: int,
    generator: np.random.Generator,
    correlations: Mapping[tuple[str, str], float],
) -> dict[str, NDArray[np.float64] | float]:
    joint = _draw_correlated(inputs, count, generator, correlations)
    return {
        i.key: joint[i.key] if i.key in joint else _draw_one(i, count, generator)
        for i in inputs
    }


def _draw_one(
    i: Input, count: int, generator: np.random.Generator
) -> NDArray[np.float64] | float:
    if i.standard_uncertainty == 0:
        return float(i.value)
    if i.distribution == "normal":
        if math.isinf(i.degrees_of_freedom):
            shape = generator.standard_normal(count)
        else:
            shape = generator.standard_t(i.degrees_of_freedom, count)
        return float(i.value) + i.standard_uncertainty * shape
    half_width = i.standard_uncertainty * DIVISORS[i.distribution]
    if i.distribution == "rectangular":
        shape = generator.uniform(-1, 1, count)
    elif i.distribution == "triangular":
        shape = generator.triangular(-1, 0, 1, count)
    else:
        shape = np.sin(generator.uniform(-math.pi, math.pi, count))
    return float(i.value) + half_width * shape


def _draw_correlated(
    inputs: Sequence[Input],
    count: int,
    generator: np.random.Generator,
    correlations: Mapping[tuple[str, str], float],
) -> dict[str, NDArray[np.float64]]:
    keys = sorted({key for pair in correlations for key in pair})
    if not keys:
        return {}
    by_key = {i.key: i for i in inputs}
    place = {key: n for n, key in enumerate(keys)}
    matrix = np.eye(len(keys))
    for (first, second), r in correlations.items():
        matrix[place[first], place[second]] = matrix[place[second], place[first]] = r
    normal = generator.multivariate_normal(np.zeros(len(keys)), matrix, size=count)
    return {
        key: float(by_key[key].value) + by_key[key].standard_uncertainty * normal[:, n]
        for key, n in place.items()
    }


class _Summary(NamedTuple):
    mean: float
    standard_uncertainty: float
    low: float
    high: float
    symmetric_low: float
    symmetric_high: float


def _summary(values: NDArray[np.float64], probability: float) -> _Summary:
    """Summarise sorted values."""
    tail = (1 - probability) / 2
    symmetric = np.quantile(values, [tail, 1 - tail])
    low, high = shortest_interval(values, probability)
    return _Summary(
        mean=float(values.mean()),
        standard_uncertainty=float(values.std(ddof=1)),
        low=low,
        high=high,
        symmetric_low=float(symmetric[0]),
        symmetric_high=float(symmetric[1]),
    )


def _stable(summaries: Sequence[_Summary], significant: int) -> bool:
    """Twice the standard error of each figure is below the tolerance: 7.9.4."""
    u = float(np.mean([summary.standard_uncertainty for summary in summaries]))
    return bool(np.all(2 * _standard_errors(summaries) <= numerical_tolerance(u, significant)))


def _standard_errors(summaries: Sequence[_Summary]) -> NDArray[np.float64]:
    """Standard error of each figure, from the scatter between blocks."""
    table = np.array(summaries)
    if len(table) < 2:
        return np.full(table.shape[1], math.inf)
    return np.asarray(table.std(axis=0, ddof=1) / math.sqrt(len(table)))
