"""Numbers and names as text, made in one place for repr, HTML, report and file names.

Limits round down, intervals round outward, and text that came from a file is made harmless for
the place where it is shown: a spreadsheet cell, a page, a chart label, a file name.
"""

from __future__ import annotations

import hashlib
import html
import math
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Context, Decimal

CAUTION = (
    "An estimate, not a certificate: not a substitute for the manufacturer's instructions, local "
    "codes and a competent person; life-safety use needs certified equipment."
)
CAUTIONS: tuple[str, ...] = (
    "This is not a substitute for the manufacturer's instructions, local codes and a competent "
    "person.",
    "Life-safety use needs certified equipment.",
    "The numbers hold for new specimens of the series tested, terminated and conditioned as they "
    "were; wear, knots, edges, wet, heat, sunlight and age reduce strength further.",
    "An answer beyond the tested rates rests on the models, not on tests.",
)
UNKNOWN = "not known"
# Wide enough for every finite double written out in full.
_EXACT = Context(prec=1200)
_FORMULA_STARTS = frozenset("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")
_DEVICE = re.compile(r"(?i)(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?")
_SLUG_LENGTH = 60


def cautions(specimens: int) -> tuple[str, ...]:
    """Texts that stand beside every strength and load, with the number of specimens named.

    Examples
    --------
    >>> cautions(12)[-1]
    'The result is an estimate from 12 specimens.'
    """
    noun = "specimen" if specimens == 1 else "specimens"
    return (*CAUTIONS, f"The result is an estimate from {specimens} {noun}.")


def quantity_text(median: float, lo: float, hi: float, unit: str) -> str:
    """Value with its interval, as ``"11.2 kN (10.4 to 12.1)"``.

    The last digit shown is the second significant digit of the interval's width, so the
    half-width shows one or two. The ends round outward: the shown interval holds the interval.

    Parameters
    ----------
    median, lo, hi : float
        Value and the ends of its interval, in ``unit``.
    unit : str
        Text of the unit; empty for a pure number.

    Examples
    --------
    >>> quantity_text(11.23, 10.41, 12.06, "kN")
    '11.2 kN (10.4 to 12.1)'
    >>> quantity_text(123456.0, 120000.0, 127000.0, "N")
    '123500 N (120000 to 127000)'
    """
    tail = f" {unit}" if unit else ""
    if not math.isfinite(median):
        return UNKNOWN
    if not (math.isfinite(lo) and math.isfinite(hi)):
        return f"{_significant(median, 3)}{tail} (interval {UNKNOWN})"
    width = Decimal(repr(hi)) - Decimal(repr(lo))
    if width <= 0:
        return f"{_significant(median, 4)}{tail}"
    step = width.adjusted() - 1
    shown = _text_at(median, step, ROUND_HALF_EVEN)
    return (
        f"{shown}{tail} ({_text_at(lo, step, ROUND_FLOOR)} to {_text_at(hi, step, ROUND_CEILING)})"
    )


def round_down(value: float, digits: int = 3) -> float:
    """Largest number of ``digits`` significant digits that does not exceed ``value``.

    Examples
    --------
    >>> round_down(2.3999)
    2.39
    >>> round_down(-2.391)
    -2.4
    """
    if not math.isfinite(value) or value == 0:
        return value
    return float(_floor(value, digits))


def limit_text(value: float, unit: str, digits: int = 3) -> str:
    """Lower limit as text, rounded down; never reads as more than ``value``.

    Examples
    --------
    >>> limit_text(2.3999, "kN")
    '2.39 kN'
    """
    if not math.isfinite(value):
        return UNKNOWN
    number = "0" if value == 0 else _plain(_floor(value, digits))
    return f"{number} {unit}" if unit else number


def number_text(value: float, digits: int = 3) -> str:
    """Give a number with ``digits`` significant digits, plain where that stays readable.

    Examples
    --------
    >>> number_text(0.012345), number_text(2345678.0), number_text(3.2e-9)
    ('0.0123', '2350000', '3.2e-9')
    """
    return UNKNOWN if not math.isfinite(value) else _significant(value, digits)


def neutralise(cell: str) -> str:
    """Text cell that no spreadsheet takes for a formula.

    Examples
    --------
    >>> neutralise("=1+1"), neutralise("spool 4")
    ("'=1+1", 'spool 4')
    """
    start = cell.lstrip(" \u00a0")[:1]
    return f"'{cell}" if start in _FORMULA_STARTS and start else cell


def html_escape(text: str) -> str:
    """Text safe in HTML, between tags and inside a quoted attribute."""
    return html.escape(_printable(text), quote=True)


def mathtext_escape(text: str) -> str:
    r"""Text that a chart label shows as it stands: ``$`` starts no formula.

    Backslashes are shown as they are once no formula is left, so only ``$`` is escaped.

    Examples
    --------
    >>> print(mathtext_escape("5 $ cord"))
    5 \$ cord
    """
    return _printable(text).replace("$", r"\$")


def slug(name: str) -> str:
    """File name part for a name: ASCII, never empty, no path tricks.

    A name of plain letters, digits, ``.``, ``_`` and ``-`` comes back unchanged. Any other is
    reduced to those, with eight digits of its hash, so different names stay different.

    Examples
    --------
    >>> slug("tether-3mm")
    'tether-3mm'
    >>> slug("../Gerät 1").startswith("Gerat-1-")
    True
    """
    decomposed = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode("ascii")
    plain = re.sub(r"[^A-Za-z0-9._-]+", "-", decomposed)
    plain = re.sub(r"([._-])[._-]+", r"\1", plain).strip("._-")
    if plain and plain == name and len(plain) <= _SLUG_LENGTH and not _DEVICE.fullmatch(plain):
        return plain
    return f"{plain[:_SLUG_LENGTH].rstrip('._-') or 'unnamed'}-{_digest(name)}"


def slugs(names: Iterable[str]) -> dict[str, str]:
    """File name part of each name, different also where a file system ignores case.

    Examples
    --------
    >>> sorted(len(part) for part in slugs(["Tether", "tether", "sling"]).values())
    [5, 15, 15]
    """
    parts = {name: slug(name) for name in names}
    shared = Counter(part.lower() for part in parts.values())
    return {
        name: part if shared[part.lower()] == 1 else f"{part}-{_digest(name)}"
        for name, part in parts.items()
    }


def _digest(name: str) -> str:
    return hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:8]


def _printable(text: str) -> str:
    """Text without control characters, which neither a page nor a font can show."""
    return "".join(c if c.isprintable() or c in " \n\t" else "\ufffd" for c in text)


def _floor(value: float, digits: int) -> Decimal:
    # The shortest decimal of a double reads back as that double, and reading is monotone: what
    # is rounded down in decimal is therefore never above the value.
    exact = Decimal(repr(float(value)))
    step = Decimal((0, (1,), exact.adjusted() - max(digits, 1) + 1))
    return exact.quantize(step, rounding=ROUND_FLOOR, context=_EXACT)


def _text_at(value: float, step: int, rounding: str) -> str:
    exact = Decimal(repr(float(value)))
    rounded = exact.quantize(Decimal((0, (1,), step)), rounding=rounding, context=_EXACT)
    return _plain(rounded, keep_zeros=True)


def _significant(value: float, digits: int) -> str:
    if value == 0:
        return "0"
    exact = Decimal(repr(float(value)))
    step = Decimal((0, (1,), exact.adjusted() - digits + 1))
    return _plain(exact.quantize(step, rounding=ROUND_HALF_EVEN, context=_EXACT))


def _plain(number: Decimal, *, keep_zeros: bool = False) -> str:
    if number == 0 and not keep_zeros:
        return "0"
    if number != 0 and not -6 <= number.adjusted() <= 9:
        return f"{number if keep_zeros else number.normalize(_EXACT):e}"
    text = f"{number:f}"
    if not keep_zeros and "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
