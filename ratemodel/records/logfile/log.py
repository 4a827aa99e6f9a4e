"""What a log is once read, and what a user may say about how to read it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError, Problem


@dataclass(frozen=True, eq=False)
class MachineLog:
    """One machine log: SI inside, in the order of the file.

    Attributes
    ----------
    name : str
        File name without its folder.
    time_s, force_N : ndarray, shape (n,)
        Time and force as recorded.
    position_m : ndarray of shape (n,) or None
        Crosshead or piston position; None where the log has none.
    columns : tuple of str
        Names of the columns used, as the file writes them: time, position, force (``""`` where
        there is none).
    raw_columns : tuple of str
        All column names of the file.
    sha256 : str
        Hash of the bytes of the file.
    sample_interval_s : float
        Median step of time in the file.
    rows : int
        Samples in the file; more than ``len(time_s)`` where the log was thinned or rows were
        left out, which `findings` then says.
    findings : tuple of Problem
        What was noticed while reading.
    """

    name: str
    time_s: FloatArray
    position_m: FloatArray | None
    force_N: FloatArray
    columns: tuple[str, str, str]
    raw_columns: tuple[str, ...]
    sha256: str
    sample_interval_s: float
    rows: int
    findings: tuple[Problem, ...] = ()

    def __len__(self) -> int:
        return len(self.time_s)


@dataclass(frozen=True)
class LogMapping:
    """What the ``[logs]`` table of campaign.toml says about reading; None is "find out".

    A column is given by its name in the file or by its number, counted from 1. A unit is a symbol
    such as ``"kN"`` (`ratemodel.units`). ``sample_rate_Hz`` stands in for a time column.

    Examples
    --------
    >>> LogMapping.from_table({"force_column": "Kanal 3", "force_unit": "kN"}).force_unit
    'kN'
    """

    time_column: str | int | None = None
    time_unit: str | None = None
    position_column: str | int | None = None
    position_unit: str | None = None
    force_column: str | int | None = None
    force_unit: str | None = None
    delimiter: str | None = None
    decimal: str | None = None
    skip_rows: int | None = None
    encoding: str | None = None
    sheet: str | None = None
    sample_rate_Hz: float | None = None

    @classmethod
    def from_table(
        cls,
        table: Mapping[str, object],
        *,
        file: str = "campaign.toml",
        ignore: frozenset[str] = frozenset(),
    ) -> LogMapping:
        """Build from a TOML table; keys in `ignore` belong to somebody else.

        Raises
        ------
        InputError
            For an unknown key or a value of the wrong kind.
        """
        known = {f.name: str(f.type) for f in fields(cls)}
        given: dict[str, object] = {}
        for key, value in table.items():
            if key in ignore:
                continue
            if key not in known:
                raise InputError(
                    f"unknown key {key!r}",
                    f"one of {', '.join(known)}",
                    file=file,
                    column=f"logs.{key}",
                )
            given[key] = _checked(key, value, known[key], file)
        mapping = cls(**given)  # type: ignore[arg-type]
        mapping.check(file=file)
        return mapping

    def check(self, *, file: str | None = None) -> None:
        """Raise InputError where a value can not mean anything."""
        rules: tuple[tuple[str, bool, str], ...] = (
            ("decimal", self.decimal in (None, ".", ","), '"." or ","'),
            ("delimiter", self.delimiter is None or len(self.delimiter) == 1, "one character"),
            ("skip_rows", (self.skip_rows or 0) >= 0, "a whole number from 0 up"),
            (
                "encoding",
                self.encoding is None or _is_encoding(self.encoding),
                "an encoding such as utf-8",
            ),
            (
                "sample_rate_Hz",
                self.sample_rate_Hz is None or 0 < self.sample_rate_Hz < 1e12,
                "a rate above 0",
            ),
            (
                "decimal",
                self.decimal is None or self.decimal != self.delimiter,
                "another mark than the delimiter",
            ),
        )
        for name, holds, remedy in rules:
            if not holds:
                value = getattr(self, name)
                raise InputError(f"{name} is {value!r}", remedy, file=file, column=f"logs.{name}")


def _checked(key: str, value: object, kind: str, file: str) -> object:
    """Return the value if it is of the kind that the field's annotation names."""
    if isinstance(value, bool):
        good = False
    elif "float" in kind:
        good = isinstance(value, int | float)
    else:
        good = ("int" in kind and isinstance(value, int)) or (
            "str" in kind and isinstance(value, str)
        )
    if not good:
        what = (
            "a number" if "str" not in kind else "text" + (" or a number" if "int" in kind else "")
        )
        raise InputError(f"{key} is {value!r}", what, file=file, column=f"logs.{key}")
    return value


def _is_encoding(name: str) -> bool:
    import codecs

    try:
        return codecs.lookup(name)._is_text_encoding
    except LookupError:
        return False
