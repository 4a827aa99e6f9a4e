"""TOML tables read key by key: every key known, every value of the kind it must be."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from ratemodel.errors import InputError
from ratemodel.records.files import decode
from ratemodel.records.names import (
    PURE,
    TINY,
    Match,
    Place,
    Stem,
    fault,
    match_name,
    nearest,
    spellings,
)

_DEEPEST = 8
_TEXT_LIMIT = 10_000
_NAME_LIMIT = 200
# The parser's time grows with the cube of the parts of one dotted key.
_LONG_KEY = re.compile(
    r"(?<![A-Za-z0-9_-])(?:(?:[A-Za-z0-9_-]++|\"[^\"\n]*+\"|'[^'\n]*+')[ \t]*+\.[ \t]*+){32}"
)


@dataclass(frozen=True)
class Node:
    """One table of a TOML file, with the dotted path that leads to it."""

    file: str
    path: str
    values: Mapping[str, object]

    def error(self, key: str, problem: str, remedy: str) -> InputError:
        """Error about one key of the table."""
        return Place(self.file, None, self.path).error(key, problem, remedy)

    def child(self, key: str) -> Node:
        """Table under ``key``, empty where there is none."""
        value = self.values.get(key, {})
        if not isinstance(value, dict):
            raise self.error(key, f"{show(value)} is not a table", f"a table [{self.path}{key}]")
        return Node(self.file, f"{self.path}{key}.", value)

    def children(self) -> dict[str, Node]:
        """Every value of the table, each of which must be a table with a usable name."""
        for key in self.values:
            if not key.strip() or key != key.strip() or len(key) > _NAME_LIMIT:
                raise self.error(key, f"{show(key)} is no usable name", "a short printable name")
            if not key.isprintable():
                raise self.error(key, f"{show(key)} is no usable name", "a short printable name")
        return {key: self.child(key) for key in self.values}

    def text(self, key: str, default: str = "") -> str:
        """Text under ``key``."""
        value = self.values.get(key, default)
        if not isinstance(value, str) or len(value) > _TEXT_LIMIT:
            raise self.error(key, f"{show(value)} is not a short text", 'text in quotes, "…"')
        return value

    def choice(self, key: str, choices: tuple[str, ...], default: str | None) -> str:
        """Text under ``key``, which must be one of ``choices``."""
        if key not in self.values and default is not None:
            return default
        value = self.values.get(key)
        if value is None:
            raise self.error(key, f"{key} is missing", f"one of {', '.join(choices)}")
        if not isinstance(value, str) or value not in choices:
            guess = nearest(value, choices) if isinstance(value, str) else None
            remedy = f"one of {', '.join(choices)}" + (f" (perhaps {guess})" if guess else "")
            raise self.error(key, f"{show(value)} is not a known {key}", remedy)
        return value

    def number(self, key: str, stem: Stem, match: Match | None = None) -> float:
        """Give the plain number under ``key``, in SI."""
        return si_number(self, key, self.values[key], stem, match or pure(key))

    def matches(self, stems: Mapping[str, Stem], others: Iterable[str]) -> dict[str, Match]:
        """Match every key to a quantity; the keys in ``others`` are left alone.

        Raises
        ------
        InputError
            A key is unknown, lacks its unit, or gives a quantity a second time.
        """
        found: dict[str, Match] = {}
        known = tuple(others)
        for key in self.values:
            if key in known:
                continue
            match = match_name(key, stems, Place(self.file, None, self.path))
            if match is None:
                guess = nearest(key, [*known, *spellings(stems)])
                remedy = guess or f"one of {', '.join([*known, *stems])}"
                raise self.error(key, f"{show(key)} is not a known key", remedy)
            if match.stem in found:
                raise self.error(
                    key, f"{match.stem} is given twice, also as {found[match.stem].name}", "it once"
                )
            found[match.stem] = match
        return found


def pure(key: str) -> Match:
    """Match of a key whose value is a pure number."""
    return Match(key, key, PURE)


def read_toml(data: bytes, file: str) -> Node:
    """Top table of a TOML file.

    Raises
    ------
    InputError
        The file is no TOML, or nested deeper than any campaign needs.
    """
    text, _ = decode(data, file)
    if long_key := _LONG_KEY.search(text):
        raise InputError(
            "a key of more than 32 parts",
            "short keys",
            file=file,
            row=text.count("\n", 0, long_key.start()) + 1,
        )
    try:
        values = tomllib.loads(text)
    except RecursionError:
        raise InputError("tables nested too deeply", f"at most {_DEEPEST}", file=file) from None
    except ValueError as problem:
        message = str(problem)
        place = re.search(r" \(at line (\d+), column \d+\)$", message)
        raise InputError(
            f"no valid TOML: {message}",
            'keys as in name = "text", numbers with a decimal point, tables as in [series.cord]',
            file=file,
            row=int(place[1]) if place else None,
        ) from None
    return Node(file, "", values)


def si_number(node: Node, key: str, value: object, stem: Stem, match: Match) -> float:
    """Give a plain TOML number in SI, checked against the range of its quantity."""
    si = to_float(node, key, value) * match.unit.factor + match.unit.offset
    if not in_range(si, stem):
        raise node.error(key, f"{show(value)} {fault(si)}", stem.rule(match.unit))
    return si


def in_range(si: float, stem: Stem) -> bool:
    """Whether an SI value is one the quantity can have."""
    if stem.low_included:
        return stem.low <= si <= stem.high
    return max(stem.low, TINY if stem.low == 0 else stem.low) < si <= stem.high


def to_float(node: Node, key: str, value: object) -> float:
    """Finite float of a TOML number; text, yes/no and dates are refused."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise node.error(key, f"{show(value)} is not a number", "a number such as 12.5")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise node.error(key, f"{show(value)} is not a finite number", "a finite number")
    return number


def plain(node: Node, key: str, value: object, depth: int = 0) -> object:
    """Copy of a free value made of finite numbers, texts, yes/no, lists and tables.

    Raises
    ------
    InputError
        Something else stands in it, or it is nested too deeply.
    """
    if depth > _DEEPEST:
        raise node.error(key, "tables nested too deeply", f"at most {_DEEPEST} deep")
    if isinstance(value, dict):
        below = Node(node.file, f"{node.path}{key}.", value)
        return {name: plain(below, name, item, depth + 1) for name, item in value.items()}
    if isinstance(value, list):
        return [plain(node, key, item, depth + 1) for item in value]
    if isinstance(value, bool):
        return value
    if isinstance(value, str):
        if len(value) > _TEXT_LIMIT:
            raise node.error(key, "a very long text", f"at most {_TEXT_LIMIT} characters")
        return value
    number = to_float(node, key, value)
    return value if isinstance(value, int) else number


def show(value: object) -> str:
    """Short text of any value for a message."""
    if isinstance(value, int) and value.bit_length() > 256:
        return "a huge integer"
    if isinstance(value, dict | list):
        return "a table" if isinstance(value, dict) else "a list"
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:60]}…"
