"""The what-if panel for a notebook: sliders in, picture, odds and limits out, live and unfitted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ratemodel.charts.alt_text import what_if_alt
from ratemodel.charts.saving import Picture, save_figure
from ratemodel.charts.what_if_chart import what_if_chart
from ratemodel.errors import InputError
from ratemodel.event import Recorded
from ratemodel.inference.ratefit import RateFit
from ratemodel.records.tables import Use
from ratemodel.shown import odds_beyond, rate_text, shown_unit, unit_text, units_chosen
from ratemodel.units import UNITS, Unit, Units
from ratemodel.what_if import Change, WhatIf, what_if_answer, what_if_basis
from ratemodel.words import CAUTION, html_escape, limit_text

#: Sliders in this order, where the use has the quantity: name, words, dimension of the unit.
_SLIDERS = (
    ("mass", "mass", "mass"),
    ("fall", "fall", "length"),
    ("closing_speed", "closing speed", "speed"),
    ("line_length", "line length", "length"),
    ("stiffness", "stiffness (EA)", "force"),
    ("load", "load", "force"),
)
_PIXELS = 840
_DEFAULT_TARGET = 1e-4
_SPAN = 4.0  # sliders reach from a quarter of the use's own number to four times it


@dataclass(frozen=True)
class _Parts:
    """Widgets that a change writes to."""

    number: Any
    table: Any
    picture: Any


def what_if(fit: RateFit, use: Use, *, units: Units | str | None = None, seed: int = 0,
            curve: Recorded | None = None) -> Any:  # fmt: skip
    """A panel of sliders that answers from the stored draws of a fit; nothing is fitted again.

    Mass, fall or closing speed, line length, stiffness and the target failure probability can be
    moved; demand curve and strength band, margin, odds of a break and working load limits by
    policy follow at once. Each number keeps the relative spread that the use states for it.

    Parameters
    ----------
    fit : RateFit
        Fit of the use's own series.
    use : Use
    units : Units or str, optional
        As ``"lbf,ft,lb"``; kN, m and kg where not given.
    seed : int
        The same random numbers serve every change, so that the answer moves with the sliders.
    curve : Recorded, optional
        Loading curve of a use whose line is "recorded", as for `translate`.

    Returns
    -------
    ipywidgets.VBox
        To be displayed, as the last line of a cell. Its children are the sliders' box, the number
        (a label), the caution, the limits and the picture.

    Raises
    ------
    InputError
        ipywidgets is not installed.
    """
    try:
        import ipywidgets
    except ImportError as error:
        raise InputError("the what-if panel needs the package ipywidgets, which is not installed",
                         'pip install "ratemodel[notebooks]"') from error  # fmt: skip
    choice = units_chosen(units)
    basis = what_if_basis(fit, use, curve=curve)
    sliders = _sliders(ipywidgets, use, choice)
    target = _target_slider(ipywidgets, use)
    parts = _Parts(ipywidgets.Label(), ipywidgets.HTML(), ipywidgets.Output())

    def answer(_: object = None) -> None:
        medians = {name: unit.to_si(s.value) for name, (s, unit) in sliders.items()}
        change = Change(medians, target.value)
        _show(parts, what_if_answer(basis, change, rng=np.random.default_rng(seed)), choice)

    _listen([*(s for s, _ in sliders.values()), target], answer)
    answer()
    caution = ipywidgets.HTML(f"<strong>Caution.</strong> {html_escape(CAUTION)}")
    box = ipywidgets.VBox([*(s for s, _ in sliders.values()), target])
    return ipywidgets.VBox([box, parts.number, caution, parts.picture, parts.table])


def _listen(sliders: list[Any], answer: Callable[[object], None]) -> None:
    for slider in sliders:
        slider.observe(answer, names="value")


def _sliders(ipywidgets: Any, use: Use, choice: Units) -> dict[str, tuple[Any, Unit]]:
    """A slider for each number of the use that may be moved, in the units shown."""
    found: dict[str, tuple[Any, Unit]] = {}
    for name, words, dimension in _SLIDERS:
        own = use.quantities.get(name)
        if own is None or own.median <= 0:
            continue
        unit = UNITS["m_per_s"] if dimension == "speed" else getattr(choice, dimension)
        if dimension == "speed" and choice.length.symbol == "ft":
            unit = UNITS["ft_per_s"]
        value = unit.from_si(own.median)
        slider = ipywidgets.FloatSlider(
            value=value, min=_rounded(value / _SPAN), max=_rounded(value * _SPAN),
            step=_rounded(value / 100), description=f"{words}, {unit_text(unit)}",
            readout_format=".4g", continuous_update=False, style={"description_width": "11em"},
            layout={"width": "32em", "max_width": "100%"},
        )  # fmt: skip
        found[name] = (slider, unit)
    return found


def _target_slider(ipywidgets: Any, use: Use) -> Any:
    return ipywidgets.FloatLogSlider(
        value=use.target_failure_probability or _DEFAULT_TARGET, base=10, min=-6, max=-1, step=0.1,
        description="target probability", readout_format=".1e", continuous_update=False,
        style={"description_width": "11em"}, layout={"width": "32em", "max_width": "100%"},
    )  # fmt: skip


def _rounded(value: float) -> float:
    """Two significant digits, so that a slider's ends and steps are plain numbers."""
    return float(f"{value:.2g}")


def _show(parts: _Parts, answer: WhatIf, choice: Units) -> None:
    from IPython.display import display

    picture = what_if_picture(answer, choice)
    parts.number.value = number_line(answer)
    parts.table.value = limits_html(answer, choice)
    # clear_output(wait=True) keeps the old picture until the new one is there: no flicker
    with parts.picture:
        parts.picture.clear_output(wait=True)
        display(picture)  # type: ignore[no-untyped-call]


def what_if_picture(answer: WhatIf, units: Units | str | None = None) -> Picture:
    """The picture of an answer with its alternative text, small enough to follow a slider."""
    alt = what_if_alt(answer, units)
    axes = what_if_chart(answer, units=units)
    return Picture(save_figure(axes, None, alt=alt, fmt="png", px=_PIXELS), alt, "png")


def number_line(answer: WhatIf) -> str:
    """Margin, odds and rate in one line."""
    strength = answer.strength
    rate = f"rate {rate_text(float(10 ** np.median(strength.u)))}"
    if answer.margin is None or answer.failure is None:
        return rate
    odds = odds_beyond(answer.failure.mean, strength.decades_beyond, answer.failure.informative)
    level = f"{100 * strength.fit.level:g} %"
    return (
        f"one line holds {answer.margin.text()} times the demand ({level}); odds that it breaks: "
        f"{odds}; {rate}"
    )


def limits_html(answer: WhatIf, units: Units | str | None = None) -> str:
    """Working load limits by policy as an HTML table."""
    unit = shown_unit(answer.strength.unit, units)
    rows = "".join(
        f"<tr><th scope='row' style='text-align:left;padding-right:1em'>{html_escape(r.policy)}"
        f"</th><td style='text-align:right;padding-right:1em'>"
        f"{limit_text(r.value / unit.factor, unit_text(unit))}</td><td>"
        f"{odds_beyond(r.implied_failure_probability, r.decades_beyond, r.informative)}</td></tr>"
        for r in answer.limits
    )
    head = (
        "<tr><th scope='col' style='text-align:left'>policy</th><th scope='col'>limit</th>"
        "<th scope='col' style='text-align:left'>odds that one line is weaker</th></tr>"
    )
    return f"<table><caption>Working load limits</caption>{head}{rows}</table>"
