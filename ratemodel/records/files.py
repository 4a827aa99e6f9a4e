"""Opening what a user gives: regular files inside the campaign folder, of bounded size."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Iterator, Mapping
from pathlib import Path

from ratemodel.errors import InputError

TOML_LIMIT = 1_000_000
TABLE_LIMIT = 200_000_000
FILE_COUNT_LIMIT = 20_000
_CHUNK = 1 << 20


def open_folder(folder: str | Path) -> Path:
    """Campaign folder with symbolic links in its own path resolved.

    Raises
    ------
    InputError
        There is no such folder.
    """
    try:
        root = Path(folder).resolve()
        if root.is_dir():
            return root
    except (OSError, ValueError, RuntimeError):
        pass
    raise InputError(
        f"{str(folder)!r} is not a folder", "a campaign folder with campaign.toml and breaks.csv"
    )


def find(root: Path, name: str) -> Path | None:
    """Path of the file ``name`` under ``root``, or None where there is none.

    Raises
    ------
    InputError
        It is no regular file, or a symbolic link leads outside the folder.
    """
    try:
        path = root / name
        if not path.is_symlink() and not path.exists():
            return None
        real = path.resolve(strict=True)
        regular = stat.S_ISREG(real.stat().st_mode)
    except (OSError, ValueError, RuntimeError):
        raise InputError(f"{name} cannot be opened", "a readable file", file=name) from None
    if not real.is_relative_to(root):
        raise InputError(
            f"{name} is a link that leads outside the campaign folder",
            "a file inside the folder",
            file=name,
        )
    if not regular:
        raise InputError(f"{name} is not a regular file", "a file", file=name)
    return real


def read_bytes(root: Path, name: str, limit: int = TABLE_LIMIT) -> bytes | None:
    """Bytes of the file ``name`` under ``root``, or None where there is none.

    Raises
    ------
    InputError
        The file cannot be read, leads outside the folder, or is larger than ``limit``.
    """
    path = find(root, name)
    if path is None:
        return None
    try:
        with path.open("rb") as stream:
            data = stream.read(limit + 1)
    except OSError:
        raise InputError(f"{name} cannot be read", "a readable file", file=name) from None
    if len(data) > limit:
        raise InputError(
            f"the file is larger than {limit // 1_000_000} MB",
            f"at most {limit // 1_000_000} MB",
            file=name,
        )
    return data


def decode(data: bytes, file: str) -> tuple[str, str]:
    """Text of a file and the encoding it was in: UTF-8, or UTF-16 with its mark.

    Raises
    ------
    InputError
        The bytes are in another encoding, or are no text.
    """
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as problem:
        before = data[: problem.start]
        raise InputError(
            f"byte 0x{data[problem.start]:02x} is not {encoding.removesuffix('-sig').upper()} text",
            "text saved as UTF-8 (or UTF-16 with its mark)",
            file=file,
            row=1 + len(_line_ends(before.decode(encoding, "replace"))),
        ) from None
    if "\0" in text:
        raise InputError(
            "a NUL character, as in a binary file",
            "text saved as UTF-8",
            file=file,
            row=1 + len(_line_ends(text[: text.index("\0")])),
        )
    return text, encoding


def check_inside(root: Path, folder: str, cell: str) -> str | None:
    """Say what is wrong with ``cell`` as the name of a file in ``root/folder``; None if nothing."""
    if len(cell) > 500 or not cell.isprintable():
        return "not a file name"
    if "\\" in cell:
        return "a backslash in a file name"
    if cell.startswith(("/", "~")) or ":" in cell:
        return "an absolute path"
    if any(part in ("", ".", "..") for part in cell.split("/")):
        return "a path that may leave the folder"
    try:
        path = find(root, f"{folder}/{cell}")
    except InputError as problem:
        return problem.problem
    if path is None:
        return f"no such file in {folder}/"
    if not path.is_relative_to(root / folder):
        return f"a link that leads outside {folder}/"
    return None


def hash_folder(root: Path, contents: Mapping[str, bytes]) -> str:
    """SHA-256 over name, size and bytes of every input file, in the order of their names.

    Parameters
    ----------
    root : Path
        Campaign folder.
    contents : mapping
        Files already read, so that the hash is of the bytes that were used.
    """
    names = {*contents, *(n for n in ("creep.csv", "cycling.csv") if find(root, n))}
    for folder in ("logs", "creep"):
        names.update(_files_in(root, folder))
    digest = hashlib.sha256()
    for name in sorted(names):
        if name in contents:
            _add(digest, name, len(contents[name]), iter((contents[name],)))
            continue
        path = find(root, name)
        if path is None:
            raise InputError(f"{name} vanished while it was read", "a file that stays", file=name)
        try:
            _add(digest, name, path.stat().st_size, _chunks(path))
        except OSError:
            raise InputError(f"{name} cannot be read", "a readable file", file=name) from None
    return digest.hexdigest()


def _add(digest: hashlib._Hash, name: str, size: int, parts: Iterator[bytes]) -> None:
    digest.update(f"{name}\0{size}\0".encode("utf-8", "surrogateescape"))
    for part in parts:
        digest.update(part)


def _chunks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as stream:
        while chunk := stream.read(_CHUNK):
            yield chunk


def _files_in(root: Path, folder: str) -> list[str]:
    top = root / folder
    if not top.is_dir():
        return []
    if not top.resolve().is_relative_to(root):
        raise InputError(
            f"{folder}/ is a link that leads outside the campaign folder",
            "a folder inside the campaign folder",
            file=folder,
        )
    names: list[str] = []
    for place, folders, files in os.walk(top):
        folders[:] = [name for name in folders if not name.startswith(".")]
        # Hidden files are the desktop's, not the lab's: they must not change the hash.
        names.extend(
            (Path(place) / name).relative_to(root).as_posix()
            for name in files
            if not name.startswith(".")
        )
        if len(names) > FILE_COUNT_LIMIT:
            raise InputError(
                f"more than {FILE_COUNT_LIMIT} files in {folder}/",
                f"at most {FILE_COUNT_LIMIT}",
                file=folder,
            )
    return names


def _line_ends(text: str) -> str:
    return "".join(c for c in text.replace("\r\n", "\n") if c in "\r\n")
