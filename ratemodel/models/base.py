"""The shape every strength-against-rate model has.

A model is linear in some parameters once its few *shape* parameters are given::

    ln S(u) = offset(u; shape) + columns(u; shape) @ linear,   u = log10(strain rate / (1/s))

so that inference can integrate the shape numerically and draw the rest in closed form.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.models.parameter import Parameter


@dataclass(frozen=True)
class RateModel(ABC):
    """One strength-against-rate law.

    Parameters
    ----------
    reference : float
        log10 of the strain rate (1/s) at which the parameter ``ln_strength`` is defined.
    """

    reference: float = 0.0

    name: ClassVar[str]
    title: ClassVar[str]
    formula: ClassVar[str]
    source: ClassVar[str]
    linear: ClassVar[tuple[Parameter, ...]]
    shape: ClassVar[tuple[Parameter, ...]] = ()

    @abstractmethod
    def columns(self, u: FloatArray, shape: FloatArray) -> list[FloatArray]:
        """Columns multiplying the linear parameters after the intercept.

        ``u`` has shape (n,) or (draws, n), ``shape`` (draws, k); each column broadcasts to
        (draws, n).
        """

    def offset(self, u: FloatArray, shape: FloatArray) -> FloatArray:
        """Part of ln S that no linear parameter multiplies, broadcasting to (draws, n)."""
        return np.zeros(np.broadcast_shapes(u.shape, (shape.shape[0], 1)))

    def design(self, u: FloatArray, shape: FloatArray) -> FloatArray:
        """Design array (draws, n, p): intercept first, then `columns`."""
        size = np.broadcast_shapes(u.shape, (shape.shape[0], 1))
        out = np.empty((*size, len(self.linear)))
        out[..., 0] = 1.0
        for j, column in enumerate(self.columns(u, shape), start=1):
            out[..., j] = column
        return out

    def curve(self, u: FloatArray, linear: FloatArray, shape: FloatArray) -> FloatArray:
        """Mean of ln S, shape (draws, n).

        Parameters
        ----------
        u : ndarray, shape (n,) or (draws, n)
            log10 of the strain rate in 1/s.
        linear : ndarray, shape (draws, p)
            Linear parameters in the order of ``self.linear``.
        shape : ndarray, shape (draws, k)
            Shape parameters in the order of ``self.shape`` (k may be 0).
        """
        terms = self.columns(u, shape)
        out = self.offset(u, shape) + linear[:, :1]
        for j, column in enumerate(terms, start=1):
            out = out + linear[:, j : j + 1] * column
        return np.asarray(out)
