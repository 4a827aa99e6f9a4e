"""Working load limits by several policies side by side, each with what it implies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from ratemodel.arrays import FloatArray
from ratemodel.inference.scatter import specimen_cdf
from ratemodel.showing import Shown
from ratemodel.translation import UseStrength


@dataclass(frozen=True, repr=False)
class Limit(Shown):
    """A working load limit by one policy.

    Attributes
    ----------
    policy : str
        Name of the rule.
    value : float
        The limit (SI).
    interval : tuple of float
        What the rule gives over the joint draws, at the fit's level; equal ends for a rule that
        looks at the label alone.
    implied_failure_probability : float
        Probability that one line loaded to this limit, at the use's rate, is weaker than it.
    basis : str
        The rule in words.
    """

    policy: str
    value: float
    interval: tuple[float, float]
    implied_failure_probability: float
    basis: str


def working_load_limits(strength: UseStrength) -> tuple[Limit, ...]:
    """The limit by each policy that the use case gives the numbers for.

    Policies: ``rating / design factor``, ``lower bound / design factor``, ``target failure
    probability``. None of them is a permission to load anything; see the cautions.
    """
    use, fit = strength.use, strength.fit
    rows: list[Limit] = []
    tails = [(1 - fit.level) / 2, (1 + fit.level) / 2]
    if use.design_factor is not None:
        rating = fit.series.rating
        if rating is not None:
            value = rating.strength / use.design_factor
            rows.append(_limit(strength, "rating / design factor", (value, value, value),
                               f"declared value over {use.design_factor:g}"))  # fmt: skip
        q = np.exp(np.quantile(strength.quantile_ln(1 - fit.bound.fraction), tails))
        values = np.array([strength.lower_bound, *q]) / use.design_factor
        basis = f"{fit.bound.label} lower bound over {use.design_factor:g}"
        three = (float(values[0]), float(values[1]), float(values[2]))
        rows.append(_limit(strength, "lower bound / design factor", three, basis))
    if use.target_failure_probability is not None:
        p = use.target_failure_probability
        value = float(np.exp(predictive_quantile_ln(strength, p)))
        q = np.exp(np.quantile(strength.quantile_ln(p), tails))
        basis = f"one line in {1 / p:.3g} weaker, all uncertainty averaged"
        three = (value, float(q[0]), float(q[1]))
        rows.append(_limit(strength, "target failure probability", three, basis))
    return tuple(rows)


def predictive_quantile_ln(strength: UseStrength, probability: float) -> float:
    """ln load that one line fails to carry with a probability, averaged over all uncertainty.

    The tail is analytic in every draw, so small probabilities need no counting of rare draws.
    """
    per_draw = strength.quantile_ln(probability)
    low, high = float(per_draw.min()) - 1e-6, float(per_draw.max()) + 1e-6

    def excess(x: float) -> float:
        return float(np.log(max(strength.probability_below(x).mean(), 1e-300) / probability))

    return float(brentq(excess, low, high, xtol=1e-10))


@dataclass(frozen=True)
class FailureProbability:
    """Probability that the event's demand exceeds one line's strength.

    ``per_draw`` keeps the two kinds of uncertainty apart: each entry is the probability over
    events and lines for one state of knowledge; their spread is what more tests would narrow.
    """

    per_draw: FloatArray

    @property
    def mean(self) -> float:
        """Probability with all uncertainty averaged."""
        return float(self.per_draw.mean())


def failure_probability(strength: UseStrength, *, states: int = 400, events: int = 256
                        ) -> FailureProbability | None:  # fmt: skip
    """Demand against strength, with the strength read at each event's own rate.

    None where the use has no demand (kind ``rate``). ``states`` rows of the fit meet ``events``
    rows of the event and of the factors, every state with every event.
    """
    demand = strength.event.peak_force_N
    if demand is None or strength.unit.dimension != "force":
        return None
    fit = strength.fit
    pick = np.linspace(0, fit.owner.size - 1, states).astype(int)
    other = np.linspace(0, fit.owner.size - 1, events).astype(int)
    part = fit.take(pick.astype(np.int64))
    u = strength.u[other]
    shift = sum((f[other] for f in strength.factors.values()), start=np.zeros(events))
    mean = part.mean_ln(u) + shift
    sigma = part.sigma_at(u)
    offset = np.log(demand[other]) - mean
    spool = part.batch_sd()[:, None]
    return FailureProbability(specimen_cdf(offset, sigma, spool, fit.scatter).mean(axis=1))


def _limit(strength: UseStrength, policy: str, values: tuple[float, float, float], basis: str
           ) -> Limit:  # fmt: skip
    value, low, high = values
    p = float(strength.probability_below(float(np.log(value))).mean())
    return Limit(policy, value, (low, high), p, basis)
