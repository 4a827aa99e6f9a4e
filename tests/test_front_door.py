"""`import ratemodel`: few names, and nothing heavy behind them until one is used."""

import subprocess
import sys

import pytest

import ratemodel

NAMES = [
    "Settings",
    "__version__",
    "analyse",
    "best_fit",
    "charts",
    "demo_folder",
    "errors",
    "explain",
    "failure_probability",
    "fit_many",
    "fit_rate",
    "models",
    "next_test",
    "read_campaign",
    "report",
    "translate",
    "working_load_limits",
]
HEAVY = ("numpy", "scipy", "pandas", "lmfit", "matplotlib", "tqdm", "IPython")


def loaded_after(statement: str) -> set[str]:
    """Heavy packages that a fresh interpreter holds after a statement."""
    code = f"import sys\n{statement}\nprint(*sorted({{m.split('.')[0] for m in sys.modules}}))"
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    return set(run.stdout.split()) & set(HEAVY)


def test_the_names_at_the_front_door_are_these():
    assert sorted(ratemodel.__all__) == NAMES
    assert dir(ratemodel) == NAMES


def test_every_name_at_the_front_door_is_there():
    for name in ratemodel.__all__:
        assert getattr(ratemodel, name) is not None


def test_another_name_is_refused():
    with pytest.raises(AttributeError, match="no attribute 'fit_everything'"):
        ratemodel.fit_everything  # noqa: B018


def test_importing_the_package_loads_nothing_heavy():
    assert loaded_after("import ratemodel") == set()


def test_the_help_of_the_command_line_loads_nothing_heavy():
    code = (
        "from ratemodel.cli import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
    )  # fmt: skip
    assert loaded_after(code) == set()


def test_a_fit_draws_no_picture_and_reads_no_table():
    used = loaded_after("import ratemodel\nratemodel.fit_rate")
    assert used == {"numpy", "scipy"}


def test_reading_a_campaign_needs_no_statistics_and_no_pictures():
    used = loaded_after("import ratemodel\nratemodel.read_campaign(ratemodel.demo_folder())")
    assert used == {"numpy"}
