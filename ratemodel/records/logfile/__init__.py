"""Machine logs as labs have them: delimited text, XLSX, TDMS, Parquet, to one frozen record."""

from __future__ import annotations

from ratemodel.records.logfile.log import LogMapping, MachineLog
from ratemodel.records.logfile.read import read_log

__all__ = ["LogMapping", "MachineLog", "read_log"]
