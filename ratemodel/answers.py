"""What each rate model says alone about the strength in a use, beside the average."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.shown import Quantity, quantity
from ratemodel.translation import UseStrength


@dataclass(frozen=True)
class ModelAnswer:
    """One model's own mean of ln strength (SI) at the use's median rate, factors included."""

    name: str
    title: str
    weight: float
    ln_mean: Quantity


def model_answers(strength: UseStrength) -> tuple[ModelAnswer, ...]:
    """Answers of all models at the use's median rate, in the order of the fit.

    The departure from every law beyond the tested rates, which the average carries, is left out:
    this is what each law says taken at its word.
    """
    fit = strength.fit
    at = np.array([float(np.median(strength.u))])
    shift = sum(strength.factors.values(), start=np.zeros(fit.owner.size))
    rows = []
    for j, model in enumerate(fit.models):
        mean = fit.mean_ln(at, alone=j)[:, 0]
        # factors are independent of the fit, so any pairing of rows is a joint draw
        total = mean + np.resize(shift, mean.size)
        rows.append(ModelAnswer(model.model.name, model.model.title, model.weight,
                                quantity(total, fit.level)))  # fmt: skip
    return tuple(rows)
