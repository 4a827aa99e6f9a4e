"""An uncertainty budget: the inputs, their lines and the answer they add up to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import Problem


@dataclass(frozen=True)
class Input:
    """One input quantity: estimate, standard uncertainty and where both come from.

    ``shape`` matters to Monte Carlo only: ``"normal"``, ``"uniform"`` (of that standard
    deviation), or ``"t"``, the scaled and shifted t distribution that JCGM 101, 6.4.9 gives to a
    mean of few readings with ``degrees_of_freedom``.
    """

    name: str
    value: float
    standard_uncertainty: float
    degrees_of_freedom: float = np.inf
    shape: Literal["normal", "uniform", "t"] = "normal"
    origin: str = ""

    def from_uniform(self, p: FloatArray) -> FloatArray:
        """Quantiles at probabilities."""
        from scipy.special import ndtri, stdtrit

        if self.shape == "uniform":
            score = np.sqrt(12) * (p - 0.5)
        elif self.shape == "t":
            score = stdtrit(self.degrees_of_freedom, p)
        else:
            score = ndtri(p)
        return np.asarray(self.value + self.standard_uncertainty * score)


@dataclass(frozen=True)
class BudgetRow:
    """One input's line: ``contribution`` is |sensitivity| times standard uncertainty."""

    name: str
    value: float
    standard_uncertainty: float
    sensitivity: float
    contribution: float
    degrees_of_freedom: float
    origin: str


@dataclass(frozen=True)
class Budget:
    """Uncertainty budget of an answer.

    Attributes
    ----------
    answer : str
        What is answered, with its unit.
    method : {"first-order", "monte-carlo"}
    rows : tuple of BudgetRow
        In the order of the inputs.
    value, standard_uncertainty : float
        Estimate and combined standard uncertainty.
    degrees_of_freedom : float
        Effective (Welch–Satterthwaite, JCGM 100, G.4.1); infinite for Monte Carlo.
    coverage : float
        Probability of the interval.
    coverage_factor : float
        Expanded over standard uncertainty.
    expanded : float
        Half-width of the interval.
    interval : tuple of float
        Symmetric about the value (first-order) or cutting equal tails (Monte Carlo).
    shortest : tuple of float
        The shortest interval of that coverage; the same as ``interval`` for first-order.
    problems : tuple of Problem
        Limits of trust.
    """

    answer: str
    method: Literal["first-order", "monte-carlo"]
    rows: tuple[BudgetRow, ...]
    value: float
    standard_uncertainty: float
    degrees_of_freedom: float
    coverage: float
    coverage_factor: float
    expanded: float
    interval: tuple[float, float]
    shortest: tuple[float, float]
    problems: tuple[Problem, ...] = ()
