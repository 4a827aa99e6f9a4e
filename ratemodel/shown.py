"""Strength, rate, time and odds as people read them: unit chosen once, text made once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.units import UNITS, Unit, Units, shown_symbol, units_of
from ratemodel.words import number_text, quantity_text

#: Odds smaller than this rest on the far tail of an assumed scatter and are shown as "less than".
SMALLEST_SHOWN = 1e-6
#: The same a decade or more beyond the tested rates.
_SMALLEST_UNTESTED = 1e-3
_TIMES = ((1.0, 1e-3, "ms"), (60.0, 1.0, "s"), (3600.0, 60.0, "min"), (172800.0, 3600.0, "h"),
          (2 * 31557600.0, 86400.0, "days"), (np.inf, 31557600.0, "years"))  # fmt: skip


@dataclass(frozen=True)
class Quantity:
    """Median and interval of something known only by its draws."""

    median: float
    low: float
    high: float

    def text(self, unit: str = "") -> str:
        """The quantity as ``"11.2 kN (10.4 to 12.1)"``."""
        return quantity_text(self.median, self.low, self.high, unit)


def quantity(draws: FloatArray, level: float) -> Quantity:
    """Median and central interval of draws of shape (draws,).

    Examples
    --------
    >>> quantity(np.arange(9.0), 0.5)
    Quantity(median=4.0, low=2.0, high=6.0)
    """
    low, middle, high = np.quantile(draws, [(1 - level) / 2, 0.5, (1 + level) / 2])
    return Quantity(float(middle), float(low), float(high))


def strength_quantity(ln_draws: FloatArray, level: float, unit: Unit) -> Quantity:
    """Median and interval, in ``unit``, of draws of ln strength (SI)."""
    q = quantity(ln_draws, level)
    return Quantity(*(unit.from_si(float(np.exp(x))) for x in (q.median, q.low, q.high)))


def shown_unit(unit: Unit, wanted: Units | str | None = None) -> Unit:
    """Unit in which a series' strength is shown: ``wanted``, else kN for forces, else its own.

    Raises
    ------
    InputError
        ``wanted`` is text and measures something else than the series' strength.

    Examples
    --------
    >>> from ratemodel.units import UNITS
    >>> shown_unit(UNITS["lbf"]).symbol, shown_unit(UNITS["GPa"]).symbol
    ('kN', 'GPa')
    >>> shown_unit(UNITS["N"], Units.parse("lbf,in/min")).symbol
    'lbf'
    """
    if isinstance(wanted, str) and "," in wanted:
        wanted = Units.parse(wanted)
    if wanted is None or isinstance(wanted, Units):
        return (wanted or Units()).strength(unit)
    chosen = UNITS.get(wanted)
    if chosen is None or chosen.dimension != unit.dimension:
        raise InputError(f"unit {wanted} for a {unit.dimension}",
                         "one of " + ", ".join(units_of(unit.dimension)))  # fmt: skip
    return chosen


def units_chosen(wanted: Units | str | None) -> Units:
    """A choice of units from an object, from text as ``"lbf,in/min"``, or the usual one."""
    if isinstance(wanted, str):
        return Units.parse(wanted)
    return wanted or Units()


def unit_text(unit: Unit) -> str:
    """Unit as printed.

    Examples
    --------
    >>> unit_text(UNITS["cN_per_tex"])
    'cN/tex'
    """
    return shown_symbol(unit.symbol)


def speed_text(speed_m_per_s: float, units: Units) -> str:
    """Machine speed as text.

    Examples
    --------
    >>> speed_text(0.0254 / 60, Units.parse("in/min"))
    '1 in/min'
    """
    return f"{number_text(units.speed.from_si(speed_m_per_s))} {unit_text(units.speed)}"


def rate_text(rate_per_s: float) -> str:
    """Strain rate as text.

    Examples
    --------
    >>> rate_text(0.000666)
    '6.7e-4 /s'
    """
    if 1e-3 <= rate_per_s < 1e4:
        return f"{number_text(rate_per_s, 2)} /s"
    mantissa, exponent = f"{rate_per_s:.1e}".split("e")
    return f"{mantissa.removesuffix('.0')}e{int(exponent)} /s"


def time_text(seconds: float) -> str:
    """Duration in the unit people use for it.

    Examples
    --------
    >>> time_text(0.04), time_text(1524.0), time_text(3.6e6)
    ('40 ms', '25 min', '42 days')
    """
    for below, size, name in _TIMES:
        if seconds < below:
            return f"{number_text(seconds / size, 2)} {name}"
    return "not known"


def probability_text(probability: float) -> str:
    """Odds in words; nothing below one in a million is claimed.

    Examples
    --------
    >>> probability_text(2.31e-4), probability_text(1e-40), probability_text(0.25)
    ('about 1 in 4300', 'less than 1 in a million', '25 %')
    """
    if not np.isfinite(probability):
        return "not known"
    if probability < SMALLEST_SHOWN:
        return "less than 1 in a million"
    if probability >= 0.05:
        return "more than 99 %" if probability > 0.99 else f"{100 * probability:.0f} %"
    return f"about 1 in {_two_digits(1 / probability)}"


def odds_beyond(probability: float, decades_beyond: float, informative: bool = True) -> str:
    """Odds in words for a rate that far beyond the tests; a decade out, models alone speak.

    ``informative`` False: the odds come from pulls where creep rupture governs.

    Examples
    --------
    >>> odds_beyond(1e-9, 0.0), odds_beyond(1e-9, 2.0)
    ('less than 1 in a million', 'less than 1 in 1000, by the models alone')
    """
    if not informative:
        return "not informative, creep rupture governs"
    if decades_beyond < 1.0:
        return probability_text(probability)
    if probability < _SMALLEST_UNTESTED:
        return "less than 1 in 1000, by the models alone"
    return f"{probability_text(probability)}, by the models alone"


def change_text(ratio: Quantity) -> str:
    """Ratio as a change in per cent with its interval.

    Examples
    --------
    >>> change_text(Quantity(0.91, 0.88, 0.935))
    '−9 % (−12 to −6)'
    """
    middle, low, high = (100 * (x - 1) for x in (ratio.median, ratio.low, ratio.high))
    digits = 0 if high - low >= 2.0 else 1
    if high - low < 1e-9:
        return f"{_signed(middle, 1)} %"
    down, up = np.floor(low * 10**digits), np.ceil(high * 10**digits)
    ends = f"{_signed(down / 10**digits, digits)} to {_signed(up / 10**digits, digits)}"
    return f"{_signed(middle, digits)} % ({ends})"


def decades_text(decades: float) -> str:
    """How far a rate lies beyond the tested ones."""
    if decades < 0.05:
        return "within the tested rates"
    return f"{decades:.1f} decades beyond the tested rates"


def one_line(text: str) -> str:
    """Text from data made safe for one line of a terminal or a table."""
    return "".join(c if c.isprintable() else "\ufffd" for c in text)


def _signed(value: float, digits: int) -> str:
    text = f"{abs(value):.{digits}f}"
    if float(text) == 0:
        return "0"
    return f"−{text}" if value < 0 else f"+{text}"


def _two_digits(value: float) -> str:
    size = 10 ** max(int(np.floor(np.log10(value))) - 1, 0)
    # rounded down: odds never read better than they are (but for the last digits of a double)
    return str(int(value * (1 + 1e-9) // size) * size)
