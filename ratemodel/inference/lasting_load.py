"""The load that lasts: static working load whose lower bound on life exceeds the service life."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.errors import NotIdentifiedError, Problem
from ratemodel.inference.life_bounds import LifeDraws, LifeMixture, beyond_tested
from ratemodel.inference.tails import thin_tail
from ratemodel.words import CAUTION


@dataclass(frozen=True)
class LastingLoad:
    """Highest load that is shown to last.

    Attributes
    ----------
    load_N : float
        The load, on the safe side; never above the highest tested.
    service_life_s : float
        As asked.
    fraction, confidence : float
        ``fraction`` of all specimens last the service life, with ``confidence``.
    caution : str
        To be shown beside the number.
    problems : tuple of Problem
        Among them how far the load lies below the tested ones.
    """

    load_N: float
    service_life_s: float
    fraction: float
    confidence: float
    caution: str
    problems: tuple[Problem, ...]


def lasting_load(
    lives: LifeDraws | LifeMixture,
    service_life_s: float,
    *,
    fraction: float = 0.95,
    confidence: float = 0.95,
    temperature_K: float = float("nan"),
) -> LastingLoad:
    """Find the highest load whose lower bound on life lies beyond the service life.

    Found by halving in ln load between a millionth of the lowest and the highest tested load;
    the returned load always lies on the safe side.

    Raises
    ------
    NotIdentifiedError
        Even the lowest load looked at does not last.
    """

    def lasts(load: float) -> bool:
        weak = lives.ln_life(np.array([load]), 1.0 - fraction, temperature_K)
        return bool(np.quantile(weak, 1.0 - confidence) > np.log(service_life_s))

    draws = len(lives.ln_life(np.array([lives.load_range_N[1]]), 0.5, temperature_K))
    low, high = lives.load_range_N[0] * 1e-6, lives.load_range_N[1]
    if not lasts(low):
        raise NotIdentifiedError(
            f"no load is shown to last {service_life_s:g} s with confidence {confidence:g}; "
            "test longer or at lower loads"
        )
    if lasts(high):
        low = high
    for _ in range(60):
        middle = float(np.sqrt(low * high))
        low, high = (middle, high) if lasts(middle) else (low, middle)
    return LastingLoad(
        load_N=low,
        service_life_s=service_life_s,
        fraction=fraction,
        confidence=confidence,
        caution=CAUTION,
        problems=lives.problems
        + beyond_tested(np.array([low]), lives.load_range_N)
        + thin_tail(draws, 1.0 - confidence, "the bound on the life"),
    )
