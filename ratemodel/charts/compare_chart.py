"""Pictures of a comparison: ratio with its interval, rate by rate; products with their ranks."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from ratemodel.comparing.many import Ranking
from ratemodel.comparing.pair import Comparison, RatePoint
from ratemodel.errors import InputError
from ratemodel.units import Unit
from ratemodel.words import CAUTION, mathtext_escape, number_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Dark blue, grey and orange of Okabe and Ito (2008): told apart by the colour-blind and in grey.
_MEAN, _SPECIMEN, _CLAIM = "#0072B2", "#7F7F7F", "#D55E00"
_WIDTH = 90


def ratio_chart(result: Comparison, *, ax: Axes | None = None) -> Axes:
    """Ratio of B to A at every rate: mean (thick) and single specimens (thin), claim and margin.

    Points at rates beyond the tested ones of either series are hollow.

    Parameters
    ----------
    result : Comparison
        From `ratemodel.comparing.compare`.
    ax : Axes, optional
        None: a new figure.

    Returns
    -------
    Axes
    """
    ax = _axes(ax, len(result.points))
    a, b = (mathtext_escape(n) for n in result.names)
    for i, p in enumerate(result.points):
        one, mean = p.specimen_ratio, p.ratio
        ax.plot([one.low, one.high], [i, i], color=_SPECIMEN, linewidth=1.2,
                label="single specimens" if i == 0 else None)  # fmt: skip
        ax.plot([mean.low, mean.high], [i, i], color=_MEAN, linewidth=4.0, solid_capstyle="butt",
                label="mean strength" if i == 0 else None)  # fmt: skip
        hollow = max(p.decades_beyond) > 0.05
        ax.plot([mean.median], [i], "o", color=_MEAN, markersize=8, zorder=3,
                markerfacecolor="white" if hollow else _MEAN)  # fmt: skip
    ax.axvline(1.0, color="black", linewidth=0.8)
    m = result.settings.margin
    ax.axvspan(1 - m, 1 + m, color="black", alpha=0.07, linewidth=0,
               label=f"within {100 * m:g} %")  # fmt: skip
    if result.claim is not None:
        ax.axvline(result.claim.ratio, color=_CLAIM, linestyle="--", linewidth=1.5,
                   label=f"claim {mathtext_escape(result.claim.text)}")  # fmt: skip
    labels = [_rate_label(p) for p in result.points]
    ax.set_yticks(range(len(labels)), labels)
    ax.set_ylim(-0.7, len(labels) - 0.3)
    level = f"{100 * result.settings.level:g} %"
    ax.set_xlabel(f"Strength of {b} over strength of {a} ({level} intervals)")
    ax.legend(frameon=False, fontsize="small", loc="upper left", bbox_to_anchor=(1.0, 1.0))
    ax.grid(axis="x", alpha=0.25)
    _caution(ax)
    return ax


def ranking_chart(result: Ranking, unit: Unit, *, ax: Axes | None = None) -> Axes:
    """Products, strongest on top: mean strength alone (thin) and drawn together (thick).

    Parameters
    ----------
    result : Ranking
        From `ratemodel.comparing.compare_many`.
    unit : Unit
        In which strength is shown.
    ax : Axes, optional
        None: a new figure.

    Raises
    ------
    InputError
        No product.
    """
    if not result.products:
        raise InputError("a ranking without products", "at least one")
    ax = _axes(ax, len(result.products))
    for i, p in enumerate(reversed(result.products)):
        ends = [unit.from_si(v) for v in (p.alone.low, p.alone.high)]
        ax.plot(ends, [i - 0.18, i - 0.18], color=_SPECIMEN, linewidth=1.2,
                label="from its own tests" if i == 0 else None)  # fmt: skip
        ends = [unit.from_si(v) for v in (p.strength.low, p.strength.high)]
        ax.plot(ends, [i, i], color=_MEAN, linewidth=4.0, solid_capstyle="butt",
                label="drawn together" if i == 0 else None)  # fmt: skip
        ax.plot([unit.from_si(p.strength.median)], [i], "o", color=_MEAN, markersize=8)
    labels = [
        f"{mathtext_escape(p.name)}\nstrongest with probability {_odds(p.best)}"
        for p in reversed(result.products)
    ]
    ax.set_yticks(range(len(labels)), labels)
    ax.set_ylim(-0.7, len(labels) - 0.3)
    rate = number_text(result.strain_rate_per_s, 2)
    ax.set_xlabel(f"Mean strength at {rate} /s ({unit.symbol}, {100 * result.level:g} % intervals)")
    ax.legend(frameon=False, fontsize="small", loc="upper left", bbox_to_anchor=(1.0, 1.0))
    ax.grid(axis="x", alpha=0.25)
    _caution(ax)
    return ax


def _rate_label(p: RatePoint) -> str:
    label = f"{number_text(p.strain_rate_per_s, 2)} /s"
    if p.claim is not None:
        label += f"\nclaim holds: {_odds(p.claim)}"
    return label


def _odds(p: float) -> str:
    """A probability with no more certainty than the draws carry."""
    if p > 0.999:
        return "> 0.999"
    return "< 0.001" if p < 0.001 else number_text(p, 2)


def _axes(ax: Axes | None, rows: int) -> Axes:
    if ax is not None:
        return ax
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.0, 2.2 + 0.55 * rows), layout="constrained")
    return figure.add_subplot()


def _caution(ax: Axes) -> None:
    """The caution under the axis label, so that a copied picture keeps it."""
    ax.set_xlabel(f"{ax.get_xlabel()}\n\n{textwrap.fill(CAUTION, _WIDTH)}", fontsize="small")
