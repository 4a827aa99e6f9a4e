"""Force–strain laws of a line: constant stiffness, power law, recorded loading curve."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, Protocol, Self, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from ratemodel.arrays import FloatArray, IntArray
from ratemodel.errors import InputError
from ratemodel.event.checks import columns
from ratemodel.event.roots import increasing_root

Rows: TypeAlias = slice | IntArray
"""Which draws to take."""


class Law(Protocol):
    """Force of a line against its strain; parameters of shape ``(1,)`` or ``(draws,)``.

    Each function takes strains or forces of shape ``(draws,)``, none below zero.
    """

    def force(self, strain: FloatArray) -> FloatArray:
        """Force (N)."""

    def energy(self, strain: FloatArray) -> FloatArray:
        """Integral of force over strain from zero (J per metre of line)."""

    def tangent(self, strain: FloatArray) -> FloatArray:
        """Slope of force over strain (N per unit strain)."""

    def strain(self, force: FloatArray) -> FloatArray:
        """Strain at a force: the inverse of ``force``."""

    def take(self, rows: Rows) -> Law:
        """Return the law of some of the draws."""


def rows_of(array: FloatArray, rows: Rows) -> FloatArray:
    """Take some draws of a parameter; one common to all draws stays as it is."""
    return array if array.size == 1 else array[rows]


@dataclass(frozen=True)
class Linear:
    """F = EA ε. ``stiffness`` EA in N per unit strain, a number or one per draw."""

    stiffness: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "stiffness", columns({"stiffness": self.stiffness})["stiffness"])

    def force(self, strain: FloatArray) -> FloatArray:
        """Force (N)."""
        return self.stiffness * strain

    def energy(self, strain: FloatArray) -> FloatArray:
        """Energy per metre (J/m)."""
        return 0.5 * self.stiffness * strain**2

    def tangent(self, strain: FloatArray) -> FloatArray:
        """Constant EA."""
        return np.broadcast_to(self.stiffness, np.broadcast_shapes(strain.shape, (1,)))

    def strain(self, force: FloatArray) -> FloatArray:
        """Strain at a force."""
        return force / self.stiffness

    def take(self, rows: Rows) -> Self:
        """Take some of the draws."""
        return replace(self, stiffness=rows_of(self.stiffness, rows))


@dataclass(frozen=True)
class PowerLaw:
    """F = K ε^p: ``coefficient`` K (N at unit strain), ``exponent`` p above 0.

    p above 1 stiffens as bedded fibre lines do, below 1 softens.
    """

    coefficient: FloatArray
    exponent: FloatArray

    def __post_init__(self) -> None:
        v = columns({"stiffness": self.coefficient, "exponent": self.exponent})
        object.__setattr__(self, "coefficient", v["stiffness"])
        object.__setattr__(self, "exponent", v["exponent"])

    def force(self, strain: FloatArray) -> FloatArray:
        """Force (N)."""
        return self.coefficient * strain**self.exponent

    def energy(self, strain: FloatArray) -> FloatArray:
        """Energy per metre (J/m): K ε^(p+1)/(p+1)."""
        return self.force(strain) * strain / (self.exponent + 1)

    def tangent(self, strain: FloatArray) -> FloatArray:
        """Slope K p ε^(p−1)."""
        with np.errstate(divide="ignore"):
            return self.coefficient * self.exponent * strain ** (self.exponent - 1)

    def strain(self, force: FloatArray) -> FloatArray:
        """Strain at a force."""
        return (force / self.coefficient) ** (1 / self.exponent)

    def take(self, rows: Rows) -> Self:
        """Take some of the draws."""
        return replace(
            self,
            coefficient=rows_of(self.coefficient, rows),
            exponent=rows_of(self.exponent, rows),
        )


@dataclass(frozen=True)
class Recorded:
    """Loading curve of a recorded pull, monotone cubic between its points.

    Parameters
    ----------
    strain_points, force_points : array
        Both strictly increasing, shape (points,); the origin is put in front where it is missing.
    scale : float or array
        Factor on the force, for specimen-to-specimen spread; one or one per draw.

    Notes
    -----
    Beyond the last point the curve goes on straight at its last slope; `shock` says so in
    ``problems`` whenever a draw gets there. Interpolation: Fritsch and Carlson (1980),
    SIAM J. Numer. Anal. 17, as in scipy's ``PchipInterpolator``.
    """

    strain_points: FloatArray
    force_points: FloatArray
    scale: FloatArray = field(default_factory=lambda: np.ones(1))
    _curve: Any = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        from scipy.interpolate import PchipInterpolator

        e = np.asarray(self.strain_points, dtype=np.float64)
        f = np.asarray(self.force_points, dtype=np.float64)
        if e.ndim != 1 or e.shape != f.shape or e.size < 2 or not np.isfinite([e, f]).all():
            raise InputError("a loading curve without matching numbers", "at least 2 points")
        if e[0] > 0 and f[0] > 0:
            e, f = np.r_[0.0, e], np.r_[0.0, f]
        if (np.diff(e) <= 0).any() or (np.diff(f) <= 0).any() or e[0] != 0 or f[0] != 0:
            raise InputError(
                "a loading curve that does not rise from the origin",
                "strain and force both rising from point to point (see loading_curve)",
            )
        scale = columns({"slip_force": self.scale})["slip_force"]
        for name, value in (("strain_points", e), ("force_points", f), ("scale", scale)):
            object.__setattr__(self, name, value)
        curve = PchipInterpolator(e, f)
        object.__setattr__(self, "_curve", (curve, curve.antiderivative(), curve.derivative()))

    @property
    def _end(self) -> tuple[float, float, float]:
        last = float(self.strain_points[-1])
        slope = float(self._curve[2](last))
        if slope <= 0:  # a pchip may end flat; the secant of the last step never is
            slope = float(np.diff(self.force_points[-2:])[0] / np.diff(self.strain_points[-2:])[0])
        return last, float(self.force_points[-1]), slope

    def force(self, strain: FloatArray) -> FloatArray:
        """Force (N)."""
        last, top, slope = self._end
        inside = self._curve[0](np.minimum(strain, last))
        return np.asarray(
            self.scale * np.where(strain > last, top + slope * (strain - last), inside)
        )

    def energy(self, strain: FloatArray) -> FloatArray:
        """Energy per metre (J/m)."""
        last, top, slope = self._end
        over = np.maximum(strain - last, 0.0)
        inside = self._curve[1](np.minimum(strain, last))
        return np.asarray(self.scale * (inside + top * over + 0.5 * slope * over**2))

    def tangent(self, strain: FloatArray) -> FloatArray:
        """Slope of the curve."""
        last, _, slope = self._end
        inside = self._curve[2](np.minimum(strain, last))
        return np.asarray(self.scale * np.where(strain > last, slope, inside))

    def strain(self, force: FloatArray) -> FloatArray:
        """Strain at a force."""
        last, top, slope = self._end
        wanted = force / self.scale
        inside = np.minimum(wanted, top)
        cell = np.clip(np.searchsorted(self.force_points, inside), 1, self.force_points.size - 1)
        low, high = self.strain_points[cell - 1], self.strain_points[cell]
        curve, _, tangent = self._curve
        root = increasing_root(curve, tangent, inside, low, high)
        return np.where(wanted > top, last + (wanted - top) / slope, root)

    def take(self, rows: Rows) -> Self:
        """Take some of the draws."""
        return replace(self, scale=rows_of(self.scale, rows))


def loading_curve(strain: ArrayLike, force: ArrayLike, points: int = 60) -> Recorded:
    """Rising loading curve from the noisy record of one pull.

    The record up to its peak is averaged over ``points`` equal steps of strain and made
    monotone by isotonic regression; ties are left out.

    Parameters
    ----------
    strain, force : array_like
        Record, shape (samples,); strain counted from the line coming taut.
    points : int
        Largest number of points of the curve.

    Returns
    -------
    Recorded

    Raises
    ------
    InputError
        Fewer than two rising points.
    """
    from scipy.optimize import isotonic_regression

    e, f = (np.asarray(a, dtype=np.float64) for a in (strain, force))
    if e.ndim != 1 or e.shape != f.shape or e.size < 2 or not np.isfinite([e, f]).all():
        raise InputError("a record without matching numbers", "strain and force of equal length")
    top = int(np.argmax(f))
    e, f = e[: top + 1], f[: top + 1]
    keep = (e > 0) & (f > 0)
    e, f = e[keep], f[keep]
    if e.size < 2:
        raise InputError("a record that does not rise", "a pull from slack to its peak")
    bins = np.minimum((e / e.max() * points).astype(int), points - 1)
    count = np.bincount(bins, minlength=points)
    full = count > 0
    # The last sample is the peak itself; an average over its step would lie below it.
    x = np.r_[(np.bincount(bins, e, points)[full] / count[full])[:-1], e[-1]]
    y = np.r_[(np.bincount(bins, f, points)[full] / count[full])[:-1], f[-1]]
    y = isotonic_regression(y).x
    new = np.r_[True, (np.diff(y) > 0) & (np.diff(x) > 0)]
    return Recorded(x[new], y[new])
