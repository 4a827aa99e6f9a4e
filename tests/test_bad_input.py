"""Bad input at the command line: exit 2, one line, nothing written, for every kind there is.

What each reader refuses is tested beside it (``tests/records``); here the whole command is run.
"""

import os
import zipfile

import pytest

from ratemodel.cli import main

TOML = 'name = "c"\n[series.cord]\n'
HEAD = "specimen,series,speed_mm_per_min,free_length_mm,peak_force_kN,broke,log\n"
ROWS = "a,cord,20,500,11.9,yes,\nb,cord,20,500,12.1,yes,\nc,cord,3000,500,11.0,yes,\n"
SOUND = HEAD + ROWS

#: name: (campaign.toml, breaks.csv, words of the message)
CASES = {
    "no file at all": (None, None, "campaign.toml"),
    "no break table": (TOML, None, "breaks.csv"),
    "no specimens": (TOML, HEAD, "breaks.csv"),
    "empty files": ("", "", "campaign.toml"),
    "none broke": (TOML, SOUND.replace("yes", "no"), "no specimen of the series cord broke"),
    "all excluded": (
        TOML, HEAD.replace("log", "excluded") + ROWS.replace("yes,", "yes,slipped"), "cord",
    ),
    "negative force": (TOML, SOUND.replace("11.9", "-11.9"), "peak_force_kN: -11.9 is out of"),
    "zero length": (TOML, SOUND.replace("20,500,11.9", "20,0,11.9"), "row 2, column free_length"),
    "not a number": (TOML, SOUND.replace("11.9", "nan"), "peak_force_kN"),
    "infinite": (TOML, SOUND.replace("11.9", "inf"), "'inf' is not a number"),
    "huge integer": (TOML, SOUND.replace("11.9", "9" * 5000), "peak_force_kN"),
    "huge integer in TOML": (
        TOML + "diameter_mm = " + "9" * 5000 + "\n", SOUND, "campaign.toml",
    ),
    "formula": (TOML, SOUND.replace("11.9", "=cmd|' /C calc'!A0"), "is not a number"),
    "text for a number": (TOML, SOUND.replace("11.9", "strong"), "'strong' is not a number"),
    "wrong unit": (TOML, SOUND.replace("force_kN", "force_mm"), "'mm' is not a unit of peak_force"),
    "no unit": (TOML, SOUND.replace("force_kN", "force"), "no unit"),
    "column twice": (TOML, SOUND.replace("broke", "specimen"), "stands twice"),
    "specimen twice": (TOML, SOUND.replace("b,cord", "a,cord"), "a stands twice"),
    "unknown series": (TOML, SOUND.replace("b,cord", "b,rope"), "[series.rope]"),
    "log outside": (TOML, SOUND.replace("11.9,yes,", "11.9,yes,../../etc/passwd"), "column log"),
    "log absolute": (TOML, SOUND.replace("11.9,yes,", "11.9,yes,/etc/passwd"), "absolute path"),
    "strange letters": (TOML, SOUND.replace("11.9", "١١٫٩"), "is not a number"),
    "bidirectional mark": (TOML, SOUND.replace("11.9", "11\u202e.9"), "is not a number"),
    "NUL": (TOML, SOUND.replace("cord", "co\0rd", 1), "NUL"),
    "not text": (TOML, b"\xff\xd8\xff\xe0 a picture", "breaks.csv"),
    "not TOML": ("name: c\n", SOUND, "campaign.toml"),
    "use of no series": (TOML + '[use.x]\nkind = "fall"\n', SOUND, "use.x"),
    "impossible use": (
        TOML + '[use.x]\nseries = "cord"\nkind = "fall"\nmass_kg = -80\nfall_m = 1\n'
        "line_length_m = 10\nstiffness_kN = 60\n", SOUND, "mass_kg: -80 is out of range",
    ),
    "unknown prior": (
        TOML + "[priors]\nsteepness = { mean = 0, sd = 1 }\n", SOUND, "'steepness' is not known",
    ),
    "no weight left": (
        TOML + "[priors.model_weights]\n" + "".join(f"{m} = 0\n" for m in (
            "constant", "power-law", "semi-log", "hinge", "plateau", "competing", "kinetic",
            "quadratic")), SOUND, "all model weights are zero",
    ),
}  # fmt: skip


def folder_of(tmp_path, toml, breaks):
    folder = tmp_path / "campaign"
    folder.mkdir()
    for name, content in (("campaign.toml", toml), ("breaks.csv", breaks)):
        if content is not None:
            data = content if isinstance(content, bytes) else content.encode()
            (folder / name).write_bytes(data)
    return folder


def refused(tmp_path, capsys, folder, *more):
    out = tmp_path / "out"
    code = main(["analyse", str(folder), "--out", str(out), "--draws", "1000", *more])
    shown = capsys.readouterr()
    assert code == 2, shown.err
    assert shown.out == ""
    (line,) = shown.err.splitlines()
    assert line.isprintable()
    assert line.startswith("ratemodel: ")
    assert "; expected " in line or "; " in line
    assert not out.exists()
    return line


@pytest.mark.parametrize("name", CASES)
def test_bad_campaigns_are_refused_in_one_line(name, tmp_path, capsys):
    toml, breaks, says = CASES[name]
    line = refused(tmp_path, capsys, folder_of(tmp_path, toml, breaks))
    assert says in line


def test_a_missing_folder_and_a_file_in_its_place(tmp_path, capsys):
    assert "nowhere" in refused(tmp_path, capsys, tmp_path / "nowhere")
    (tmp_path / "file").write_text("x")
    assert "file" in refused(tmp_path, capsys, tmp_path / "file")


@pytest.mark.skipif(not hasattr(os, "symlink"), reason="no symbolic links")
def test_a_break_table_that_is_a_link_out_of_the_folder(tmp_path, capsys):
    folder = folder_of(tmp_path, TOML, None)
    (tmp_path / "elsewhere.csv").write_text(SOUND)
    (folder / "breaks.csv").symlink_to(tmp_path / "elsewhere.csv")
    assert "breaks.csv" in refused(tmp_path, capsys, folder)


def test_an_archive_bomb_among_the_logs(tmp_path, capsys):
    bomb = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b"0" * 300_000_000)
    code = main(["reduce", str(bomb), "--out", str(tmp_path / "out.csv")])
    (line,) = capsys.readouterr().err.splitlines()
    assert code == 2
    assert "bomb.xlsx" in line
    assert not (tmp_path / "out.csv").exists()


@pytest.mark.parametrize(
    ("option", "value"),
    [("--rate", "0"), ("--rate", "nan"), ("--rate", "1e9"), ("--seed", "-1"), ("--seed", "x"),
     ("--draws", "10"), ("--draws", "1e9"), ("--level", "1"), ("--bound", "95"),
     ("--bound", "100/95")],
)  # fmt: skip
def test_wrong_options_are_refused(option, value, tmp_path, capsys):
    folder = folder_of(tmp_path, TOML, SOUND)
    out = tmp_path / "out"
    with pytest.raises(SystemExit, match="2"):
        main(["analyse", str(folder), "--out", str(out), option, value])
    shown = capsys.readouterr()
    (line,) = shown.err.splitlines()
    assert option in line
    assert not out.exists()


def test_a_file_in_the_place_of_the_output_folder(tmp_path, capsys):
    folder = folder_of(tmp_path, TOML, SOUND)
    (tmp_path / "taken").write_text("x")
    code = main(["analyse", str(folder), "--out", str(tmp_path / "taken"), "--draws", "1000"])
    (line,) = capsys.readouterr().err.splitlines()
    assert code == 2
    assert "is no folder" in line
    assert (tmp_path / "taken").read_text() == "x"


def test_one_speed_and_one_specimen_are_answered_with_findings(tmp_path, capsys):
    """Little data is not bad input: the answer says what it rests on."""
    one = HEAD + "a,cord,20,500,11.9,yes,\n"
    folder = folder_of(tmp_path, TOML, one)
    out = tmp_path / "out"
    assert main(["analyse", str(folder), "--out", str(out), "--draws", "1000"]) == 0
    results = (out / "results.json").read_text()
    assert "one strain rate" in results or "one-speed" in results


def test_markup_in_names_is_escaped_in_the_report(tmp_path, capsys):
    name = "<script>alert(1)</script>"
    toml = f'name = "{name}"\n[series."{name}"]\nmaterial = "<b>x</b>"\n'
    folder = folder_of(tmp_path, toml, SOUND.replace("cord", f'"{name}"'))
    out = tmp_path / "out"
    assert main(["analyse", str(folder), "--out", str(out), "--draws", "1000"]) == 0
    page = (out / "report.html").read_text()
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)" in page
    assert all("<" not in p.name for p in out.iterdir())
