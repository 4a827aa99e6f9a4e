"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
import time
from collections.abc import Mapping
from pathlib import Path
from typing import NoReturn

from ratemodel.errors import InputError

#: Names of files not yet in their place.
PREFIX, SUFFIX = ".ratemodel-", ".tmp"
STALE_S = 3600.0


def write_whole(path: str | Path, data: bytes) -> Path:
    """Write a file so that at any moment the old one or the new one stands there, complete.

    Raises
    ------
    InputError
        The folder does not exist or can not be written to.
    """
    target = Path(path)
    _replace(_staged(target, data), target)
    return target


def write_folder(folder: str | Path, files: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write files that are already rendered into a folder, which is created and never emptied.

    All are written beside their places first and then put there in the order given, so that a
    run that is stopped leaves old files, or new ones, and hardly ever some of each. What an
    earlier run that was killed left unfinished is removed.
    """
    out = Path(folder)
    try:
        out.mkdir(parents=True, exist_ok=True)
        _sweep(out)
    except OSError as error:
        raise _unwritable(out, error) from error
    staged: dict[Path, str] = {}
    try:
        for name, data in files.items():
            staged[out / name] = _staged(out / name, data)
        for target, temporary in staged.items():
            _replace(temporary, target)
    except BaseException:
        for temporary in staged.values():
            with contextlib.suppress(OSError):
                os.unlink(temporary)
        raise
    return tuple(staged)


def _staged(target: Path, data: bytes) -> str:
    """Content of a file under a temporary name in its folder."""
    try:
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=PREFIX, suffix=SUFFIX)
    except OSError as error:
        raise _unwritable(target.parent, error) from error
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, 0o666 & ~_umask())
    except BaseException as error:
        _discard(temporary, target, error)
    return temporary


def _replace(temporary: str, target: Path) -> None:
    try:
        os.replace(temporary, target)
    except BaseException as error:
        _discard(temporary, target, error)


def _discard(temporary: str, target: Path, error: BaseException) -> NoReturn:
    """Remove an unfinished file and pass the error on, as one of the user's where it is."""
    with contextlib.suppress(OSError):
        os.unlink(temporary)
    if isinstance(error, OSError):
        raise _unwritable(target, error) from error
    raise error


def _sweep(folder: Path) -> None:
    """Remove what runs that were killed left; another run's files are younger than an hour."""
    for path in folder.glob(f"{PREFIX}*{SUFFIX}"):
        with contextlib.suppress(OSError):
            if time.time() - path.lstat().st_mtime > STALE_S:
                path.unlink()


def _unwritable(path: Path, error: OSError) -> InputError:
    why = error.strerror or type(error).__name__
    return InputError(f"can not write to {path} ({why})", "a folder that may be written to")


def _umask() -> int:
    """Permissions that new files do not get; temporary files start with none for others."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
