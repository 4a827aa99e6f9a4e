"""A campaign folder to a `Campaign`: the front door of the room."""

from __future__ import annotations

from pathlib import Path

from ratemodel.errors import InputError
from ratemodel.records.breaks import FILE as BREAKS_FILE
from ratemodel.records.breaks import read_breaks
from ratemodel.records.files import TOML_LIMIT, hash_folder, open_folder, read_bytes
from ratemodel.records.series import read_machine, read_series, with_specimens, without_specimens
from ratemodel.records.tables import Campaign
from ratemodel.records.toml import Node, plain, read_toml
from ratemodel.records.uses import read_use

FILE = "campaign.toml"
_FREE = ("priors", "plan", "logs", "screening")
_TOP = ("name", "note", "series", "use", "machine", *_FREE)


def read_campaign(folder: str | Path, *, untested: bool = False) -> Campaign:
    """Read and check a campaign folder.

    Parameters
    ----------
    folder : str or Path
        Folder with ``campaign.toml`` and ``breaks.csv``, optionally ``logs/``, ``creep/``,
        ``creep.csv`` and ``cycling.csv``.
    untested : bool
        Whether a series may have no specimens yet, and the folder no ``breaks.csv``: for planning
        the first tests.

    Returns
    -------
    Campaign
        Series and use cases in SI, with the hash of all input files. Free tables of
        ``campaign.toml`` are in ``options``; ``options["machine"][name]`` is in SI under
        ``calibration_sd_fraction``, ``speed_min_m_per_s``, ``speed_max_m_per_s``,
        ``force_limit_N``, ``setup_s`` and ``note``.

    Raises
    ------
    InputError
        One line: file, row, column, what is wrong, what would be right.
    """
    root = open_folder(folder)
    contents = {FILE: _required(root, FILE, TOML_LIMIT)}
    if not untested or read_bytes(root, BREAKS_FILE) is not None:
        contents[BREAKS_FILE] = _required(root, BREAKS_FILE)
    top = read_toml(contents[FILE], FILE)
    top.matches({}, _TOP)
    name = _name(top)
    options = _options(top)
    declared = {key: read_series(node) for key, node in top.child("series").children().items()}
    if not declared:
        raise top.error("series", "there is no series", "a table [series.<name>] for each product")
    use = {
        key: read_use(key, node, list(declared), root)
        for key, node in top.child("use").children().items()
    }
    strains = {key: one.strain_at_break for key, one in declared.items()}
    tables = read_breaks(contents[BREAKS_FILE], root, strains) if BREAKS_FILE in contents else {}
    series = {
        key: without_specimens(key, one)
        if untested and key not in tables
        else with_specimens(key, one, tables.get(key))
        for key, one in declared.items()
    }
    return Campaign(
        name=name,
        series=series,
        use=use,
        sha256=hash_folder(root, contents),
        folder=str(folder),
        options=options,
    )


def _required(root: Path, name: str, limit: int | None = None) -> bytes:
    data = read_bytes(root, name) if limit is None else read_bytes(root, name, limit)
    if data is None:
        raise InputError(f"there is no {name}", f"{name} in the campaign folder", file=name)
    return data


def _name(top: Node) -> str:
    if "name" not in top.values:
        raise top.error("name", "the campaign has no name", 'name = "…" at the top of the file')
    name = top.text("name").strip()
    if not name:
        raise top.error("name", "the campaign's name is empty", 'as in name = "spring tests"')
    return name


def _options(top: Node) -> dict[str, object]:
    options: dict[str, object] = {}
    if "machine" in top.values:
        machines = top.child("machine").children()
        options["machine"] = {name: read_machine(node) for name, node in machines.items()}
    for key in _FREE:
        if key in top.values:
            options[key] = plain(top, key, top.child(key).values)
    if "note" in top.values:
        options["note"] = top.text("note")
    return options
