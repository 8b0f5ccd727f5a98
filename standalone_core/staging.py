"""Write many files to a folder: all of them or, if something fails, none."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from .errors import FileError, ReportError

_PREFIX = ".cuspwise-"

_ABANDONED_S = 3600.0
"""A hidden folder of this age belongs to a run that was killed."""


@contextmanager
def staging(folder: Path) -> Iterator[Path]:
    """Make a hidden folder inside another to write into; whatever happens, it is gone afterwards.

    Parameters
    ----------
    folder : pathlib.Path
        Made if it is not there, and removed again should something fail.

    Yields
    ------
    pathlib.Path
        The hidden folder.

    Raises
    ------
    ReportError
        The folder cannot be written to, or the disk is full.
    """
    _tidy(folder)
    made = [path for path in (folder, *folder.parents) if not path.exists()]
    stage: Path | None = None
    done = False
    try:
        folder.mkdir(parents=True, exist_ok=True)
        stage = Path(tempfile.mkdtemp(prefix=_PREFIX, dir=folder))
        yield stage
        done = True
    except FileError as error:
        raise ReportError(
            error.reason, subject=folder / Path(error.subject).name, remedy=error.remedy
        ) from error
    except OSError as error:
        raise ReportError(
            f"The results could not be written ({error.strerror or error}).",
            subject=folder,
            remedy="Choose a folder that may be written to and has space left.",
        ) from error
    finally:
        if stage is not None:
            shutil.rmtree(stage, ignore_errors=True)
        if not done:
            for path in made:
                with suppress(OSError):
                    path.rmdir()


def _tidy(folder: Path) -> None:
    """Remove the hidden folders that killed runs left."""
    before = time.time() - _ABANDONED_S
    for stage in folder.glob(f"{_PREFIX}*"):
        with suppress(OSError):
            if stage.stat().st_mtime < before:
                shutil.rmtree(stage, ignore_errors=True)


def put_in_place(
    stage: Path, folder: Path, names: Iterable[str], outdated: Iterable[str]
) -> tuple[Path, ...]:
    """Move files from the stage to the folder; an interrupt waits until all are there.

    Parameters
    ----------
    stage, folder : pathlib.Path
    names : iterable of str
        What to move, by its path from the stage; what is not there is passed over.
    outdated : iterable of str
        What belongs to earlier results, by its path from the folder: removed unless it was
        replaced, with the subfolders that are empty then.

    Returns
    -------
    tuple of pathlib.Path
        What is in place now, in the order of ``names``.
    """
    waiting = [(stage / name, folder / name) for name in names if (stage / name).is_file()]
    written = tuple(target for _, target in waiting)
    for target in written:
        target.parent.mkdir(parents=True, exist_ok=True)
    try:
        _move(waiting)
    except KeyboardInterrupt:
        _move(waiting)
        raise
    for name in outdated:
        if folder / name not in written:
            (folder / name).unlink(missing_ok=True)
        if (folder / name).parent != folder:
            with suppress(OSError):
                (folder / name).parent.rmdir()
    return written


def _move(waiting: list[tuple[Path, Path]]) -> None:
    while waiting:
        source, target = waiting[0]
        if source.exists():
            os.replace(source, target)
        waiting.pop(0)
