"""The [series.*] and [machine.*] tables of campaign.toml."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import cast, get_args

import numpy as np

from ratemodel.errors import InputError
from ratemodel.records.breaks import (
    COUNT,
    LENGTH,
    PRELOAD,
    RATE,
    SPEED,
    STRAIN,
    BreakTable,
)
from ratemodel.records.breaks import FILE as BREAKS_FILE
from ratemodel.records.distributions import read_distribution
from ratemodel.records.names import Match, Stem, expected_names
from ratemodel.records.rates import AGREEMENT
from ratemodel.records.tables import (
    Distribution,
    Rating,
    Scatter,
    Series,
    Statistic,
    no_specimens,
)
from ratemodel.records.toml import Node
from ratemodel.units import UNITS, Unit

_FRACTION = Stem(("ratio",), low_included=True, high=1.0)
_TEXTS = ("material", "construction", "fibre", "note")
_SERIES: Mapping[str, Stem] = {
    "diameter": LENGTH,
    "batch_sd": _FRACTION,
    "strain_at_break": STRAIN,
    "linear_density": Stem(("linear density",)),
    "length_effect_shape": Stem(),
}
_KEPT_DISTRIBUTIONS = ("strain_at_break", "linear_density", "length_effect_shape")
_RATING: Mapping[str, Stem] = {
    "value": Stem(("force", "stress", "specific strength")),
    "speed": SPEED,
    "free_length": LENGTH,
    "strain_rate": RATE,
    "preload": PRELOAD,
    "preload_cycles": COUNT,
}
_MACHINE: Mapping[str, Stem] = {
    "calibration_sd": _FRACTION,
    "speed_min": SPEED,
    "speed_max": SPEED,
    "force_limit": Stem(("force",)),
    "setup": Stem(("time",), low_included=True),
}
_SPEEDS = ("speed_min", "speed_max")
_MACHINE_NAMES = {
    "calibration_sd": "calibration_sd_fraction",
    "speed_min": "speed_min_m_per_s",
    "speed_max": "speed_max_m_per_s",
    "force_limit": "force_limit_N",
    "setup": "setup_s",
}


@dataclass(frozen=True)
class Declared:
    """What campaign.toml says of a series, before its specimens are known."""

    node: Node
    material: str
    diameter_m: float | None
    batch_sd_fraction: float | None
    scatter: Scatter
    rating: Rating | None
    rating_unit: Match | None
    options: Mapping[str, object] = field(default_factory=dict)

    @property
    def strain_at_break(self) -> float | None:
        """Median of the strain at break declared, None where none is."""
        known = self.options.get("strain_at_break")
        return known.median if isinstance(known, Distribution) else None


def read_series(node: Node) -> Declared:
    """Read one [series.<name>] table."""
    matches = node.matches(_SERIES, (*_TEXTS, "scatter", "rating"))

    def number(stem: str) -> float | None:
        match = matches.get(stem)
        return None if match is None else node.number(match.name, _SERIES[stem], match)

    options: dict[str, object] = {
        stem: read_distribution(node, matches[stem].name, _SERIES[stem], matches[stem])
        for stem in _KEPT_DISTRIBUTIONS
        if stem in matches
    }
    texts = {key: node.text(key) for key in _TEXTS if key in node.values}
    material = texts.pop("material", "")
    scatter = node.choice("scatter", get_args(Scatter), "normal")
    rating, unit = _read_rating(node.child("rating")) if "rating" in node.values else (None, None)
    return Declared(
        node=node,
        material=material,
        diameter_m=number("diameter"),
        batch_sd_fraction=number("batch_sd"),
        scatter=cast(Scatter, scatter),
        rating=rating,
        rating_unit=unit,
        options={**options, **texts},
    )


def without_specimens(name: str, declared: Declared) -> Series:
    """A declared series of which nothing has been tested yet."""
    unit = UNITS["kN"] if declared.rating_unit is None else declared.rating_unit.unit
    return Series(
        name=name,
        used=no_specimens(),
        set_aside=no_specimens(),
        material=declared.material,
        diameter_m=declared.diameter_m,
        batch_sd_fraction=declared.batch_sd_fraction,
        scatter=declared.scatter,
        strength_unit=unit,
        rating=declared.rating,
        options=declared.options,
    )


def with_specimens(name: str, declared: Declared, table: BreakTable | None) -> Series:
    """Join a series' declaration with its specimens.

    Raises
    ------
    InputError
        The series has no specimen that is used, none that broke, or its rating is another kind of
        quantity than its strength.
    """
    if table is None:
        raise InputError(
            f"the series {name} has no specimens",
            f"rows with {name} in column series, or no [series.{name}]",
            file=BREAKS_FILE,
            column="series",
        )
    if not len(table.used):
        raise InputError(
            f"every specimen of the series {name} is excluded",
            "at least one that is used",
            file=BREAKS_FILE,
            row=table.set_aside.row[0],
            column="excluded",
        )
    if not np.any(table.used.broke):
        raise InputError(
            f"no specimen of the series {name} broke",
            "at least one that did; from tests that only held, no strength follows",
            file=BREAKS_FILE,
            row=table.used.row[0],
            column="broke",
        )
    _check_rating_unit(declared, table.strength_unit)
    return Series(
        name=name,
        used=table.used,
        set_aside=table.set_aside,
        material=declared.material,
        diameter_m=declared.diameter_m,
        batch_sd_fraction=declared.batch_sd_fraction,
        scatter=declared.scatter,
        strength_unit=table.strength_unit,
        rating=declared.rating,
        options=declared.options,
    )


def read_machine(node: Node) -> dict[str, object]:
    """One [machine.<name>] table, in SI, with the unit in each name."""
    matches = node.matches(_MACHINE, ("note",))
    values: dict[str, object] = {
        _MACHINE_NAMES[stem]: node.number(match.name, _MACHINE[stem], match)
        for stem, match in matches.items()
    }
    if {"speed_min", "speed_max"} <= set(matches):
        slow, fast = (node.number(matches[s].name, SPEED, matches[s]) for s in _SPEEDS)
        if slow > fast:
            raise node.error(matches["speed_min"].name, "speed_min is above speed_max", "below it")
    if "note" in node.values:
        values["note"] = node.text("note")
    return values


def _read_rating(node: Node) -> tuple[Rating, Match]:
    matches = node.matches(_RATING, ("statistic", "note"))
    node.text("note")
    if "value" not in matches:
        raise node.error(
            "value", "the rating has no value", expected_names("value", _RATING["value"])
        )
    number = {
        stem: node.number(match.name, _RATING[stem], match) for stem, match in matches.items()
    }
    for one, other in (
        ("speed", "free_length"),
        ("free_length", "speed"),
        ("preload", "preload_cycles"),
        ("preload_cycles", "preload"),
    ):
        if one in number and other not in number:
            raise node.error(
                matches[one].name, f"{one} without {other}", expected_names(other, _RATING[other])
            )
    rate = number.get("strain_rate")
    if "speed" in number:
        nominal = number["speed"] / number["free_length"]
        if rate is not None and max(rate, nominal) > AGREEMENT * min(rate, nominal):
            raise node.error(
                matches["strain_rate"].name,
                f"strain_rate and speed disagree: {rate:.4g} and {nominal:.4g} per s",
                "values that agree within 5 %, or one of them only",
            )
        rate = nominal if rate is None else rate
    rating = Rating(
        strength=number["value"],
        statistic=cast(Statistic, node.choice("statistic", get_args(Statistic), "unknown")),
        strain_rate_per_s=rate,
        preload_fraction=number.get("preload"),
        preload_cycles=number.get("preload_cycles"),
    )
    return rating, matches["value"]


def _check_rating_unit(declared: Declared, unit: Unit) -> None:
    match = declared.rating_unit
    if match is not None and match.unit.dimension != unit.dimension:
        raise declared.node.child("rating").error(
            match.name,
            f"the rating is a {match.unit.dimension}, the specimens' strength a {unit.dimension}",
            expected_names("value", Stem((unit.dimension,))),
        )
