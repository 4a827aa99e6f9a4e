"""How wrong a creep model is when the end of the readings is hidden from it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ratemodel.errors import NotIdentifiedError
from ratemodel.inference.creep_curves import CreepCurve
from ratemodel.inference.creepfit import fit_creep
from ratemodel.models.creep_base import CreepModel

_HIDDEN_DECADES = 0.5
_FLOOR = 0.15
_GROWTH = 1.5  # a smooth misfit grows faster than the decades


def hidden_error(
    curves: Sequence[CreepCurve], model: CreepModel, rng: np.random.Generator
) -> float:
    """Error of ln added strain per decade, from the last half decade hidden.

    sqrt(0.15**2 + (1.5 e)**2) with e the root mean square over curves of the error of ln added
    strain per decade; 0.45 where it cannot be measured.
    """
    shown = []
    for c in curves:
        keep = c.time_s <= c.time_s.max() / 10**_HIDDEN_DECADES
        shown.append(
            CreepCurve(c.time_s[keep], c.strain[keep], c.load_N, c.temperature_K, c.specimen)
        )
    if min(len(c.time_s) for c in shown) < 5:
        return 3 * _FLOOR
    try:
        fit = fit_creep(shown, model, draws=2, rng=rng, starts=1)
    except NotIdentifiedError:
        return 3 * _FLOOR
    errors = []
    for full, part in zip(curves, shown, strict=True):
        start = part.time_s[-1]
        late = full.time_s >= full.time_s.max() / 10 ** (_HIDDEN_DECADES / 3)
        times = np.concatenate([[start], full.time_s[late]])
        points = fit.points_at(times, full.load_N, full.temperature_K)
        told = np.asarray(fit.model.curve(fit.best.values, points)).ravel()
        near = np.abs(np.log(full.time_s / start)) < 0.15
        begin = float(full.strain[near].mean()) if near.any() else float(part.strain[-1])
        seen = float(full.strain[late].mean()) - begin
        added = float(told[1:].mean() - told[0])
        if seen > 0 and added > 0:
            errors.append(abs(np.log(added / seen)) / _HIDDEN_DECADES)
    if not errors:
        return 3 * _FLOOR
    return float(np.hypot(_FLOOR, _GROWTH * np.sqrt(np.mean(np.square(errors)))))
