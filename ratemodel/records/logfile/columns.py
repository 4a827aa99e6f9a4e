"""Which column is time, position or force, and in what unit: recognised, told, or an error.

A heading names a column in English or German; it never implies a unit. The unit stands in the
heading (``Force [kN]``, ``Load (lbf)``, ``Kraft / N``, ``force_kN``), in a row of units below it,
or in the mapping. Where two columns could be meant, or no unit is given, the user is asked.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from ratemodel.errors import InputError
from ratemodel.records.logfile.headings import Heading, parse_unit, read_heading
from ratemodel.records.logfile.log import LogMapping
from ratemodel.units import Unit, units_of

Role = Literal["time", "position", "force"]
DIMENSION: dict[Role, str] = {"time": "time", "position": "length", "force": "force"}
_EXAMPLE: dict[Role, str] = {"time": "Time [s]", "position": "Position [mm]", "force": "Force [kN]"}

# Headings of test machine exports (common practice, no source).
_WORDS: dict[Role, frozenset[str]] = {
    "time": frozenset(
        ["time", "zeit", "prüfzeit", "pruefzeit", "testzeit", "messzeit", "laufzeit", "t"]
    ),
    "position": frozenset(
        [
            "position",
            "displacement",
            "extension",
            "elongation",
            "stroke",
            "crosshead",
            "travel",
            "weg",
            "standardweg",
            "traversenweg",
            "kolbenweg",
            "messweg",
            "verlängerung",
            "verlaengerung",
            "hub",
            "verschiebung",
            "traverse",
            "traversenposition",
        ]
    ),
    "force": frozenset(
        [
            "force",
            "load",
            "kraft",
            "standardkraft",
            "prüfkraft",
            "pruefkraft",
            "zugkraft",
            "messkraft",
            "loadcell",
        ]
    ),
}
# Words that turn a heading into another quantity than the sampled one.
_OTHER = frozenset(
    [
        "rate",
        "speed",
        "velocity",
        "max",
        "maximum",
        "min",
        "minimum",
        "peak",
        "setpoint",
        "target",
        "command",
        "soll",
        "sollwert",
        "geschwindigkeit",
        "date",
        "stamp",
        "average",
        "mean",
        "mittelwert",
        "spitze",
        "number",
        "count",
    ]
)
_MASS = {"kg", "g", "lb", "lbs", "t", "LB", "LBS"}


@dataclass(frozen=True)
class Chosen:
    """The column and unit of one role."""

    index: int
    name: str
    unit: Unit


@dataclass(frozen=True)
class Columns:
    """The columns of a log; position may be missing, time may come from a sample rate."""

    time: Chosen | None
    position: Chosen | None
    force: Chosen


def choose_columns(
    names: tuple[str, ...],
    units_row: tuple[str, ...],
    mapping: LogMapping,
    *,
    file: str,
    clocked: bool = False,
) -> Columns:
    """Choose time, position and force; `clocked` logs have a step of time beside the samples.

    Raises
    ------
    InputError
        Where a column is missing, ambiguous or without a unit of its dimension.
    """
    cells = units_row + ("",) * (len(names) - len(units_row))
    headings = tuple(read_heading(n, u) for n, u in zip(names, cells, strict=False))
    force = _choose("force", headings, mapping, file)
    if force is None:
        raise _missing("force", headings, file)
    time = _choose("time", headings, mapping, file)
    if time is None and mapping.sample_rate_Hz is None and not clocked:
        raise _missing("time", headings, file)
    position = _choose("position", headings, mapping, file)
    taken = [c.index for c in (time, position, force) if c is not None]
    if len(set(taken)) < len(taken):
        raise InputError(
            "one column is given two roles", "a column each for time, position and force", file=file
        )
    return Columns(time, position, force)


def _missing(role: Role, headings: tuple[Heading, ...], file: str) -> InputError:
    found = ", ".join(repr(h.name) for h in headings[:8]) or "none"
    more = " or sample_rate_Hz" if role == "time" else ""
    return InputError(
        f"no {role} column among {found}",
        f"a column such as {_EXAMPLE[role]!r}, or {role}_column and {role}_unit{more}"
        " in [logs] of campaign.toml",
        file=file,
        column=role,
    )


def _choose(
    role: Role, headings: tuple[Heading, ...], mapping: LogMapping, file: str
) -> Chosen | None:
    wanted = getattr(mapping, f"{role}_column")
    told = getattr(mapping, f"{role}_unit")
    if wanted is not None:
        index = _find(wanted, headings, role, file)
    else:
        candidates = [i for i, h in enumerate(headings) if _may_be(role, h)]
        contract = [i for i in candidates if _is_contract_name(role, headings[i])]
        candidates = contract if len(contract) == 1 else candidates
        if not candidates:
            return None
        if len(candidates) > 1:
            both = " and ".join(repr(headings[i].name) for i in candidates[:4])
            raise InputError(
                f"{both} may all be the {role}",
                f"{role}_column in [logs] of campaign.toml naming one of them",
                file=file,
                column=role,
            )
        index = candidates[0]
    return Chosen(index, headings[index].name, _unit(role, headings[index], told, file))


def _find(wanted: str | int, headings: tuple[Heading, ...], role: Role, file: str) -> int:
    if isinstance(wanted, int):
        if 1 <= wanted <= len(headings):
            return wanted - 1
        problem = f"{role}_column is {wanted}, the file has {len(headings)} columns"
        raise InputError(problem, f"a number from 1 to {len(headings)}", file=file, column=role)
    hits = [i for i, h in enumerate(headings) if h.name == wanted.strip()]
    if len(hits) == 1:
        return hits[0]
    names = ", ".join(repr(h.name) for h in headings[:8])
    count = "is not there" if not hits else f"is there {len(hits)} times"
    raise InputError(
        f"{role}_column {wanted!r} {count}",
        f"one of {names}, or the number of the column counted from 1",
        file=file,
        column=role,
    )


def _may_be(role: Role, heading: Heading) -> bool:
    words = [w for w in re.split(r"[^a-zäöüß]+", heading.stem.lower()) if w]
    if any(w in _OTHER for w in words) or not any(w in _WORDS[role] for w in words):
        return False
    unit = heading.unit
    # lb, kg and t are masses in the table of units; as a force they get their own message
    return unit is None or unit.dimension in (DIMENSION[role], "mass")


def _is_contract_name(role: Role, heading: Heading) -> bool:
    return heading.unit is not None and heading.name == f"{role}_{heading.unit.symbol}"


def _unit(role: Role, heading: Heading, told: str | None, file: str) -> Unit:
    dimension = DIMENSION[role]
    remedy = (
        f"a unit of {dimension} ({', '.join(units_of(dimension))}) in the heading, such as"
        f" {_EXAMPLE[role]!r}, or {role}_unit in [logs] of campaign.toml"
    )

    def error(problem: str) -> InputError:
        return InputError(problem, remedy, file=file, column=heading.name or role)

    unit = heading.unit
    if told is not None:
        explicit = parse_unit(told)
        if explicit is None or explicit.dimension != dimension:
            raise error(f"{role}_unit {told!r} is no unit of {dimension}")
        if unit is not None and unit != explicit:
            raise error(f"the file says {heading.unit_text!r}, {role}_unit says {told!r}")
        return explicit
    if unit is not None and unit.dimension == dimension:
        return unit
    if heading.unit_text in _MASS or (unit is not None and unit.dimension == "mass"):
        raise error(f"{heading.unit_text!r} is a mass, not a force (write kgf, lbf or tf if meant)")
    if heading.unit_text:
        raise error(f"{heading.unit_text!r} is no unit of {dimension}")
    raise error(f"the unit of {role} is not given")
