"""Cycling and creep tables of a campaign; one that cannot be read is a finding."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.errors import InputError, Problem, RatemodelError
from ratemodel.records.creep import read_creep
from ratemodel.records.cycling import read_cycling
from ratemodel.records.tables import Campaign
from ratemodel.records.time_tables import Creep, Cycling

#: What a fit may raise on data that cannot carry it.
UNFIT = (RatemodelError, np.linalg.LinAlgError)


@dataclass(frozen=True)
class TimeTables:
    """Tables of a campaign beside its breaks.

    Attributes
    ----------
    cycling : Cycling or None
        cycling.csv; None where there is none or it cannot be read.
    creep : Creep or None
        creep.csv with its curves; None likewise.
    cycling_problems, creep_problems : tuple of Problem
        Why a table that is there cannot be read.
    """

    cycling: Cycling | None = None
    creep: Creep | None = None
    cycling_problems: tuple[Problem, ...] = ()
    creep_problems: tuple[Problem, ...] = ()


def read_time_tables(campaign: Campaign) -> TimeTables:
    """Both tables of a campaign that was read from a folder."""
    if not campaign.folder:
        return TimeTables()
    cycling, creep = None, None
    no_cycling: tuple[Problem, ...] = ()
    no_creep: tuple[Problem, ...] = ()
    try:
        cycling = read_cycling(campaign.folder, campaign)
    except InputError as error:
        text = f"Preload cycling was left out, its table cannot be read: {error}"
        no_cycling = (Problem("cycling-not-read", text, "serious"),)
    try:
        creep = read_creep(campaign.folder, campaign)
    except InputError as error:
        text = f"Creep was left out of everything, its tables cannot be read: {error}"
        no_creep = (Problem("creep-not-read", text, "serious"),)
    return TimeTables(cycling, creep, no_cycling, no_creep)
