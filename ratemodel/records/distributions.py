"""A TOML value as a number or as what is known of it: normal, uniform, lognormal."""

from __future__ import annotations

from collections.abc import Mapping

from ratemodel.records.names import Match, Stem, nearest
from ratemodel.records.tables import Distribution
from ratemodel.records.toml import Node, in_range, show, si_number, to_float

LARGEST_FACTOR = 1000.0
_FORMS = "a number, {mean, sd}, {low, high} or {median, factor}"
_KEYS = ("mean", "sd", "low", "high", "median", "factor", "value")


def read_distribution(node: Node, key: str, stem: Stem, match: Match) -> Distribution:
    """Value under ``key`` as a distribution in SI.

    A bare number is fixed; ``{mean, sd}`` is normal, ``{low, high}`` uniform, ``{median, factor}``
    lognormal, ``{value}`` fixed. The key's unit holds for mean, sd, low, high, median and value.

    Raises
    ------
    InputError
        The value has no such form, or its support leaves the range of the quantity: for a normal
        distribution, mean or mean - 3 sd does.
    """
    value = node.values[key]
    if not isinstance(value, dict):
        return Distribution("fixed", si_number(node, key, value, stem, match))
    table = Node(node.file, f"{node.path}{key}.", value)
    return from_table(table, value, stem, match)


def from_table(node: Node, value: Mapping[str, object], stem: Stem, match: Match) -> Distribution:
    """Distribution written as a table; ``node`` is the table itself, for messages."""
    for name in value:
        if name not in _KEYS:
            raise node.error(
                name, f"{show(name)} is not a known key", nearest(name, _KEYS) or _FORMS
            )
    given = set(value)
    if given == {"value"}:
        return Distribution("fixed", si_number(node, "value", value["value"], stem, match))
    if given == {"mean", "sd"}:
        return _normal(node, value, stem, match)
    if given == {"low", "high"}:
        low = si_number(node, "low", value["low"], stem, match)
        high = si_number(node, "high", value["high"], stem, match)
        if low > high:
            raise node.error(
                "low",
                f"low {show(value['low'])} is above high {show(value['high'])}",
                "low at most high",
            )
        return Distribution("uniform", low, high)
    if given == {"median", "factor"}:
        return _lognormal(node, value, stem, match)
    raise node.error(
        "", f"{', '.join(sorted(given)) or 'an empty table'} is no distribution", _FORMS
    )


def _normal(node: Node, value: Mapping[str, object], stem: Stem, match: Match) -> Distribution:
    mean = si_number(node, "mean", value["mean"], stem, match)
    sd = to_float(node, "sd", value["sd"]) * match.unit.factor
    if sd < 0:
        raise node.error("sd", f"sd {show(value['sd'])} is negative", "an sd of 0 or more")
    for end in (mean - 3 * sd, mean + 3 * sd):
        if not in_range(end, stem):
            raise node.error(
                "sd",
                f"mean {show(value['mean'])} with sd {show(value['sd'])} allows impossible values",
                f"{stem.rule(match.unit)} within 3 sd of the mean, or {{median, factor}} or "
                "{low, high} instead",
            )
    return Distribution("normal", mean, sd)


def _lognormal(node: Node, value: Mapping[str, object], stem: Stem, match: Match) -> Distribution:
    if match.unit.offset:
        raise node.error(
            "factor",
            f"a factor has no meaning in degrees {match.unit.symbol}",
            "{mean, sd} or {low, high}",
        )
    median = si_number(node, "median", value["median"], stem, match)
    factor = to_float(node, "factor", value["factor"])
    if not 1 <= factor <= LARGEST_FACTOR:
        raise node.error(
            "factor",
            f"factor {show(value['factor'])} is out of range",
            f"a multiplicative standard deviation from 1 to {LARGEST_FACTOR:g}",
        )
    return Distribution("lognormal", median, factor)
