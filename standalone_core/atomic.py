"""Write a file whole or not at all."""

from __future__ import annotations

import os
import threading
import uuid
from contextlib import suppress
from pathlib import Path

from .errors import FileError

_writing = threading.Lock()
_PATIENCE_S = 5.0
"""A file that takes longer lies on a disk that does not answer."""


def end_process(code: int) -> None:
    """End this process at once, whatever it is doing, but not half-way through writing a file."""
    _writing.acquire(timeout=_PATIENCE_S)
    os._exit(code)


def atomic_write(path: str | Path, content: bytes | str) -> Path:
    """Write under a temporary name beside the target, then put it in place in one step.

    Whatever goes wrong, an interrupt from the keyboard included, leaves the old file (or none)
    and no temporary one.

    Parameters
    ----------
    path : str or pathlib.Path
        The file to make or replace; its folder must exist.
    content : bytes or str
        Text is written as UTF-8 with the line ends it has; what is no text, escaped.

    Returns
    -------
    pathlib.Path
        The path written.

    Raises
    ------
    FileError
        Folder missing or write-protected, disk full, target is a folder.
    """
    target = Path(path)
    data = content.encode("utf-8", "backslashreplace") if isinstance(content, str) else content
    temporary = target.with_name(f".{target.name[:80]}.{uuid.uuid4().hex[:12]}.tmp")
    with _writing:
        _write(temporary, target, data)
    return target


def _write(temporary: Path, target: Path, data: bytes) -> None:
    try:
        # "x" instead of tempfile: the file gets the permissions that the user's umask asks for.
        with open(temporary, "xb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(temporary, target)
    except OSError as error:
        raise FileError(
            f"It could not be written ({error.strerror or error}).",
            subject=target,
            remedy="Check that the folder exists, may be written to and has space left.",
        ) from error
    finally:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)
