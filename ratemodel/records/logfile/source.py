"""What every file format offers: names, a units row, and the numbers of the chosen columns."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError, Problem
from ratemodel.records.logfile.timeaxis import TimeCheck


@dataclass(frozen=True, eq=False)
class Loaded:
    """Numbers of the chosen columns, in the order asked for; NaN where a cell is empty.

    ``clock`` is what the time column said of itself before a long log was thinned.
    """

    arrays: tuple[FloatArray, ...]
    rows: int
    findings: tuple[Problem, ...] = ()
    clock: TimeCheck | None = None


class Source(Protocol):
    """An opened file of any format."""

    @property
    def names(self) -> tuple[str, ...]:
        """Column names as the file writes them."""

    @property
    def units(self) -> tuple[str, ...]:
        """Cells of a units row, empty where there is none."""

    @property
    def sample_interval_s(self) -> float | None:
        """Step of time stored beside the samples, where the format has it."""

    @property
    def sha256(self) -> str:
        """Hash of the bytes of the file, complete once `load` has run."""

    def load(self, indices: tuple[int, ...]) -> Loaded:
        """Numbers of these columns."""


def missing_extra(
    package: str, what: str, extra: str = 'pip install "ratemodel[io]"'
) -> InputError:
    """Return the error for an optional package that is not installed."""
    return InputError(f"{what} needs the package {package}, which is not installed", extra)


def refuse_infinite(array: FloatArray, name: str, file: str, first_row: int) -> None:
    """Raise InputError at the first number beyond what a float can hold."""
    bad = np.isinf(array)
    if bad.any():
        raise InputError(
            "an infinite number",
            "a finite number",
            file=file,
            row=first_row + int(np.argmax(bad)) + 1,
            column=name,
        )


def hash_file(path: Path) -> str:
    """SHA-256 of a file's bytes."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
