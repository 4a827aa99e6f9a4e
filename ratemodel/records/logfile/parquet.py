"""Parquet logs, through whichever Parquet engine pandas finds."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.records.logfile.source import Loaded, hash_file, missing_extra, refuse_infinite


class ParquetSource:
    """Columns of a Parquet file; see `Source`."""

    def __init__(self, path: Path) -> None:
        import pandas as pd

        self.file = path.name
        self.sha256 = hash_file(path)
        self.sample_interval_s: float | None = None
        try:
            self._frame = pd.read_parquet(path)
        except ImportError as error:
            raise missing_extra(
                "pyarrow", "a Parquet file", "pip install pyarrow (some 180 MB), or the log as CSV"
            ) from error
        except Exception as error:  # the engines raise many kinds for a damaged file
            raise InputError(
                f"not readable as Parquet ({error})", "an undamaged file", file=self.file
            ) from error
        self.names = tuple(str(c) for c in self._frame.columns)
        self.units: tuple[str, ...] = ()

    def load(self, indices: tuple[int, ...]) -> Loaded:
        """Numbers of these columns."""
        arrays = tuple(self._column(i) for i in indices)
        return Loaded(arrays, len(self._frame))

    def _column(self, index: int) -> FloatArray:
        column = self._frame.iloc[:, index]
        kind = getattr(column.dtype, "kind", "O")
        if kind not in "fiu":
            raise InputError(
                f"a column of kind {column.dtype}",
                "numbers",
                file=self.file,
                column=self.names[index],
            )
        array = np.asarray(column.to_numpy(dtype=np.float64, na_value=np.nan))
        refuse_infinite(array, self.names[index], self.file, 0)
        return array
