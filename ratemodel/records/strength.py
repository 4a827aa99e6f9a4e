"""Strength columns: one measured value per specimen, or a publication's mean, sd and n."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray, IntArray
from ratemodel.errors import InputError
from ratemodel.records.layout import Layout
from ratemodel.units import Unit

MEASURED = ("peak_force", "strength", "peak_stress", "tenacity")
MEANS = {"mean_force": "sd_force", "mean_strength": "sd_strength"}
MOST_PER_ROW = 10_000
MOST_IN_ALL = 1_000_000


@dataclass(frozen=True)
class Strengths:
    """Strength of each row before summary rows are unfolded.

    ``value``: measured strength or published mean, SI. ``sd`` and ``count`` hold for summary
    rows; ``count`` is 1 for a single specimen. ``measured_unit`` and ``summary_unit`` are the
    units of the columns, None where there is none.
    """

    value: FloatArray
    sd: FloatArray
    count: IntArray
    summary: BoolArray
    measured_unit: Unit | None
    summary_unit: Unit | None


def read_strengths(layout: Layout, needed: BoolArray) -> Strengths:
    """Strength of every row.

    Raises
    ------
    InputError
        No strength column or several, a row with none or with both kinds, a summary row without
        its n or sd.
    """
    measured = one_of(layout, MEASURED)
    mean = one_of(layout, tuple(MEANS))
    if measured is None and mean is None:
        raise InputError(
            "there is no strength column",
            "peak_force_kN (or another force unit), strength_MPa, strength_cN_per_tex, or "
            "mean_force_kN with sd_force_kN and n",
            file=layout.table.file,
            row=layout.table.header_line,
            column="peak_force_kN",
        )
    single = _values(layout, measured)
    means = _values(layout, mean)
    both = np.flatnonzero(np.isfinite(single) & np.isfinite(means))
    if both.size and measured is not None:
        raise layout.error(
            measured, both[0], "the row has a single strength and a mean", "one of the two"
        )
    summary = np.isfinite(means)
    none = np.flatnonzero(np.isnan(single) & ~summary & needed)
    if none.size:
        name = measured or mean or ""
        raise layout.error(
            name, none[0], "the strength is missing", "a number, or a reason in column excluded"
        )
    sd, count = _summary(layout, mean, means)
    return Strengths(
        np.where(summary, means, single),
        sd,
        count,
        summary,
        None if measured is None else layout.unit(measured),
        None if mean is None else layout.unit(mean),
    )


def unfold(mean: float, sd: float, count: int) -> FloatArray:
    """Pseudo-specimens of a published mean and standard deviation, shape ``(count,)``.

    Their log strengths have exactly the mean ``m = ln(mean) - s2/2`` and variance (divisor
    ``count - 1``) ``s2 = ln(1 + (sd/mean)**2)`` of the lognormal distribution with that mean and
    standard deviation; their order is that of normal scores.

    Examples
    --------
    >>> bool(abs(np.log(unfold(5.0, 0.5, 20)).std(ddof=1) ** 2 - np.log(1.01)) < 1e-15)
    True
    """
    if count == 1:
        return np.array([mean])
    s2 = np.log1p((sd / mean) ** 2)
    return np.asarray(np.exp(np.log(mean) - s2 / 2 + np.sqrt(s2) * _scores(count)))


def _scores(count: int) -> FloatArray:
    from scipy.special import ndtri

    z = np.asarray(ndtri((np.arange(1, count + 1) - 0.5) / count), dtype=np.float64)
    z -= z.mean()
    return np.asarray(z / z.std(ddof=1))


def one_of(layout: Layout, names: tuple[str, ...]) -> str | None:
    """Find the one quantity among ``names`` that the table has; two are an error."""
    found = [name for name in names if name in layout.matches]
    if len(found) > 1:
        column = layout.matches[found[1]].name
        raise InputError(
            f"two strength columns, {layout.matches[found[0]].name} and {column}",
            "one of the two",
            file=layout.table.file,
            row=layout.table.header_line,
            column=column,
        )
    return found[0] if found else None


def _values(layout: Layout, name: str | None) -> FloatArray:
    return np.full(len(layout.table), np.nan) if name is None else layout.numbers(name)


def _summary(layout: Layout, mean: str | None, means: FloatArray) -> tuple[FloatArray, IntArray]:
    """Read sd and count of each row, checked against each other."""
    n = layout.numbers("n")
    summary = np.isfinite(means)
    sd_name = "sd_force" if mean is None else MEANS[mean]
    for name in MEANS.values():
        if name in layout.matches and name != sd_name:
            wanted = name.replace("sd_", "mean_")
            raise layout.error(name, 0, f"{name} without its mean", f"a column {wanted}_")
    sd = layout.numbers(sd_name)
    if mean is not None and sd_name in layout.matches:
        units = layout.unit(mean), layout.unit(sd_name)
        if units[0].dimension != units[1].dimension:
            raise layout.error(
                sd_name, 0, f"a {units[1].dimension} beside a mean {units[0].dimension}", mean
            )
    rules = (
        ("n", ~summary & np.isfinite(n), "n belongs to summary rows", "no n, or a mean and sd"),
        (sd_name, ~summary & np.isfinite(sd), "an sd without a mean", "a mean beside it"),
        ("n", summary & np.isnan(n), "a mean without n", "the number of specimens"),
        ("n", summary & (n != np.floor(n)), "n is not a whole number", "a whole number"),
        ("n", summary & (n > 1) & np.isnan(sd), "n above 1 without an sd", f"a value in {sd_name}"),
        ("n", summary & (n == 1) & np.isfinite(sd), "an sd of one specimen", "n of 2 or more"),
        (sd_name, summary & (sd > means), "an sd above the mean", "an sd below the mean"),
        (
            "n",
            np.cumsum(np.where(summary, n, 0)) > MOST_IN_ALL,
            f"more than {MOST_IN_ALL} specimens in summary rows",
            "fewer",
        ),
    )
    for name, wrong, problem, remedy in rules:
        if wrong.any():
            raise layout.error(name, np.flatnonzero(wrong)[0], problem, remedy)
    return sd, np.where(summary, n, 1).astype(np.int64)
