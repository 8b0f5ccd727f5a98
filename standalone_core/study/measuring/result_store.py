"""What a study keeps on disk, so that nothing is measured twice and a killed run goes on."""

from __future__ import annotations

import hashlib
import io
import json
import re
import time
import zipfile
import zlib
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.lib.npyio import NpzFile
from numpy.typing import NDArray

from ...atomic import atomic_write
from ...errors import FileError, StudyError
from ...versions import versions_used

KEPT = "kept"
"""Folder of kept results inside a study's folder of results."""

FORMAT = 6
"""Raised when what is kept changes; older content is then measured anew."""

_ABANDONED_S = 3600.0
"""A temporary file of this age belongs to a run that was killed."""
_OURS = re.compile(
    r"(scan|rows|causes|fields|fit|pair|areas)-[0-9a-f]{32}\.npz|areas-[0-9a-f]{32}\.json|\..+\.tmp"
)
"""Files that a study keeps; formats below 4 kept areas as JSON."""
_RECORD, _ARRAYS = "record", "arrays"
_UNREADABLE = (
    OSError,
    ValueError,
    KeyError,
    TypeError,
    EOFError,
    RuntimeError,  # NotImplementedError among them: bits that name a way of packing are flipped
    zipfile.BadZipFile,
    zlib.error,
)

Arrays = Mapping[str, NDArray[Any]]
Loaded = TypeVar("Loaded")


class ResultStore:
    """A folder of results under the checksum of all that they depend on.

    Every entry is one file, written whole or not at all: a record (JSON) and arrays, each under
    a checksum of its own. An entry that cannot be read, is damaged or is of another format counts
    as not there, and is made again.

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
            Not of objects. Whole numbers are packed; the last digits of others are chance, which
            hardly packs.
        """
        content = {"format": FORMAT, _RECORD: record, _ARRAYS: sorted(arrays)}
        try:
            atomic_write(self.path(key), _packed(content, arrays))
        except FileError as problem:
            raise FileError(
                problem.reason,
                subject=self.path(key),
                remedy="Make room, or make the folder writable, and run the study again: all that "
                "was measured before is kept.",
            ) from problem

    def load(
        self, key: str, names: Collection[str] | None = None
    ) -> tuple[dict[str, Any], dict[str, NDArray[Any]]] | None:
        """Return an entry's record and arrays; None if there is none that can be read.

        Parameters
        ----------
        key : str
        names : collection of str, optional
            The arrays to read; all by default.
        """
        try:
            with self._opened(key) as (file, content):
                if content["format"] != FORMAT:
                    return None
                wanted = content[_ARRAYS] if names is None else names
                return content[_RECORD], {name: file[name] for name in wanted}
        except _UNREADABLE:
            return None

    def holds(self, key: str) -> bool:
        """Return whether an entry is there, whole and of this format."""
        try:
            with self._opened(key) as (_, content), zipfile.ZipFile(self.path(key)) as file:
                names = {f"{name}.npy" for name in (_RECORD, *content[_ARRAYS])}
                complete = names == set(file.namelist()) and file.testzip() is None
                return complete and content["format"] == FORMAT
        except _UNREADABLE:
            return False

    @contextmanager
    def _opened(self, key: str) -> Iterator[tuple[NpzFile, dict[str, Any]]]:
        """Open an entry, and read what it says about itself."""
        # numpy leaves a file open that is none of its own, if it is to open it.
        with self.path(key).open("rb") as stream, np.load(stream, allow_pickle=False) as file:
            yield file, json.loads(file[_RECORD].tobytes())

    def tidy(self) -> None:
        """Remove what killed runs left half-written."""
        before = time.time() - _ABANDONED_S
        for file in self.folder.glob(".*.tmp"):
            with suppress(OSError):
                if file.stat().st_mtime < before:
                    file.unlink()


def still_kept(loaded: Loaded | None) -> Loaded:
    """Return what was loaded of a result that was kept a moment ago.

    Raises
    ------
    StudyError
        It is gone.
    """
    if loaded is None:
        raise StudyError(
            "A result that was kept a moment ago is gone.",
            subject="study",
            remedy="Leave the folder of results alone while a study runs, and run it again.",
        )
    return loaded


def kept_folders(named: Path) -> list[Path]:
    """Return the folders of kept results that somebody means.

    Parameters
    ----------
    named : pathlib.Path
        The folder itself, that of a study's results, that of the study, or a study file.
    """
    named = named.resolve()
    if named.is_file():
        near = [named.with_name(f"{named.stem}_results") / KEPT]
    else:
        near = [named, named / KEPT, *sorted(named.glob(f"*_results/{KEPT}"))]
    return [folder for folder in near if folder.name == KEPT and any(_kept_files(folder))]


def kept_bytes(folder: Path) -> int:
    """Return the size of the kept results in a folder, bytes."""
    return sum(file.stat().st_size for file in _kept_files(folder))


def drop_kept(folder: Path) -> int:
    """Remove the kept results in a folder, and the folder if nothing else is in it.

    Returns
    -------
    int
        The bytes that were freed.

    Raises
    ------
    FileError
        A file cannot be removed.
    """
    freed = 0
    for file in list(_kept_files(folder)):
        size = file.stat().st_size
        try:
            file.unlink()
        except OSError as problem:
            raise FileError(
                f"It cannot be removed ({problem.strerror}).",
                subject=file,
                remedy="Make the folder writable, or remove it by hand: it can be measured again.",
            ) from problem
        freed += size
    with suppress(OSError):  # something else lies in it
        folder.rmdir()
    return freed


def _kept_files(folder: Path) -> Iterator[Path]:
    """Yield the files that a study keeps, and no others."""
    if folder.is_dir():
        yield from (file for file in folder.iterdir() if _OURS.fullmatch(file.name))


def _packed(content: Mapping[str, Any], arrays: Arrays) -> bytes:
    """Return a record and arrays as the bytes of an .npz file, the same for the same content."""
    text = np.frombuffer(json.dumps(content).encode(), dtype=np.uint8)
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as file:
        for name, array in {_RECORD: text, **arrays}.items():
            member = io.BytesIO()
            np.lib.format.write_array(member, array, allow_pickle=False)
            whole = array.dtype.kind in "iu"
            file.writestr(
                zipfile.ZipInfo(f"{name}.npy"),
                member.getbuffer(),
                zipfile.ZIP_DEFLATED if whole else zipfile.ZIP_STORED,
                compresslevel=1 if whole else None,
            )
    return buffer.getvalue()


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
