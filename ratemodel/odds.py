"""What a failure probability is made of and how it is said: odds, their interval, their trust."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ratemodel.arrays import FloatArray
from ratemodel.errors import Problem
from ratemodel.records.tables import Scatter

SMALLEST = 1e-9
"""Probabilities below this are not told apart."""
NOT_INFORMATIVE = "not-informative"
"""Code of a finding that takes all meaning from a probability."""


@dataclass(frozen=True)
class FailureProbability:
    """Probability that demand exceeds strength.

    Attributes
    ----------
    probability : float
        Averaged over everything: the odds to act on.
    median : float
        Over the epistemic draws.
    interval : tuple of float
        Over the epistemic draws, central, at ``level``.
    level : float
        Probability of the interval.
    per_draw : array
        One probability per epistemic draw, shape ``(parameter draws,)``.
    simulation_error : float
        Standard error of ``probability`` from the finite number of event draws.
    problems : tuple of Problem
        Limits of trust.
    """

    probability: float
    median: float
    interval: tuple[float, float]
    level: float
    per_draw: FloatArray
    simulation_error: float
    problems: tuple[Problem, ...] = ()

    @property
    def mean(self) -> float:
        """The same as ``probability``."""
        return self.probability

    @property
    def informative(self) -> bool:
        """False where a finding says that the number means nothing."""
        return all(p.code != NOT_INFORMATIVE for p in self.problems)

    @property
    def words(self) -> str:
        """The probability as text: ``"2.1e-5"``, ``"below 1e-9"`` or ``"not informative"``."""
        return odds_words(self.probability) if self.informative else "not informative"


@dataclass(frozen=True)
class Spread:
    """Specimen-to-specimen scatter of one family, with normal scatter from spool to spool."""

    family: Scatter = "normal"
    spool_sd_ln: ArrayLike = 0.0


def odds_words(probability: float) -> str:
    """A probability as text; none is claimed below 1e-9, where only the assumed tail speaks.

    Examples
    --------
    >>> odds_words(2.13e-5), odds_words(1e-100)
    ('2.1e-05', 'below 1e-9')
    """
    return "below 1e-9" if probability < SMALLEST else f"{probability:.2g}"


@dataclass(frozen=True)
class DemandAndStrength:
    """Draws of demand and of the strength of single specimens (N), for a picture of both.

    Each of its own length; ``odds`` where they have been worked out.
    """

    name: str
    demand_N: FloatArray
    strength_N: FloatArray
    odds: FailureProbability | None = None


def summarised(
    per_draw: FloatArray, simulation_error: float, level: float, problems: tuple[Problem, ...] = ()
) -> FailureProbability:
    """Failure probability from one value per state of knowledge, shape (draws,)."""
    edge = (1 - level) / 2
    low, middle, high = (float(q) for q in np.quantile(per_draw, [edge, 0.5, 1 - edge]))
    probability = float(per_draw.mean())
    found = (*problems, *_trust(probability, simulation_error))
    return FailureProbability(
        probability, middle, (low, high), level, per_draw, simulation_error, found
    )


def _trust(probability: float, error: float) -> tuple[Problem, ...]:
    if probability > SMALLEST and error > 0.5 * probability:
        return (
            Problem(
                "few-event-draws",
                f"the probability {probability:.1e} hangs on a few extreme event draws "
                f"(simulation error {error:.1e}); take more event draws",
            ),
        )
    return ()
