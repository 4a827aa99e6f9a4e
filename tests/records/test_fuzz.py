"""Whatever the bytes: a campaign, or one clear line; never another exception."""

from __future__ import annotations

import os

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ratemodel.errors import InputError
from ratemodel.records.campaign import read_campaign
from ratemodel.records.creep import read_creep
from ratemodel.records.cycling import read_cycling

FUZZ = settings(
    max_examples=int(os.environ.get("RATEMODEL_FUZZ_CASES", "200")),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
TOKENS = [
    b"", b",", b",,", b"\n", b"\r", b'"', b'""', b"'", b";", b"\t", b"\0", b"\xff", b"\xc3\xa9",
    b"-", b"-1", b"0", b"1e400", b"1e-400", b"1e308", b"9" * 400, b"nan", b"inf", b"NA", b"None",
    b"=1+1", b"1,5", b"\xe2\x88\x925", b"A1", b"A1#1", b"cord", b"no", b"yes", b"../x", b"a1.csv",
    b"_kN", b"_MPa", b"_mm", b"_per_s", b"_C", b"{", b"}", b"[", b"]", b"[[", b"]]", b"=", b".",
    b"true", b"2024-01-01", b"{ mean = 1, sd = 2 }", b"{ low = 0, high = 1 }", b"#", b"\\", b"$",
    b"\xef\xbb\xbf", b"\xff\xfe", b"\xe2\x80\xae", b"\xe2\x80\xa8", b"\xf0\x9f\xaa\xa2",
]  # fmt: skip
EDITS = st.lists(
    st.tuples(
        st.integers(0, 2000),
        st.integers(0, 12),
        st.one_of(st.sampled_from(TOKENS), st.binary(max_size=6)),
    ),
    min_size=1,
    max_size=4,
)
CREEP = b"file,series,load_kN,free_length_mm,temperature_C,broke\na1.csv,cord,5,500,20,no\n"
CURVE = b"time_h,elongation_mm\n0,0\n1,5\n10,7.5\n"
CYCLING = (
    b"specimen,series,cycle,preload_fraction,peak_force_kN,residual_elongation_percent\n"
    b"P1,cord,0,,11,\nP2,cord,1,0.5,,0.8\n"
)


def _edited(data: bytes, edits: list[tuple[int, int, bytes]]) -> bytes:
    for place, length, token in edits:
        at = place % (len(data) + 1)
        data = data[:at] + token + data[at + length :]
    return data


def _holds(folder) -> None:
    """Read; what comes out is sound, or one printable line that names a remedy."""
    refusal = ""
    try:
        campaign = read_campaign(folder)
        read_creep(folder, campaign)
        read_cycling(folder, campaign)
    except InputError as error:
        refusal = str(error)
    if refusal:
        assert refusal.isprintable()
        assert "; expected " in refusal
        return
    for series in campaign.series.values():
        used = series.used
        assert used.broke.any()
        for values in (used.strength, used.strain_rate_per_s):
            assert np.isfinite(values).all()
            assert (values > 0).all()
            assert len(values) == len(used.specimen) == len(set(used.specimen))


@FUZZ
@given(data=st.binary(max_size=200))
def test_any_bytes_as_break_table(write, data):
    _holds(write(breaks=data))


@FUZZ
@given(data=st.binary(max_size=200))
def test_any_bytes_as_campaign_toml(write, data):
    _holds(write(toml=data))


@FUZZ
@given(edits=EDITS)
def test_spoilt_break_tables(write, edits):
    sound = (write() / "breaks.csv").read_bytes()
    _holds(write(breaks=_edited(sound, edits)))


@FUZZ
@given(edits=EDITS)
def test_spoilt_campaign_tomls(write, edits):
    sound = (write() / "campaign.toml").read_bytes()
    _holds(write(toml=_edited(sound, edits)))


@FUZZ
@given(edits=EDITS, spoilt=st.sampled_from(["creep.csv", "creep/a1.csv", "cycling.csv"]))
def test_spoilt_time_tables(write, edits, spoilt):
    sound = {"creep.csv": CREEP, "creep/a1.csv": CURVE, "cycling.csv": CYCLING}
    sound[spoilt] = _edited(sound[spoilt], edits)
    _holds(write(**sound))


@FUZZ
@given(text=st.text(max_size=60), key=st.text(max_size=12), number=st.integers() | st.floats())
def test_any_text_key_and_number_in_their_places(write, text, key, number):
    quoted = '"' + "".join(c if c.isalnum() else f"\\U{ord(c):08x}" for c in text) + '"'
    name = '"' + "".join(c if c.isalnum() else f"\\U{ord(c):08x}" for c in key) + '"'
    toml = (
        f"name = {quoted}\n[series.cord]\n{name} = {number!r}\n[machine.{name}]\n"
        f'[use.{name}]\nseries = "cord"\nkind = "rate"\nstrain_rate_per_s = {number!r}\n'
    )
    cell = '"' + text.replace('"', '""') + '"'
    breaks = (
        f"specimen,series,strain_rate_per_s,peak_force_kN,extra\n{cell},cord,{number!r},5,{cell}\n"
    )
    clean = breaks.encode("utf-8", "replace")
    _holds(write(toml.encode("utf-8", "replace"), clean))
    _holds(write('name = "t"\n[series.cord]\n', clean))
