"""The [use.*] tables of campaign.toml.

Every quantity may be a number or a distribution and carries its unit in its name. Which names mean
something depends on the kind of use:

===================== ====================== ====================================================
name                  kinds                  meaning
===================== ====================== ====================================================
``mass``              fall, snatch           what loads the line
``fall``              fall                   height fallen until the line is taut
``closing_speed``     snatch                 speed when the line comes taut
``line_length``       all                    unstretched length; also for the length step
``stiffness``         fall, snatch           force per unit strain (EA); for ``line = "power"`` the
                                             force at unit strain; not for ``line = "recorded"``
``exponent``          fall, snatch           of a power law of force against strain; the name
                                             ``stiffness_exponent`` means the same
``line_weight``       fall, snatch           mass per length of the line; times ``line_length`` it
                                             is ``line_mass``, which may be given instead
``damping``           fall, snatch           time constant of Kelvin-Voigt damping, or
``damping_ratio``     fall, snatch           its ratio to critical damping
``slip_force``        fall, snatch           at which an absorber or a running anchor gives way
``run_out``           fall, snatch           length it gives at most; without it, no end
``preload``           fall, snatch           tension in the line when the shock begins
``steady_load``       fall, snatch           further constant force along the motion
``sling_length``,     fall, snatch           a sling in series with the line; it must be no weaker
``sling_stiffness``                          than the line, whose own force is looked at
``second_length``,    fall, snatch           a second line beside the first, in parallel, and how
``second_stiffness``,                        much later it comes taut
``second_slack``
``strain_rate``       rate                   at which the strength is wanted
``load``, ``duration`` steady                constant load and service life
``shocks``            fall, snatch, steady   how many in a life (with a steady load: of cycles)
``temperature``       all                    of the line in service; the name
                                             ``service_temperature`` means the same
===================== ====================== ====================================================

Beside them: ``series``, ``kind``, ``design_factor``, ``target_failure_probability``, ``bound``,
``note``, the table ``factors``, ``line`` = "linear", "power" or "recorded", ``log`` = a file of
logs/ whose loading curve a recorded line takes, and ``gravity`` = true for a vertical snatch, in
which the weight keeps acting (a fall always has it).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import cast, get_args

from ratemodel.records.breaks import LENGTH, RATE, SPEED, TEMPERATURE
from ratemodel.records.distributions import from_table, read_distribution
from ratemodel.records.files import check_inside
from ratemodel.records.names import Stem, expected_names, nearest
from ratemodel.records.tables import Distribution, Factor, Use, UseKind
from ratemodel.records.toml import Node, pure, show, si_number

BOUNDS = ("95/95", "95/75", "90/95", "99/95")
LINES = ("linear", "power", "recorded")
LARGEST_RATIO = 10.0
_TIME = Stem(("time",))
_SHOCK: Mapping[str, Stem] = {
    "mass": Stem(("mass",)),
    "line_length": LENGTH,
    "stiffness": Stem(("force",)),
    "damping": Stem(("time",), low_included=True),
    "damping_ratio": Stem(low_included=True, high=100.0),
    "slip_force": Stem(("force",)),
    "line_weight": Stem(("linear density",), low_included=True),
    "preload": Stem(("force",), low_included=True),
    "exponent": Stem(high=100.0),
    "run_out": Stem(("length",), low_included=True),
    "steady_load": Stem(("force",), low_included=True),
    "line_mass": Stem(("mass",), low_included=True),
    "sling_length": LENGTH,
    "sling_stiffness": Stem(("force",)),
    "second_length": LENGTH,
    "second_stiffness": Stem(("force",)),
    "second_slack": Stem(("length",), low_included=True),
    "shocks": Stem(high=1e12),
    "temperature": TEMPERATURE,
}
_STATIC: Mapping[str, Stem] = {
    "load": Stem(("force",)),
    "duration": _TIME,
    "line_length": LENGTH,
    "stiffness": Stem(("force",)),
    "preload": Stem(("force",), low_included=True),
    "shocks": Stem(high=1e12),
    "temperature": TEMPERATURE,
}
_BY_KIND: Mapping[str, Mapping[str, Stem]] = {
    "fall": {"fall": Stem(("length",), low_included=True), **_SHOCK},
    "snatch": {"closing_speed": SPEED, **_SHOCK},
    "rate": {"strain_rate": RATE, **_STATIC},
    "steady": _STATIC,
}
_ALL: Mapping[str, Stem] = {k: v for stems in _BY_KIND.values() for k, v in stems.items()}
_REQUIRED: Mapping[str, tuple[str, ...]] = {
    "fall": ("mass", "fall", "line_length", "stiffness"),
    "snatch": ("mass", "closing_speed", "line_length", "stiffness"),
    "rate": ("strain_rate",),
    "steady": ("load",),
}
#: Second names of a quantity, and the name under which it is kept.
_ALSO = {"service_temperature": "temperature", "stiffness_exponent": "exponent"}
_PAIRS = (
    ("run_out", "slip_force"),
    ("sling_length", "sling_stiffness"),
    ("sling_stiffness", "sling_length"),
    ("second_length", "second_stiffness"),
    ("second_stiffness", "second_length"),
    ("second_slack", "second_length"),
)
_EITHER = (("damping", "damping_ratio"), ("line_weight", "line_mass"))
_OTHERS = (
    "series",
    "kind",
    "design_factor",
    "target_failure_probability",
    "factors",
    "bound",
    "line",
    "log",
    "gravity",
    "note",
)
_DESIGN_FACTOR = Stem(low=1.0, low_included=True, high=1000.0)
_PROBABILITY = Stem(high=1.0)
_RATIO = Stem(high=LARGEST_RATIO)


def read_use(name: str, node: Node, series: Sequence[str], root: Path) -> Use:
    """One [use.<name>] table.

    Raises
    ------
    InputError
        A key is unknown, missing for the kind, meaningless for it, or its value impossible.
    """
    kind = node.choice("kind", get_args(UseKind), None)
    matches = node.matches({**_ALL, **{k: _ALL[v] for k, v in _ALSO.items()}}, _OTHERS)
    options = _options(node, root, kind)
    quantities: dict[str, Distribution] = {}
    for given, match in matches.items():
        stem = _ALSO.get(given, given)
        if stem not in _BY_KIND[kind]:
            raise node.error(
                match.name,
                f"{stem} has no meaning for kind {kind}",
                f"quantities among {', '.join(_BY_KIND[kind])}",
            )
        if stem in quantities:
            raise node.error(match.name, f"{stem} is given in two ways", "one of the two")
        quantities[stem] = read_distribution(node, match.name, _ALL[stem], match)
    _check_complete(node, kind, quantities, options)
    return Use(
        name=name,
        series=_series(node, series),
        kind=cast(UseKind, kind),
        quantities=quantities,
        design_factor=_number(node, "design_factor", _DESIGN_FACTOR),
        target_failure_probability=_probability(node),
        factors=tuple(_factor(node.child("factors"), key) for key in node.child("factors").values),
        options=options,
    )


def _series(node: Node, series: Sequence[str]) -> str:
    if "series" not in node.values:
        raise node.error("series", "the series is missing", f"one of {', '.join(series)}")
    name = node.text("series")
    if name not in series:
        remedy = nearest(name, series) or f"one of {', '.join(series)}"
        raise node.error("series", f"there is no series {show(name)}", remedy)
    return name


def _check_complete(
    node: Node, kind: str, quantities: Mapping[str, Distribution], options: Mapping[str, object]
) -> None:
    line = options.get("line")
    for stem in _REQUIRED[kind]:
        if stem not in quantities and not (stem == "stiffness" and line == "recorded"):
            raise node.error(stem, f"kind {kind} needs {stem}", expected_names(stem, _ALL[stem]))
    if line == "recorded" and "log" not in options:
        raise node.error("log", 'line "recorded" needs a log', "a file of logs/")
    if line == "power" and "exponent" not in quantities:
        raise node.error("exponent", 'line "power" needs an exponent', "exponent = a number")
    if line in ("linear", "recorded") and "exponent" in quantities:
        raise node.error("exponent", f'an exponent has no meaning for line "{line}"', "none")
    if line == "recorded" and "stiffness" in quantities:
        raise node.error("stiffness", 'line "recorded" takes its stiffness from the log', "none")
    for one, other in _EITHER:
        if one in quantities and other in quantities:
            raise node.error(other, f"{one} is given in two ways", f"{one} or {other}")
    for one, other in _PAIRS:
        if one in quantities and other not in quantities:
            raise node.error(one, f"{one} without {other}", expected_names(other, _ALL[other]))


def _options(node: Node, root: Path, kind: str) -> dict[str, object]:
    options: dict[str, object] = {}
    if "gravity" in node.values:
        if kind != "snatch" or not isinstance(node.values["gravity"], bool):
            raise node.error(
                "gravity",
                f"gravity is {show(node.values['gravity'])} for kind {kind}",
                "true or false, for kind snatch only",
            )
        options["gravity"] = node.values["gravity"]
    for key, choices in (("bound", BOUNDS), ("line", LINES)):
        if key in node.values:
            options[key] = node.choice(key, choices, None)
    for key in ("log", "note"):
        if key in node.values:
            options[key] = node.text(key)
    if "log" in options:
        log = node.text("log")
        wrong = check_inside(root, "logs", log)
        if wrong:
            raise node.error("log", f"{show(log)} is {wrong}", "the plain name of a file in logs/")
    return options


def _number(node: Node, key: str, stem: Stem) -> float | None:
    return node.number(key, stem) if key in node.values else None


def _probability(node: Node) -> float | None:
    key = "target_failure_probability"
    value = _number(node, key, _PROBABILITY)
    if value is not None and value >= 1:
        raise node.error(key, "a probability of 1", "a number between 0 and 1, such as 1e-4")
    return value


def _factor(node: Node, key: str) -> Factor:
    """One strength factor: a bare number is assumed, a table says where it comes from."""
    if not key.strip() or not key.isprintable():
        raise node.error(key, f"{show(key)} is no usable name", "a short printable name")
    value = node.values[key]
    if not isinstance(value, dict):
        fixed = Distribution("fixed", si_number(node, key, value, _RATIO, pure(key)))
        return Factor(key, fixed, "assumed")
    table = Node(node.file, f"{node.path}{key}.", value)
    origin = table.text("origin", "assumed")
    if not origin.strip():
        raise table.error("origin", "the origin is empty", 'as in origin = "assumed"')
    rest = {name: item for name, item in value.items() if name != "origin"}
    return Factor(key, from_table(table, rest, _RATIO, pure(key)), origin)
