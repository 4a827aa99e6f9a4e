"""Why slow-pull ratings run high: the steps from a label to one line in use, adding up exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.inference.ratefit import stratified_scatter
from ratemodel.rating import rated_average
from ratemodel.translation import UseStrength


@dataclass(frozen=True)
class Step:
    """One multiplicative step; ``ln_ratio`` has shape (draws,)."""

    name: str
    ln_ratio: FloatArray
    origin: str

    def ratio(self, level: float) -> tuple[float, float, float]:
        """Median ratio and its interval at a level."""
        tails = [0.5, (1 - level) / 2, (1 + level) / 2]
        middle, low, high = np.exp(np.quantile(self.ln_ratio, tails))
        return float(middle), float(low), float(high)


@dataclass(frozen=True)
class Explanation:
    """Steps from ``ln_start`` to one line's strength: in every draw the start plus the steps.

    Attributes
    ----------
    start_name : str
        What the steps start from.
    ln_start : ndarray, shape (draws,)
    steps : tuple of Step
    ln_end : ndarray, shape (draws,)
        ln strength (SI) of one line in the use.
    """

    start_name: str
    ln_start: FloatArray
    steps: tuple[Step, ...]
    ln_end: FloatArray

    @property
    def residual(self) -> float:
        """Largest gap, over the draws, between start plus steps and the end: rounding only."""
        total = self.ln_start + sum(s.ln_ratio for s in self.steps)
        return float(np.abs(total - self.ln_end).max())


def explain(strength: UseStrength, *, rng: np.random.Generator) -> Explanation:
    """Steps from the label (or, without one, the slowest tested pull) to one line in use.

    The step "label against these tests" is what remains between the average the label implies and
    the lab's own average at the rated speed and protocol; a label that means what it says leaves
    a ratio of one.
    """
    fit = strength.fit
    rating = fit.series.rating
    draws = fit.owner.size
    at_use = fit.mean_ln(strength.u[:, None])[:, 0]
    spread = stratified_scatter(strength.sigma[:, None], strength.batch_sd[:, None], fit.scatter)
    steps: list[Step] = []
    if rating is None:
        slow = np.full(draws, fit.data.u.min())
        name = "average of the slowest pulls tested"
        start = fit.mean_ln(slow[:, None])[:, 0]
        steps.append(Step("rate", at_use - start, "fitted"))
    else:
        name = "label"
        sd = np.sqrt(strength.sigma**2 + strength.batch_sd**2)
        rated = rated_average(rating, sd, rng)
        start = np.full(draws, rated.ln_label)
        at_rated = fit.mean_ln(rated.u[:, None])[:, 0]
        gain = fit.covariate("cycled", rng) if rated.cycled else np.zeros(draws)
        steps.append(Step("label to average", rated.to_average, rated.statistic_origin))
        remainder = at_rated + gain - start - rated.to_average
        steps.append(Step("label against these tests", remainder,
                          f"fitted, at the label's speed ({rated.rate_origin})"))  # fmt: skip
        if rated.cycled:
            fitted = "cycled" in fit.data.covariate_names
            origin = "fitted" if fitted else fit.priors.parameters["cycled"].origin
            steps.append(Step("preload cycles left out", -gain, origin))
        steps.append(Step("rate", at_use - at_rated, "fitted"))
    for factor, values in strength.factors.items():
        steps.append(Step(factor, values, strength.origins.get(factor, "fitted or prior")))
    steps.append(Step("average to one line", spread[:, 0], "fitted scatter"))
    end = strength.mean_ln + spread[:, 0]
    return Explanation(name, start, tuple(steps), end)
