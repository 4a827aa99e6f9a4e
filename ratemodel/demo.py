"""Where the invented demonstration campaign lies."""

from __future__ import annotations

from pathlib import Path

from ratemodel.errors import RatemodelError


def demo_folder(name: str = "kite-tether") -> Path:
    """Folder of a demonstration campaign: inside the installed package, or in a checkout.

    Raises
    ------
    RatemodelError
        Neither place has it.
    """
    here = Path(__file__).resolve().parent
    for folder in (here / "_demo" / name, here.parent / "data-demo" / name):
        if (folder / "campaign.toml").is_file():
            return folder
    raise RatemodelError(
        f"the demonstration campaign {name!r} is not installed; reinstall the package"
    )
