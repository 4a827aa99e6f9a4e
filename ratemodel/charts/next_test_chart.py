"""Which further test would narrow the answer most."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes

from ratemodel.charts.alt_text import next_test_alt
from ratemodel.charts.labels import axes_points, footer, footer_size, set_title, wrapped
from ratemodel.charts.rate_axis import draw_rate_ticks
from ratemodel.charts.style import frame, house_style, new_axes, palette_now
from ratemodel.planning import NextTest
from ratemodel.shown import rate_text, time_text


def next_test_chart(plan: NextTest, *, ax: Axes | None = None) -> Axes:
    """Draw the interval expected after a test at each rate, as a share of the interval now.

    Parameters
    ----------
    plan : NextTest
    ax : Axes, optional
    """
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        em = float(mpl.rcParams["font.size"])
        figure = axes.get_figure(root=True)
        assert figure is not None
        whole = float(figure.get_size_inches()[0]) * 72
        told = (
            f"Expected width of the interval of the {plan.question} after {plan.specimens} more "
            f"specimens of {plan.series} at one rate, as a share of its width now. "
            "A forecast from the models; the test itself may say otherwise."
        )
        text = wrapped(told, whole - 8 * em if ax is None else axes_points(axes)[0], footer_size())
        if ax is None:
            lines = text.count("\n") + 1
            frame(axes, left=5.2, right=1.5, top=2.6, bottom=4.6 + 1.07 * lines)
        rate, ratio = 10 ** plan.candidates[:, 0], 100 * plan.candidates[:, 1]
        axes.set_xscale("log")
        axes.plot(rate, ratio, color=palette.mean, label="_ratio")
        axes.plot(plan.strain_rate_per_s, 100 * plan.expected_interval_ratio, "D",
                  color=palette.bound, zorder=3, label="_best")  # fmt: skip
        axes.axhline(100, color=palette.soft, lw=0.8, ls=":", label="_now")
        low = float(ratio.min())
        span = max(100 - low, 2.0)
        axes.set_ylim(low - 0.55 * span, max(100.0, float(ratio.max())) + 0.15 * span)
        axes.set_xlim(rate[0] / 1.3, rate[-1] * 1.3)
        axes.annotate("now", (1.0, 100), xycoords=("axes fraction", "data"), xytext=(0, 3),
                      textcoords="offset points", ha="right", color=palette.soft)  # fmt: skip
        left = plan.strain_rate_per_s < np.sqrt(rate[0] * rate[-1])
        best = (
            f"{plan.specimens} at {rate_text(plan.strain_rate_per_s)}\n"
            f"about {time_text(3600 * plan.machine_time_h)} of machine time"
        )
        axes.annotate(best, (plan.strain_rate_per_s, 100 * plan.expected_interval_ratio),
                      xytext=(0, -0.9 * em), textcoords="offset points", va="top",
                      ha="left" if left else "right", color=palette.bound, weight="bold",
                      gid="best")  # fmt: skip
        draw_rate_ticks(axes, "strain rate of the test (1/s)")
        axes.set_ylabel("width of the interval (%)")
        set_title(axes, plan.series, "What to test next: {}")
        footer(axes, text, below=3.9 * em)
        axes.set_label(next_test_alt(plan))
    return axes
