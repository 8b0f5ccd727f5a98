"""What a study keeps on disk, so that nothing is measured twice and a killed run goes on."""

from __future__ import annotations

import hashlib
import io
import json
import time
import zipfile
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...atomic import atomic_write
from ...check import versions_used
from ...errors import FileError

FORMAT = 3
"""Raised when what is kept changes; older content is then measured anew."""

_ABANDONED_S = 3600.0
"""A temporary file of this age belongs to a run that was killed."""

Arrays = Mapping[str, NDArray[Any]]


class Kept:
    """A folder of results under the checksum of all that they depend on.

    Every entry is one file, written whole or not at all: a record (JSON) and arrays. An entry
    that cannot be read counts as not there, and is made again.

    Parameters
    ----------
    folder : str or pathlib.Path
        Made if it is not there.

    Raises
    ------
    FileError
        The folder cannot be made.
    """

    def __init__(self, folder: str | Path) -> None:
        self.folder = Path(folder)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as problem:
            raise FileError(
                f"The folder cannot be made: {problem.strerror}.",
                subject=self.folder,
                remedy="Choose another folder for the results.",
            ) from problem

    def path(self, key: str) -> Path:
        """Return where an entry lies."""
        return self.folder / f"{key}.npz"

    def save(self, key: str, record: Mapping[str, Any], arrays: Arrays) -> None:
        """Keep an entry.

        Parameters
        ----------
        key : str
        record : mapping
            What JSON can hold; NaN and infinity are allowed.
        arrays : mapping of str to array
            Not of objects.
        """
        buffer = io.BytesIO()
        text = np.frombuffer(json.dumps(record).encode(), dtype=np.uint8)
        np.savez(buffer, record=text, **arrays)  # type: ignore[arg-type]
        try:
            atomic_write(self.path(key), buffer.getvalue())
        except FileError as problem:
            raise FileError(
                problem.reason,
                subject=self.path(key),
                remedy="Make room, or make the folder writable, and run the study again: all that "
                "was measured before is kept.",
            ) from problem

    def load(self, key: str) -> tuple[dict[str, Any], dict[str, NDArray[Any]]] | None:
        """Return an entry's record and arrays; None if there is none that can be read."""
        try:
            with np.load(self.path(key), allow_pickle=False) as file:
                arrays = {name: file[name] for name in file.files}
            return json.loads(arrays.pop("record").tobytes()), arrays
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
            return None

    def holds(self, key: str) -> bool:
        """Return whether an entry is there."""
        return self.path(key).is_file()

    def tidy(self) -> None:
        """Remove what killed runs left half-written."""
        before = time.time() - _ABANDONED_S
        for file in self.folder.glob(".*.tmp"):
            with suppress(OSError):
                if file.stat().st_mtime < before:
                    file.unlink()


def key_of(kind: str, *parts: object) -> str:
    """Return a name for results that depend on ``parts`` and on the versions in use.

    Parameters
    ----------
    kind : str
        Begins the name.
    *parts : object
        What JSON can hold, or settings dataclasses.
    """
    content = {"format": FORMAT, "versions": versions_used(), "parts": parts}
    text = json.dumps(content, default=_plain, sort_keys=True)
    return f"{kind}-{hashlib.sha256(text.encode()).hexdigest()[:32]}"


def file_checksum(path: Path) -> str:
    """Return the SHA-256 of a file's bytes, hexadecimal.

    Raises
    ------
    FileError
        It cannot be read.
    """
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as problem:
        raise FileError(
            f"It cannot be read ({problem.strerror}).",
            subject=path,
            remedy="Check that the file is there and may be read.",
        ) from problem


def _plain(value: Any) -> Any:
    if isinstance(value, Path):
        return value.as_posix()
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    if isinstance(value, Mapping):
        return dict(value)
    return asdict(value)
