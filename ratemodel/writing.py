"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from ratemodel.errors import InputError


def write_whole(path: str | Path, data: bytes) -> Path:
    """Write a file so that at any moment the old one or the new one stands there, complete.

    Raises
    ------
    InputError
        The folder does not exist or can not be written to.
    """
    target = Path(path)
    try:
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=".ratemodel-", suffix=".tmp")
    except OSError as error:
        raise _unwritable(target.parent, error) from error
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, 0o666 & ~_umask())
        os.replace(temporary, target)
    except BaseException as error:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        if isinstance(error, OSError):
            raise _unwritable(target, error) from error
        raise
    return target


def write_folder(folder: str | Path, files: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write files that are already rendered into a folder, which is created and never emptied."""
    out = Path(folder)
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _unwritable(out, error) from error
    return tuple(write_whole(out / name, data) for name, data in files.items())


def _unwritable(path: Path, error: OSError) -> InputError:
    why = error.strerror or type(error).__name__
    return InputError(f"can not write to {path} ({why})", "a folder that may be written to")


def _umask() -> int:
    """Permissions that new files do not get; temporary files start with none for others."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
