"""A small sound campaign (invented numbers) and the way to spoil it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from ratemodel.errors import InputError
from ratemodel.records.campaign import read_campaign
from ratemodel.records.tables import Campaign

TOML = """\
name = "spring tests"
[series.cord]
material = "HMPE"
diameter_mm = 3.0
batch_sd_fraction = 0.02
[series.cord.rating]
value_kN = 11.8
statistic = "average"
speed_mm_per_min = 20
free_length_mm = 500
preload_fraction = 0.5
preload_cycles = 10
[machine.frame]
calibration_sd_fraction = 0.01
speed_min_mm_per_min = 0.5
speed_max_mm_per_min = 500
force_limit_kN = 25
setup_min = 20
[plan]
specimens = 12
[use.drop]
series = "cord"
kind = "fall"
mass_kg = { mean = 80, sd = 8 }
fall_m = { low = 0.5, high = 2 }
line_length_m = 10
stiffness_kN = { median = 60, factor = 1.1 }
temperature_C = { mean = 15, sd = 5 }
design_factor = 5
target_failure_probability = 1e-4
bound = "95/95"
[use.drop.factors]
termination = { mean = 0.90, sd = 0.03, origin = "published" }
wear = 0.95
"""
BREAKS = """\
specimen,series,batch,machine,speed_mm_per_min,free_length_mm,peak_force_kN,broke,\
preload_fraction,preload_cycles,temperature_C,strands_intact,excluded,log,note
A1,cord,S1,frame,20,500,11.9,yes,0.5,3,21.5,0,,a1.csv,first
A2,cord,S1,frame,20,500,12.3,yes,,,21.5,1,,,
A3,cord,S2,drop rig,30000,400,10.8,no,,,,,,,stopped
A4,cord,S2,drop rig,30000,400,11.1,yes,,,,,slipped in the grip,,
"""
LOG = "time_s,position_mm,force_kN\n0,0,0\n1,5,11.9\n"

Write = Callable[..., Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Write a campaign folder: the sound one, with files replaced or added."""

    def write(toml: str | bytes = TOML, breaks: str | bytes = BREAKS, **files: str | bytes) -> Path:
        folder = tmp_path / "campaign"
        contents = {"campaign.toml": toml, "breaks.csv": breaks, "logs/a1.csv": LOG, **files}
        for name, content in contents.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            data = content.encode("utf-8") if isinstance(content, str) else content
            path.write_bytes(data)
        return folder

    return write


@pytest.fixture
def read(write: Write) -> Callable[..., Campaign]:
    """Read a campaign written by `write`."""
    return lambda *args, **files: read_campaign(write(*args, **files))


@pytest.fixture
def spoil(write: Write) -> Callable[..., InputError]:
    """Replace text in one file of the sound campaign; return the error its reading gives."""

    def spoil(target: str, old: str, new: str) -> InputError:
        sound = {"campaign.toml": TOML, "breaks.csv": BREAKS}
        assert old in sound[target], "the case does not fit the sound campaign"
        sound[target] = sound[target].replace(old, new)
        folder = write(sound["campaign.toml"], sound["breaks.csv"])
        with pytest.raises(InputError, match="expected ") as caught:
            read_campaign(folder)
        return caught.value

    return spoil
