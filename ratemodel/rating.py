"""What a supplier's label says about the average, and the rate it was pulled at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.records.tables import Rating

#: A label without a stated speed: EN ISO 2307 pulls at 250 mm/min; free lengths of 0.15 to 3 m.
ASSUMED_RATE = (float(np.log10(0.25 / 60 / 3.0)), float(np.log10(0.25 / 60 / 0.15)))
#: Mean of the lowest of n standard normal values, n = 3, 5, 10 (Harter 1961, from memory).
LOWEST_OF = {3: 0.8463, 5: 1.1630, 10: 1.5388}


@dataclass(frozen=True)
class RatedAverage:
    """Label turned into an average, per draw.

    Attributes
    ----------
    ln_label : float
        ln of the declared value (SI).
    to_average : ndarray, shape (draws,)
        ln of average over declared value.
    u : ndarray, shape (draws,)
        log10 of the strain rate (1/s) of the rating pull.
    cycled : bool
        Whether the rating pull followed preload cycles.
    statistic_origin, rate_origin : str
        Where these come from.
    """

    ln_label: float
    to_average: FloatArray
    u: FloatArray
    cycled: bool
    statistic_origin: str
    rate_origin: str


def rated_average(rating: Rating, scatter: FloatArray, rng: np.random.Generator) -> RatedAverage:
    """Average strength that a label implies, by the statistic it declares.

    Parameters
    ----------
    rating : Rating
        Declared value, statistic and protocol.
    scatter : ndarray, shape (draws,)
        Coefficient of variation of single specimens in each draw.
    rng : numpy.random.Generator
        For the unknown statistic and the unknown speed.

    Notes
    -----
    ``mean-2sd`` and ``mean-3sd``: average = label / (1 - k cv). ``lowest``: lowest of 3, 5 or 10
    specimens, equally likely. ``unknown``: all four statistics, equally likely.
    """
    n = scatter.size
    lowest = rng.choice(np.array(list(LOWEST_OF.values())), size=n) * scatter
    table = {
        "average": np.zeros(n),
        "mean-2sd": -np.log1p(-np.minimum(2 * scatter, 0.9)),
        "mean-3sd": -np.log1p(-np.minimum(3 * scatter, 0.9)),
        "lowest": lowest,
    }
    if rating.statistic == "unknown":
        pick = rng.integers(0, 4, size=n)
        shift = np.choose(pick, list(table.values()))
        origin = "assumed: statistic not declared, average / mean-2sd / mean-3sd / lowest alike"
    else:
        shift = table[rating.statistic]
        origin = f"declared statistic: {rating.statistic}, scatter from these tests"
    if rating.strain_rate_per_s is None:
        u = rng.uniform(*ASSUMED_RATE, size=n)
        where = "assumed: EN ISO 2307 speed of 250 mm/min on 0.15 to 3 m, none declared"
    else:
        u = np.full(n, np.log10(rating.strain_rate_per_s))
        where = "declared"
    cycled = bool(rating.preload_cycles and rating.preload_cycles > 0)
    return RatedAverage(float(np.log(rating.strength)), shift, u, cycled, origin, where)
