"""Exceptions, warnings and findings: one tree, every message with its way out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


class RatemodelError(Exception):
    """Base of every error that the package raises on purpose."""


class InputError(RatemodelError):
    """Something read from a file or given by the user is wrong.

    Parameters
    ----------
    problem : str
        What is wrong, naming the value.
    remedy : str
        What would be right.
    file : str, optional
        Name of the file.
    row : int, optional
        Line of the file, counted from 1 with the header as line 1.
    column : str, optional
        Column, or dotted key in a TOML file.

    Examples
    --------
    >>> print(InputError("speed is -5", "a speed above 0", file="breaks.csv", row=3,
    ...                  column="speed_mm_per_min"))
    breaks.csv, row 3, column speed_mm_per_min: speed is -5; expected a speed above 0
    """

    def __init__(
        self,
        problem: str,
        remedy: str,
        *,
        file: str | None = None,
        row: int | None = None,
        column: str | None = None,
    ) -> None:
        self.problem = _one_line(problem)
        self.remedy = _one_line(remedy)
        self.file = file
        self.row = row
        self.column = column
        place = [] if file is None else [_one_line(file)]
        if row is not None:
            place.append(f"row {row}")
        if column is not None:
            place.append(f"column {_one_line(column)}")
        where = ", ".join(place)
        text = f"{self.problem}; expected {self.remedy}"
        super().__init__(f"{where}: {text}" if where else text)


class ConvergenceError(RatemodelError):
    """A fit did not reach an answer that may be used; the message is a checklist."""


class NotIdentifiedError(RatemodelError):
    """The data cannot carry what was asked of them."""


class RatemodelWarning(UserWarning):
    """Base of the package's warnings; each is also stored on the result as a `Problem`."""


class ExtrapolationWarning(RatemodelWarning):
    """The answer lies beyond the tested rates."""


class FitWarning(RatemodelWarning):
    """A fit is usable only with the caution named."""


@dataclass(frozen=True)
class Problem:
    """A named fact that limits how far a result may be trusted.

    Attributes
    ----------
    code : str
        Stable short name, for programs (``"machine-and-rate-confounded"``).
    message : str
        One sentence for people: the value, the rule and the way out.
    severity : {"note", "caution", "serious"}
        How much it matters.
    """

    code: str
    message: str
    severity: Literal["note", "caution", "serious"] = "caution"


def _one_line(text: str, limit: int = 400) -> str:
    """Text made safe for one line of a terminal: no control characters, bounded."""
    clean = "".join(c if c.isprintable() else "�" for c in text)
    return clean if len(clean) <= limit else clean[: limit - 1] + "…"
