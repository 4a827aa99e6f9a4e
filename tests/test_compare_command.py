import json

import numpy as np
import pytest

from ratemodel.cli import build_parser
from ratemodel.compare_command import run
from ratemodel.errors import InputError
from ratemodel.words import cautions

TOML = """
name = "two tethers"
[series.old]
material = "HMPE"
[series.old.rating]
value_kN = 9.0
statistic = "average"
strain_rate_per_s = 0.01
[series.new]
material = "HMPE"
"""


@pytest.fixture
def campaign(tmp_path):
    folder = tmp_path / "campaign"
    folder.mkdir()
    (folder / "campaign.toml").write_text(TOML)
    rng = np.random.default_rng(1)
    lines = ["specimen,series,machine,strain_rate_per_s,peak_force_kN,broke"]
    for name, mean in (("old", 10.0), ("new", 13.0)):
        force = mean * np.exp(0.02 * rng.standard_normal(5))
        lines += [f"{name}{i},{name},frame,0.01,{f:.4f},yes" for i, f in enumerate(force)]
    (folder / "breaks.csv").write_text("\n".join(lines) + "\n")
    return folder


def parse(*words):
    return build_parser().parse_args(["compare", *(str(w) for w in words)])


def strict(path):
    def refuse(text):
        raise ValueError(text)

    return json.loads(path.read_text("utf-8"), parse_constant=refuse)


def test_answers_stand_in_file_and_text_with_the_cautions(campaign, tmp_path, capsys):
    out = tmp_path / "deep" / "out"
    args = parse(campaign, "--series", "old", "--series", "new", "--claim", "+20%", "--rate",
                 "0.01", "--out", out, "--seed", 3)  # fmt: skip
    assert run(args) == 0
    tree, text = strict(out / "compare.json"), capsys.readouterr().out
    point = tree["rates"][0]
    assert point["ratio"]["interval"][0] < 1.3 < point["ratio"]["interval"][1]
    assert point["claim_probability"] > 0.99
    assert point["claim_verdict"] == "shown"
    assert point["strength"][1]["unit"] == "kN"
    assert point["strength"][1]["median"] == pytest.approx(13.0, rel=0.03)
    assert tree["claim"]["words"] == "new is at least 20 % stronger than old"
    assert tree["ratings"][0]["verdict"] == "shown"
    for caution in cautions(10):
        assert caution in text
        assert caution in tree["cautions"]
    first = (out / "compare.json").read_bytes()
    run(args)
    assert (out / "compare.json").read_bytes() == first


def test_without_a_folder_only_text_comes(campaign, capsys):
    assert run(parse(campaign, "--series", "old", "--series", "new", "--claim=-5%")) == 0
    assert "new is at most 5 % weaker than old" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--series", "old"], "two different series"),
        (["--series", "old", "--series", "old"], "two different series"),
        (["--series", "old", "--series", "x"], "the campaign has no series 'x'"),
        (["--series", "old", "--series", "new", "--claim", "20"], "can not be read"),
        (["--series", "old", "--series", "new", "--rate", "nan"], "--rate nan; expected a strain"),
        (["--series", "old", "--series", "new", "--margin", "5"], "margin '5'"),
        (["--series", "old", "--series", "new", "--seed", "-1"], "--seed -1"),
    ],
)
def test_wrong_input_writes_nothing(campaign, tmp_path, words, message):
    out = tmp_path / "out"
    words = [w if w != "-1" else "-1" for w in words]
    if "--seed" in words:
        words = [*words[:-2], "--seed=-1"]
    with pytest.raises(InputError, match=message):
        run(parse(campaign, *words, "--out", out))
    assert not out.exists()


def test_a_file_in_place_of_the_folder_is_refused(campaign):
    with pytest.raises(InputError, match="is no folder"):
        run(parse(campaign, "--series", "old", "--series", "new", "--out",
                  campaign / "breaks.csv"))  # fmt: skip
