"""How much each creep model weighs, and which ones are worth drawing from."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import NotIdentifiedError
from ratemodel.inference.creep_curves import CreepCurve
from ratemodel.inference.creepfit import CreepFit, fit_creep, usable_models
from ratemodel.models.creep_base import CreepModel

_LEAST = 1e-4


def log_weights(members: Sequence[CreepFit]) -> FloatArray:
    """ln of the weight of each fitted model over that of the heaviest, shape (m,).

    The weight is exp(-BIC/2) with the effective number of readings of the best model.

    References
    ----------
    Schwarz, Ann. Statist. 6 (1978) 461 (the criterion).
    """
    worth = members[int(np.argmin([m.best.sum_of_squares for m in members]))].effective_readings
    rss = np.array([max(m.best.sum_of_squares, 1e-30) for m in members])
    free = np.array([len(m.best.free) for m in members])
    log_w = -0.5 * worth * np.log(rss / rss.min()) - 0.5 * free * np.log(worth)
    return np.asarray(log_w - log_w.max())


def models_with_weight(
    curves: Sequence[CreepCurve], *, decades_beyond: float, rng: np.random.Generator
) -> tuple[CreepModel, ...]:
    """Models that weigh at least 1e-4 of the heaviest so many decades beyond the last reading.

    A model that explains the readings badly is slow to draw from and adds nothing. One that cannot
    be fitted stays in, so that the average says so.
    """
    tried: list[tuple[CreepModel, CreepFit | None]] = []
    for model in usable_models(curves):
        try:
            tried.append((model, fit_creep(curves, model, draws=2, rng=rng, starts=2)))
        except NotIdentifiedError:
            tried.append((model, None))
    fitted = [fit for _, fit in tried if fit is not None]
    if not fitted:
        return tuple(model for model, _ in tried)
    shares = np.exp(log_weights(fitted) / (1.0 + max(decades_beyond, 0.0)))
    light = {f.model.name for f, share in zip(fitted, shares, strict=True) if share < _LEAST}
    return tuple(model for model, _ in tried if model.name not in light)
