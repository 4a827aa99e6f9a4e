"""The strain-rate axis, with time to break as its second face."""

from __future__ import annotations

from collections.abc import Sequence

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator
from numpy.typing import ArrayLike

from ratemodel.arrays import FloatArray
from ratemodel.charts.labels import axes_points, decade_text, text_width
from ratemodel.inference.ratefit import RateFit
from ratemodel.shown import time_text
from ratemodel.translation import ASSUMED_STRAIN

RATE_LABEL = "strain rate (1/s)"
_TIMES = (1e-4, 1e-3, 1e-2, 0.1, 1.0, 10.0, 60.0, 600.0, 3600.0, 36000.0, 604800.0,
          2629800.0, 31557600.0, 315576000.0, 3155760000.0)  # fmt: skip


def strain_at_break(fit: RateFit) -> tuple[float, bool]:
    """Strain at break that turns rates into times, and whether the tests give it."""
    given = fit.series.used.strain_at_break
    known = given[np.isfinite(given)]
    return (float(np.median(known)), True) if known.size else (ASSUMED_STRAIN, False)


def draw_rate_axes(axes: Axes, strain: float) -> None:
    """Strain rate below, time to break above."""
    low, high = axes.get_xlim()
    inside = [t for t in _TIMES if low * 1.05 < strain / t < high / 1.05]
    step = _step(axes, len(inside), [time_text(t) for t in inside])

    def turned(x: ArrayLike) -> FloatArray:
        return np.asarray(strain / np.maximum(np.asarray(x, dtype=np.float64), 1e-300))

    top = axes.secondary_xaxis("top", functions=(turned, turned))
    top.xaxis.set_major_locator(FixedLocator(inside[::step]))
    top.xaxis.set_minor_locator(NullLocator())
    top.xaxis.set_major_formatter(FuncFormatter(lambda t, _: time_text(float(t))))
    top.set_xlabel("time to break", loc="left")
    draw_rate_ticks(axes, RATE_LABEL)


def draw_rate_ticks(axes: Axes, label: str) -> None:
    """Ticks at the powers of ten of a log axis below, as many as fit."""
    low, high = axes.get_xlim()
    powers = np.arange(np.ceil(np.log10(low)), np.floor(np.log10(high)) + 1)
    every = _step(axes, powers.size, ["10⁻¹⁰"])
    axes.xaxis.set_major_locator(FixedLocator((10.0 ** powers[::every]).tolist()))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda r, _: decade_text(float(r))))
    axes.set_xlabel(label, loc="left")


def _step(axes: Axes, count: int, texts: Sequence[str]) -> int:
    """Show every how manieth tick so that the texts keep apart."""
    if not texts or count == 0:
        return 1
    widest = max(text_width(t, float(mpl.rcParams["font.size"])) for t in texts)
    room = max(int(axes_points(axes)[0] / (widest * 1.35 + 6)), 1)
    return -(-count // room)
