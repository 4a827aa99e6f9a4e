"""What preload cycling and constant loads do to a line: their part of an analysis.

The fits are those of `inference`; here they are run for one series of a campaign, and what cannot
be fitted becomes a finding instead of stopping the analysis.
"""

from ratemodel.endurance.creep import CreepRate, CreepResult, StrainForecast, creep_result
from ratemodel.endurance.preload import CycledReading, PreloadResult, ProtocolEffect, preload_result
from ratemodel.endurance.time_tables import TimeTables, read_time_tables

__all__ = [
    "CreepRate",
    "CreepResult",
    "CycledReading",
    "PreloadResult",
    "ProtocolEffect",
    "StrainForecast",
    "TimeTables",
    "creep_result",
    "preload_result",
    "read_time_tables",
]
