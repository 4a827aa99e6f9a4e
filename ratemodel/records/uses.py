"""The [use.*] tables of campaign.toml."""

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
_SERVICE = "service_temperature"
_OTHERS = (
    "series",
    "kind",
    "design_factor",
    "target_failure_probability",
    "factors",
    "bound",
    "line",
    "log",
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
    matches = node.matches({**_ALL, _SERVICE: TEMPERATURE}, _OTHERS)
    options = _options(node, root)
    quantities: dict[str, Distribution] = {}
    for stem, match in matches.items():
        if stem == _SERVICE:
            options[_SERVICE] = read_distribution(node, match.name, TEMPERATURE, match)
        elif stem not in _BY_KIND[kind]:
            raise node.error(
                match.name,
                f"{stem} has no meaning for kind {kind}",
                f"quantities among {', '.join(_BY_KIND[kind])}",
            )
        else:
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
    if "damping" in quantities and "damping_ratio" in quantities:
        raise node.error("damping_ratio", "damping is given in two ways", "one of the two")


def _options(node: Node, root: Path) -> dict[str, object]:
    options: dict[str, object] = {}
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
