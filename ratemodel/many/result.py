"""The table of a large run, what failed in it, and how it is written."""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from ratemodel.errors import InputError
from ratemodel.inference.average import Settings
from ratemodel.many.work import FailureKind
from ratemodel.words import CAUTION, cautions, html_escape, neutralise
from ratemodel.writing import write_whole

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class ManyFailure:
    """A series without rows.

    ``kind``: "input", the series can not be fitted; "bug", a fault of the program; "lost", its
    worker died and it was not done.
    """

    name: str
    message: str
    kind: FailureKind = "input"


@dataclass(frozen=True, repr=False)
class ManyResult:
    """Strength of every series at every rate asked for.

    Attributes
    ----------
    table : pandas.DataFrame
        One row per series and rate, in the order given. ``median``, ``mean_low`` to ``mean_high``
        (interval of the mean), ``specimen_low`` to ``specimen_high`` (interval of one specimen)
        and ``lower_bound`` are in ``unit``; ``odds_<model>`` are model probabilities; ``problems``
        holds the codes of the findings; ``caution`` stands beside every strength.
    failures : tuple of ManyFailure
        Series that gave no row.
    resumed : int
        Series taken from the checkpoint.
    """

    table: pd.DataFrame
    failures: tuple[ManyFailure, ...]
    seed: int
    rates: tuple[float, ...]
    settings: Settings
    resumed: int = 0
    cautions: tuple[str, ...] = field(default_factory=lambda: cautions(0)[:-1])

    def __repr__(self) -> str:
        return f"<ManyResult: {self._summary()}>"

    def __str__(self) -> str:
        lines = [self._summary(), *(f"  {f.name}: {f.message}" for f in self.failures[:20])]
        if len(self.failures) > 20:
            lines.append(f"  and {len(self.failures) - 20} more")
        return "\n".join([*lines, CAUTION])

    def _repr_html_(self) -> str:
        # pandas escapes what it shows; names of failures are escaped here
        shown = self.table.drop(columns="caution", errors="ignore").to_html(
            max_rows=20, index=False
        )
        failed = "".join(f"<li>{html_escape(f'{f.name}: {f.message}')}</li>"
                         for f in self.failures[:20])  # fmt: skip
        return (
            f"<p>{html_escape(self._summary())}</p>{shown}<ul>{failed}</ul>"
            f"<p><strong>{html_escape(CAUTION)}</strong></p>"
        )

    def _summary(self) -> str:
        done = self.table["series"].nunique() if len(self.table) else 0
        text = f"{done} series at {len(self.rates)} rates"
        return f"{text}, {len(self.failures)} failed" if self.failures else text

    def to_csv(self, path: str | Path) -> Path:
        """Write the table as CSV, whole or not at all.

        Text that a spreadsheet would take for a formula is preceded by an apostrophe.
        """
        safe = self.table.copy()
        for name in safe.columns:
            if not _numeric(safe[name]):
                safe[name] = [neutralise(str(cell)) for cell in safe[name]]
        text = safe.to_csv(index=False, lineterminator="\n")
        return write_whole(path, text.encode("utf-8", "replace"))

    def to_parquet(self, path: str | Path) -> Path:
        """Write the table as Parquet, whole or not at all.

        Raises
        ------
        InputError
            No Parquet engine is installed.
        """
        buffer = io.BytesIO()
        try:
            self.table.to_parquet(buffer, index=False)
        except ImportError as error:
            raise InputError(
                "a Parquet file needs the package pyarrow, which is not installed",
                "pip install pyarrow (some 180 MB), or to_csv",
            ) from error
        return write_whole(path, buffer.getvalue())


def _numeric(column: pd.Series) -> bool:
    return getattr(column.dtype, "kind", "O") in "fiub"
