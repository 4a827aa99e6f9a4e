"""What a folder may contain: encodings, links, sizes, and text that only looks dangerous."""

from __future__ import annotations

import os

import pytest

from ratemodel.errors import InputError
from ratemodel.records import files as files_module
from ratemodel.records.campaign import read_campaign

TOML = 'name = "t"\n[series.cord]\n'
ROW = "specimen,series,strain_rate_per_s,peak_force_kN,log\nA,cord,1,5,{}\n"
needs_links = pytest.mark.skipif(os.name == "nt", reason="symbolic links need rights on Windows")


@pytest.mark.parametrize("folder", ["absent", "a\0b", "x" * 5000])
def test_no_folder(tmp_path, folder):
    with pytest.raises(InputError, match=r"(is not a folder|…); expected a campaign folder"):
        read_campaign(f"{tmp_path}/{folder}")


@pytest.mark.parametrize("name", ["campaign.toml", "breaks.csv"])
def test_a_required_file_is_absent(write, name):
    folder = write()
    (folder / name).unlink()
    with pytest.raises(InputError, match=f"{name}: there is no {name}; expected"):
        read_campaign(folder)


@pytest.mark.parametrize("name", ["campaign.toml", "breaks.csv"])
def test_a_folder_where_a_file_should_be(write, name):
    folder = write()
    (folder / name).unlink()
    (folder / name).mkdir()
    with pytest.raises(InputError, match=f"{name}: {name} is not a regular file"):
        read_campaign(folder)


@needs_links
def test_a_pipe_is_not_waited_for(write):
    folder = write()
    (folder / "breaks.csv").unlink()
    os.mkfifo(folder / "breaks.csv")
    with pytest.raises(InputError, match="not a regular file"):
        read_campaign(folder)


@needs_links
@pytest.mark.parametrize("name", ["campaign.toml", "breaks.csv", "creep.csv", "logs/b.csv"])
def test_links_out_of_the_folder_are_refused(write, tmp_path, name):
    outside = tmp_path / "outside"
    outside.write_text("secret")
    folder = write()
    (folder / name).unlink(missing_ok=True)
    (folder / name).symlink_to(outside)
    with pytest.raises(InputError, match="a link that leads outside the campaign folder"):
        read_campaign(folder)


@needs_links
@pytest.mark.parametrize("target", ["loop.csv", "nowhere.csv"])
def test_dead_and_circular_links_are_refused(write, target):
    folder = write(TOML, ROW.format("loop.csv"))
    (folder / "logs" / "loop.csv").symlink_to(folder / "logs" / target)
    with pytest.raises(InputError, match=r"row 2, column log: .*cannot be opened"):
        read_campaign(folder)


@needs_links
def test_a_log_folder_outside_is_refused(write, tmp_path):
    folder = write(TOML, ROW.format(""))
    (tmp_path / "elsewhere").mkdir()
    (folder / "creep").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(InputError, match="creep: creep/ is a link that leads outside"):
        read_campaign(folder)


@needs_links
def test_a_log_linked_to_another_part_of_the_folder_is_refused(write):
    folder = write(TOML, ROW.format("b.csv"))
    (folder / "logs" / "b.csv").symlink_to(folder / "breaks.csv")
    with pytest.raises(InputError, match="a link that leads outside logs/"):
        read_campaign(folder)


@needs_links
def test_links_inside_the_folder_are_followed(write, tmp_path):
    folder = write(TOML, ROW.format("b.csv"))
    (folder / "logs" / "b.csv").symlink_to(folder / "logs" / "a1.csv")
    (tmp_path / "way").symlink_to(folder)
    assert read_campaign(tmp_path / "way").sha256 == read_campaign(folder).sha256


def test_logs_may_lie_in_folders(read):
    used = read(TOML, ROW.format("day 1/b.csv"), **{"logs/day 1/b.csv": "x"}).series["cord"].used
    assert used.log == ("day 1/b.csv",)


@pytest.mark.parametrize("cell", ["~/x", "a/../x", "//x", "x" * 600, "a\x07b", ".", "a1.csv/b"])
def test_log_tricks_are_refused(write, cell):
    with pytest.raises(InputError, match=r"breaks\.csv, row 2, column log: "):
        read_campaign(write(TOML, ROW.format(cell)))


@pytest.mark.parametrize(
    ("target", "data", "row", "fragment"),
    [
        ("breaks", "a,b\nA,c\nB,Gerät\n".encode("latin-1"), 3, "byte 0xe4 is not UTF-8"),
        ("breaks", b"a,b\r\nc,d\r\n\xff,e\r\n", 3, "byte 0xff"),
        ("breaks", b"\xff\xfea\x00\n\x00\x00\xd8", 2, "is not UTF-16"),
        ("breaks", b"", None, "the file is empty"),
        ("breaks", b"\n\n  \n", 3, "no rows"),
        ("breaks", b"PK\x03\x04\x00\x00", 1, "a NUL character"),
        ("toml", 'name = "é"\n'.encode("latin-1"), 1, "byte 0xe9 is not UTF-8"),
        ("toml", b"a = 1\n\xc3(", 2, "byte 0xc3"),
    ],
)  # fmt: skip
def test_other_encodings_are_refused_with_the_line(write, target, data, row, fragment):
    with pytest.raises(InputError, match=fragment) as caught:
        read_campaign(write(**{target: data}))
    assert caught.value.row == row


def test_a_table_larger_than_the_limit_is_refused(write, monkeypatch):
    monkeypatch.setattr(files_module.read_bytes, "__defaults__", (1_000_000,))
    with pytest.raises(InputError, match=r"breaks.csv: the file is larger than 1 MB"):
        read_campaign(write(TOML, ROW.format("") + " " * 1_000_000))


def test_a_toml_larger_than_the_limit_is_refused(write):
    with pytest.raises(InputError, match=r"campaign.toml: the file is larger than 1 MB"):
        read_campaign(write(TOML + "#" * 1_000_000, ROW.format("")))


@pytest.mark.parametrize(
    ("rows", "fragment"),
    [
        ("A,cord,1,5,,slipped\n", "row 2, column excluded: every specimen of the series cord"),
        ("A,cord,1,5,no,\nB,cord,1,6,no,\n", "row 2, column broke: no specimen of the series cord"),
        ("A,cord,1,5,no,\nB,cord,1,6,,slip\n", "column broke: no specimen of the series"),
        ("", "row 1: the table has no rows"),
        (",,,,,\n", "row 1: the table has no rows"),
    ],
)  # fmt: skip
def test_a_series_from_which_nothing_follows(write, rows, fragment):
    header = "specimen,series,strain_rate_per_s,peak_force_kN,broke,excluded\n"
    with pytest.raises(InputError, match=fragment):
        read_campaign(write(TOML, header + rows))


def test_a_series_without_specimens(write):
    toml = TOML + "[series.sling]\n"
    with pytest.raises(InputError, match="column series: the series sling has no specimens"):
        read_campaign(write(toml, ROW.format("")))


def test_decimal_comma_and_point_in_one_table_are_refused(write):
    breaks = "specimen;series;strain_rate_per_s;peak_force_kN\nA;cord;0,5;5\nB;cord;1;1.234\n"
    with pytest.raises(InputError, match=r"row 3, column peak_force_kN: '1\.234' has a decimal"):
        read_campaign(write(TOML, breaks))


@pytest.mark.parametrize("mark", ["", "-", "n/a", "NA", "nan", "NaN"])
def test_missing_marks_are_missing_in_numbers(read, mark):
    breaks = (
        "specimen,series,strain_rate_per_s,peak_force_kN,temperature_C\n"
        f"A,cord,1,5,{mark}\nB,cord,1,5,20\n"
    )
    kelvin = read(TOML, breaks).series["cord"].used.temperature_K
    assert kelvin.tolist() == [pytest.approx(float("nan"), nan_ok=True), 293.15]


@pytest.mark.parametrize("word", ["NULL", "None", "?", "--", "inf", "nil", "."])
def test_other_marks_are_no_numbers(write, word):
    breaks = f"specimen,series,strain_rate_per_s,peak_force_kN\nA,cord,1,{word}\n"
    with pytest.raises(InputError, match=r"row 2, column peak_force_kN: .* is not a number"):
        read_campaign(write(TOML, breaks))
