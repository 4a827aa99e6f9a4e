"""Strain rate of every row of the break table, by whichever way it is given."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray
from ratemodel.records.layout import Layout
from ratemodel.records.names import HUGE, TINY

AGREEMENT = 1.05
_REMEDY = (
    "strain_rate, or speed with free_length, or time_to_break with strain_at_break, in this row"
)


@dataclass(frozen=True)
class Rates:
    """Strain rate (1/s) of each row, with the lengths (m) and strains it was read beside."""

    strain_rate_per_s: FloatArray
    free_length_m: FloatArray
    strain_at_break: FloatArray


def read_rates(layout: Layout, series_strain: FloatArray, needed: BoolArray) -> Rates:
    """Strain rate of each row.

    ``strain_rate`` itself, else ``speed / free_length``, else ``strain_at_break / time_to_break``.

    Parameters
    ----------
    layout : Layout
        Break table.
    series_strain : array, shape (n,)
        Strain at break declared for the row's series, used where the row gives none; NaN where
        the series declares none.
    needed : bool array, shape (n,)
        Rows that must have a rate; others may be NaN.

    Raises
    ------
    InputError
        A row gives no rate, or two ways that differ by more than 5 %.
    """
    free_length = layout.numbers("free_length")
    strain = layout.numbers("strain_at_break")
    speed = layout.numbers("speed")
    time = layout.numbers("time_to_break")
    used_strain = np.where(np.isnan(strain), series_strain, strain)
    with np.errstate(over="ignore", under="ignore"):
        ways = np.stack([layout.numbers("strain_rate"), speed / free_length, used_strain / time])
        least, most = np.fmin.reduce(ways), np.fmax.reduce(ways)
        apart = np.flatnonzero(most > AGREEMENT * least)
    if apart.size:
        row = apart[0]
        raise layout.error(
            _column(layout, row),
            row,
            f"two ways of giving the rate disagree: {least[row]:.4g} and {most[row]:.4g} per s",
            "ways that agree within 5 %, or one of them only",
        )
    rate = np.where(np.isnan(ways[0]), np.where(np.isnan(ways[1]), ways[2], ways[1]), ways[0])
    _check(layout, rate, needed)
    return Rates(rate, free_length, strain)


def _check(layout: Layout, rate: FloatArray, needed: BoolArray) -> None:
    """Refuse a needed rate that is missing, and any that no machine or fall has."""
    missing = np.flatnonzero(np.isnan(rate) & needed)
    if missing.size:
        row = missing[0]
        given = [
            name
            for name in ("speed", "free_length", "time_to_break", "strain_at_break")
            if np.isfinite(layout.numbers(name)[row])
        ]
        only = f"; it has only {', '.join(given)}" if given else ""
        raise layout.error(
            _column(layout, row), row, f"the row gives no rate of loading{only}", _REMEDY
        )
    wrong = np.flatnonzero((rate < TINY) | (rate > HUGE))
    if wrong.size:
        row = wrong[0]
        raise layout.error(
            _column(layout, row), row, f"the strain rate comes to {rate[row]:g} per s", _REMEDY
        )


def _column(layout: Layout, row: int | np.intp) -> str:
    """Column that a message about a row's rate names: the first rate column there is."""
    for name in ("speed", "strain_rate", "time_to_break"):
        if name in layout.matches:
            return name
    return "strain_rate"
