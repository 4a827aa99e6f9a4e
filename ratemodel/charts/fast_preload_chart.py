"""Fast preload, then slow pull: machine time saved against bias."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from ratemodel.charts.alt_lab import fast_preload_alt
from ratemodel.charts.placing import place
from ratemodel.charts.style import house_style, new_axes, palette_now
from ratemodel.models.fast_preload import FastPreload
from ratemodel.words import CAUTION

_NEGLIGIBLE_PERCENT = 0.1
_LEAST_PERCENT = 1e-5
_LEVEL = 0.90


def fast_preload_chart(result: FastPreload, *, ax: Axes | None = None) -> Axes:
    """Bias of the strength read (log) against machine time saved, with its 90 % band.

    Points are labelled with the preload as a fraction of the strength.

    Parameters
    ----------
    result : FastPreload
    ax : Axes, optional
    """
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        place(axes, _states(result), own=ax is None,
              title=("", "Fast preload, then slow pull{}"))  # fmt: skip
        saved = 100 * result.time_saved_fraction
        tails = [(1 - _LEVEL) / 2, 0.5, (1 + _LEVEL) / 2]
        bias = 100 * np.maximum(np.quantile(result.ratio, tails, axis=0) - 1, 1e-9)
        axes.set_yscale("log")
        axes.fill_between(saved, bias[0], bias[2], color=palette.mean, alpha=0.25, lw=0,
                          label="interval")  # fmt: skip
        axes.plot(saved, bias[1], "o-", color=palette.mean, ms=4, label="_bias")
        axes.set_ylim(_LEAST_PERCENT, 3 * float(bias[2].max()))
        seen = np.flatnonzero(bias[2] > _LEAST_PERCENT)
        axes.set_xlim(float(saved[max(int(seen[0]) - 1, 0)]) if seen.size else 0.0, 100)
        shown = np.flatnonzero(bias[1] > 2 * _LEAST_PERCENT)
        for i in shown[:: max(1, len(shown) // 5)]:
            axes.annotate(f"{100 * result.preload_fraction[i]:.0f} %", (saved[i], bias[1, i]),
                          xytext=(5, -11), textcoords="offset points", color=palette.mean,
                          gid="preload")  # fmt: skip
        axes.axhline(_NEGLIGIBLE_PERCENT, color=palette.bound, lw=1, ls="--", label="_negligible")
        axes.annotate(f"{_NEGLIGIBLE_PERCENT:g} % bias", (0.01, _NEGLIGIBLE_PERCENT),
                      xycoords=("axes fraction", "data"), xytext=(0, 3),
                      textcoords="offset points", color=palette.bound)  # fmt: skip
        axes.set_xlabel("machine time saved (%)", loc="left")
        axes.set_ylabel("bias of the strength (%)")
        axes.set_label(fast_preload_alt(result))
    return axes


def _states(result: FastPreload) -> str:
    warned = [p.code.replace("-", " ") for p in result.problems]
    check = f" Check: {', '.join(warned)}." if warned else ""
    return (
        f"Numbers at the marks: preload as a share of the strength; band: {100 * _LEVEL:g} % over "
        f"{result.ratio.shape[0]} draws of the life exponent. Calculated from linear damage, not "
        f"tested: it holds for damage only, not for bedding-in or heat.{check} {CAUTION}"
    )
