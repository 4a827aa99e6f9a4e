"""Strength of every product of an archive at any rates, as a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ratemodel.archive.fit import Archive
from ratemodel.comparing.claims import Interval, interval_of
from ratemodel.errors import InputError


@dataclass(frozen=True)
class ArchiveRow:
    """One product at one strain rate (SI).

    Attributes
    ----------
    mean, specimen : Interval
        Mean strength, and that of one new specimen.
    lower_bound : float
        At least 95 % of specimens are stronger, with 95 % confidence.
    decades_beyond : float
        Beyond the rates tested on the product itself.
    beyond_all : float
        Decades beyond the rates tested on any product: there nothing was seen, and the interval
        rests on priors.
    shared : bool
        Whether the answer there rests on what other products did.
    """

    product: str
    fibre: str
    construction: str
    specimens: int
    strain_rate_per_s: float
    mean: Interval
    specimen: Interval
    lower_bound: float
    decades_beyond: float
    beyond_all: float
    shared: bool


def archive_table(archive: Archive, rates_per_s: Sequence[float], *, rng: np.random.Generator
                  ) -> tuple[ArchiveRow, ...]:  # fmt: skip
    """Mean and single-specimen strength of every product at every rate.

    Raises
    ------
    InputError
        No rate, or one not above 0.
    """
    rates = np.asarray(list(rates_per_s), dtype=np.float64)
    if not rates.size or not (np.isfinite(rates).all() and (rates > 0).all()):
        raise InputError(f"strain rates {list(rates_per_s)}", "one or more above 0, in 1/s",
                         column="rate")  # fmt: skip
    u, level = np.log10(rates), archive.settings.level
    rows = []
    for product, stream in zip(archive.products, rng.spawn(len(archive.products)), strict=True):
        mean, scatter = archive.strength(product.name, u, rng=stream)
        total = scatter[:, None]
        one = mean + total * stream.standard_normal(mean.shape)
        low = np.exp(np.quantile(mean - 1.6448536 * total, 0.05, axis=0))
        far, nowhere = archive.decades_beyond(product.name, u), archive.beyond_all(u)
        rows += [
            ArchiveRow(
                product.name, product.fibre, product.construction, int(product.count.sum()),
                float(rates[i]), interval_of(np.exp(mean[:, i]), level),
                interval_of(np.exp(one[:, i]), level), float(low[i]), float(far[i]),
                float(nowhere[i]), bool(far[i] > 0.05),
            )
            for i in range(u.size)
        ]  # fmt: skip
    return tuple(rows)
