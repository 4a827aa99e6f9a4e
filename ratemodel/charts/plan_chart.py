"""Pictures of a plan: what machine hours buy, and where on the rate axis the tests stand."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes

from ratemodel.arrays import FloatArray
from ratemodel.charts.alt_lab import design_alt, hours_alt
from ratemodel.charts.labels import axes_points, footer, footer_size, short, wrapped
from ratemodel.charts.style import MARKERS, frame, house_style, new_axes, palette_now
from ratemodel.planning.plan import Plan
from ratemodel.words import CAUTION, mathtext_escape


def interval_against_hours(result: Plan, *, ax: Axes | None = None) -> Axes:
    """Expected interval of the answer (± % of strength) against machine hours, by design.

    Parameters
    ----------
    result : Plan
        From `plan_tests`.
    ax : Axes, optional
        None: a new figure.

    Returns
    -------
    Axes
    """
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        curve = result.curve
        told = (
            f"Expected {100 * result.request.level:.0f} % interval of the "
            f"{result.request.question.words}, averaged over the models still alive; the tests "
            f"themselves may say otherwise. {CAUTION}"
        )
        _place(axes, told, own=ax is None)
        for i, (name, width) in enumerate(curve.width.items()):
            axes.plot(curve.hours, 50 * width, color=palette.machines[i], marker=MARKERS[i],
                      label=name)  # fmt: skip
        widths = [*curve.width.values()]
        if np.isfinite(result.width_now):
            axes.axhline(50 * result.width_now, color=palette.soft, ls=":", label="now")
            widths.append(np.array([result.width_now]))
        axes.axvline(result.request.hours, color=palette.use, ls="--", lw=1.0, label="budget")
        axes.set_xscale("log")
        _plain_hours(axes, curve.hours)
        axes.set_ylim(0, 55 * max(float(np.nanmax(w)) for w in widths))
        axes.set_xlabel("machine hours", loc="left")
        axes.set_ylabel("expected interval (± % of strength)")
        axes.set_title(mathtext_escape(f"What machine hours buy: {short(result.sheet.series)}"))
        axes.legend()
        axes.set_label(hours_alt(result))
    return axes


def design_on_rate_axis(result: Plan, *, ax: Axes | None = None) -> Axes:
    """Specimens of the plan at each strain rate, by machine, with tested rates and the question.

    Parameters
    ----------
    result : Plan
        From `plan_tests`.
    ax : Axes, optional
        None: a new figure.

    Returns
    -------
    Axes
    """
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        told = (
            f"{result.chosen.specimens} specimens, {result.chosen.hours:.1f} machine hours. Bars "
            f"below the line: what each machine reaches. {CAUTION}"
        )
        _place(axes, told, own=ax is None)
        most = max(n for _, n in result.chosen.tests)
        for i in range(len(result.request.machines)):
            colour = palette.machines[i % len(palette.machines)]
            _machine(axes, result, i, (colour, MARKERS[i % len(MARKERS)], 0.06 * most))
        known = result.request.known
        if known is not None:
            rates = 10.0**known.data.rates
            axes.plot(rates, np.zeros(rates.size), color=palette.soft, marker="x", ls="none",
                      label="tested already")  # fmt: skip
        axes.axvline(result.request.question.strain_rate_per_s, color=palette.use, ls="--", lw=1.0,
                     label="rate asked about")  # fmt: skip
        axes.axhline(0, color=palette.line, lw=0.8)
        axes.set_yticks(np.unique(np.linspace(0, most, 6).round()))
        axes.set_ylim(top=1.12 * most)
        axes.set_xscale("log")
        axes.set_xlabel("strain rate (1/s)", loc="left")
        axes.set_ylabel("specimens")
        axes.set_title(mathtext_escape(f"What to test next: {short(result.sheet.series)}"))
        axes.legend()
        axes.set_label(design_alt(result))
    return axes


def _machine(axes: Axes, result: Plan, i: int, look: tuple[str, str, float]) -> None:
    """One machine's tests above the line, and the bar of its reach below."""
    colour, marker, step = look
    machine = result.request.machines[i]
    length = result.request.free_length_m
    mine = [(c.strain_rate_per_s, n) for c, n in result.chosen.tests if c.machine == machine]
    x, n = [m[0] for m in mine], [m[1] for m in mine]
    reach = [machine.speed_min_m_per_s / length, machine.speed_max_m_per_s / length]
    axes.plot(reach, [-step * (i + 1)] * 2, color=colour, lw=3, marker="|", solid_capstyle="butt",
              label="_reach")  # fmt: skip
    axes.vlines(x, 0, n, color=colour)
    name = mathtext_escape(short(machine.name) or "(no name)")
    axes.plot(x, n, color=colour, marker=marker, ls="none", label=f"{name}: {sum(n)} specimens")


def _plain_hours(axes: Axes, hours: FloatArray) -> None:
    """Hours written out at round numbers in place of powers of ten."""
    from matplotlib.ticker import FixedLocator, NullLocator, StrMethodFormatter

    low, high = float(hours.min()), float(hours.max())
    steps = [m * 10.0**k for k in range(-3, 6) for m in (1, 2, 5)]
    axes.xaxis.set_major_locator(FixedLocator([s for s in steps if low * 0.9 <= s <= high * 1.1]))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(StrMethodFormatter("{x:g}"))


def _place(axes: Axes, told: str, *, own: bool) -> None:
    """Give own axes their place and put the small text under them."""
    em = float(mpl.rcParams["font.size"])
    figure = axes.get_figure(root=True)
    assert figure is not None
    whole = float(figure.get_size_inches()[0]) * 72
    text = wrapped(told, whole - 8 * em if own else axes_points(axes)[0], footer_size())
    if own:
        frame(axes, left=5.2, right=1.5, top=2.6, bottom=4.6 + 1.07 * (text.count("\n") + 1))
    footer(axes, text, below=3.9 * em)
