"""Names with a unit to SI and back.

A column or key carries its unit as a suffix (``peak_force_kN``). Inside the package every
quantity is in SI (N, m, s, K, Pa, N/tex) and its name says so; conversion happens here, at the
border, and nowhere else.

Sources of the factors: the international pound-force 4.4482216152605 N, kilogram-force
9.80665 N and inch 25.4 mm are exact by definition (BIPM, The International System of Units;
NIST SP 811, appendix B).
"""

from __future__ import annotations

from dataclasses import dataclass

from ratemodel.errors import InputError

STANDARD_GRAVITY = 9.80665  # m/s2, exact (CGPM 1901)


@dataclass(frozen=True)
class Unit:
    """One unit: ``SI value = value * factor + offset``."""

    symbol: str
    dimension: str
    factor: float
    offset: float = 0.0

    def to_si(self, value: float) -> float:
        """Value in SI."""
        return value * self.factor + self.offset

    def from_si(self, value: float) -> float:
        """SI value in this unit."""
        return (value - self.offset) / self.factor


_LBF = 4.4482216152605
_IN = 0.0254
_FT = 0.3048
_LB = 0.45359237
_TABLE: tuple[Unit, ...] = (
    Unit("N", "force", 1.0),
    Unit("kN", "force", 1e3),
    Unit("daN", "force", 10.0),
    Unit("MN", "force", 1e6),
    Unit("lbf", "force", _LBF),
    Unit("kip", "force", 1e3 * _LBF),
    Unit("kgf", "force", STANDARD_GRAVITY),
    Unit("gf", "force", STANDARD_GRAVITY / 1e3),
    Unit("tf", "force", STANDARD_GRAVITY * 1e3),
    Unit("um", "length", 1e-6),
    Unit("mm", "length", 1e-3),
    Unit("cm", "length", 1e-2),
    Unit("m", "length", 1.0),
    Unit("in", "length", _IN),
    Unit("ft", "length", _FT),
    Unit("ms", "time", 1e-3),
    Unit("s", "time", 1.0),
    Unit("min", "time", 60.0),
    Unit("h", "time", 3600.0),
    Unit("d", "time", 86400.0),
    Unit("year", "time", 365.25 * 86400.0),
    Unit("mm_per_s", "speed", 1e-3),
    Unit("mm_per_min", "speed", 1e-3 / 60.0),
    Unit("cm_per_min", "speed", 1e-2 / 60.0),
    Unit("m_per_min", "speed", 1.0 / 60.0),
    Unit("m_per_s", "speed", 1.0),
    Unit("in_per_min", "speed", _IN / 60.0),
    Unit("in_per_s", "speed", _IN),
    Unit("ft_per_s", "speed", _FT),
    Unit("ft_per_min", "speed", _FT / 60.0),
    Unit("km_per_h", "speed", 1.0 / 3.6),
    Unit("per_s", "rate", 1.0),
    Unit("per_min", "rate", 1.0 / 60.0),
    Unit("per_h", "rate", 1.0 / 3600.0),
    Unit("percent_per_s", "rate", 1e-2),
    Unit("percent_per_min", "rate", 1e-2 / 60.0),
    Unit("K", "temperature", 1.0),
    Unit("C", "temperature", 1.0, 273.15),
    Unit("F", "temperature", 5.0 / 9.0, 273.15 - 32.0 * 5.0 / 9.0),
    Unit("g", "mass", 1e-3),
    Unit("kg", "mass", 1.0),
    Unit("lb", "mass", _LB),
    Unit("t", "mass", 1e3),
    Unit("Pa", "stress", 1.0),
    Unit("kPa", "stress", 1e3),
    Unit("MPa", "stress", 1e6),
    Unit("GPa", "stress", 1e9),
    Unit("psi", "stress", _LBF / _IN**2),
    Unit("ksi", "stress", 1e3 * _LBF / _IN**2),
    Unit("N_per_tex", "specific strength", 1.0),
    Unit("cN_per_tex", "specific strength", 1e-2),
    Unit("cN_per_dtex", "specific strength", 1e-1),
    Unit("gf_per_den", "specific strength", STANDARD_GRAVITY / 1e3 * 9.0),
    Unit("fraction", "ratio", 1.0),
    Unit("percent", "ratio", 1e-2),
    Unit("J", "energy", 1.0),
    Unit("kJ", "energy", 1e3),
    Unit("mJ", "energy", 1e-3),
    Unit("g_per_m", "linear density", 1e-3),
    Unit("kg_per_m", "linear density", 1.0),
    Unit("tex", "linear density", 1e-6),
    Unit("ktex", "linear density", 1e-3),
    Unit("N_per_m", "stiffness", 1.0),
    Unit("N_per_mm", "stiffness", 1e3),
    Unit("kN_per_mm", "stiffness", 1e6),
    Unit("kN_per_m", "stiffness", 1e3),
    Unit("Hz", "frequency", 1.0),
    Unit("kHz", "frequency", 1e3),
)
UNITS: dict[str, Unit] = {unit.symbol: unit for unit in _TABLE}


def split_name(name: str) -> tuple[str, Unit | None]:
    """Split ``"peak_force_kN"`` into ``("peak_force", kN)``.

    The longest unit suffix wins (``_mm_per_min`` before ``_min``). A name without a known
    suffix comes back whole with None.

    Examples
    --------
    >>> split_name("speed_mm_per_min")[0], split_name("speed_mm_per_min")[1].symbol
    ('speed', 'mm_per_min')
    >>> split_name("specimen")
    ('specimen', None)
    """
    parts = name.split("_")
    for start in range(1, len(parts)):
        unit = UNITS.get("_".join(parts[start:]))
        if unit is not None:
            return "_".join(parts[:start]), unit
    return name, None


def units_of(dimension: str) -> list[str]:
    """Symbols of all units of one dimension, for messages."""
    return [unit.symbol for unit in _TABLE if unit.dimension == dimension]


@dataclass(frozen=True)
class Units:
    """Units in which a reader wants to see results; computation and results.json stay as they are.

    Strengths that are no forces (GPa, cN/tex) are shown in the unit of their series.

    Examples
    --------
    >>> Units.parse("lbf, in/min").force.symbol
    'lbf'
    """

    force: Unit = UNITS["kN"]
    speed: Unit = UNITS["mm_per_min"]
    length: Unit = UNITS["m"]
    mass: Unit = UNITS["kg"]

    @classmethod
    def parse(cls, text: str) -> Units:
        """Units from their symbols, as ``"lbf,in/min"``; what is not named stays in SI.

        Raises
        ------
        InputError
            A symbol is not known, measures something else, or comes twice for one dimension.
        """
        chosen: dict[str, Unit] = {}
        for part in (p.strip() for p in text.split(",")):
            unit = UNITS.get(part.replace("/", "_per_"))
            if unit is None or unit.dimension not in _SHOWN or unit.dimension in chosen:
                known = "; ".join(f"{d}: {', '.join(map(shown_symbol, units_of(d)))}"
                                  for d in _SHOWN)  # fmt: skip
                raise InputError(f"units {text!r}: {part!r}", f"at most one of each of {known}")
            chosen[unit.dimension] = unit
        return cls(**chosen)

    def strength(self, own: Unit) -> Unit:
        """Unit in which a strength of a series is shown that is given in ``own``."""
        return self.force if own.dimension == "force" else own


_SHOWN = ("force", "speed", "length", "mass")


def shown_symbol(symbol: str) -> str:
    """Symbol of a unit as printed.

    Examples
    --------
    >>> shown_symbol("mm_per_min")
    'mm/min'
    """
    return symbol.replace("_per_", "/")
