"""How many samples a photograph gets, and what came of them."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Every pixel gets ``base`` samples; uncertain ones more, until they have ``most``.

    A round of samples is finished that was begun below ``most``. After ``seconds`` for one
    photograph no round is begun.
    """

    base: int = 80
    most: int = 5120
    seconds: float = 8.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampled:
    """Samples of a pixel, and their relative standard errors."""

    mean: float
    most: float
    median_error: float
    worst_percent_error: float

    def record(self) -> dict[str, float]:
        """As the truth file has it."""
        return {
            "mean": self.mean,
            "most": self.most,
            "err_med": self.median_error,
            "err_p99": self.worst_percent_error,
        }
