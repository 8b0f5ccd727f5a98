"""Errors that name the file or argument, the reason and the remedy."""

from __future__ import annotations

from pathlib import Path

from .readable import readable


class CuspwiseError(Exception):
    """Base of every error that Cuspwise raises on purpose.

    Parameters
    ----------
    reason : str
        What is wrong, as a full sentence, with the offending value in it.
    subject : str or pathlib.Path
        The file, object or argument that it is about.
    remedy : str
        What the reader can do about it, as a full sentence.
    arguments : tuple of str
        Names of the arguments that the remedy asks for; whoever knows how a user gives them, as
        the command line does, says so beside it.

    Examples
    --------
    >>> from cuspwise import CuspwiseError
    >>> str(CuspwiseError("It holds no triangles.", subject="a.stl", remedy="Export it again."))
    'a.stl: It holds no triangles. Export it again.'
    """

    def __init__(
        self, reason: str, *, subject: str | Path, remedy: str, arguments: tuple[str, ...] = ()
    ) -> None:
        self.reason = readable(reason)
        self.subject = readable(subject)
        self.remedy = readable(remedy)
        self.arguments = arguments
        super().__init__(f"{self.subject}: {self.reason} {self.remedy}")

    def __reduce__(self) -> tuple[object, ...]:
        return _rebuild, (type(self), self.reason, self.subject, self.remedy, self.arguments)

    def words_alone(self) -> CuspwiseError:
        """Return the same error without what it went through: a traceback holds all surfaces.

        A copy would do, but for libraries that teach ``copy`` to take tracebacks along.
        """
        return _rebuild(type(self), self.reason, self.subject, self.remedy, self.arguments)


def _rebuild(
    kind: type[CuspwiseError], reason: str, subject: str, remedy: str, arguments: tuple[str, ...]
) -> CuspwiseError:
    return kind(reason, subject=subject, remedy=remedy, arguments=arguments)


class FileError(CuspwiseError):
    """A file that cannot be read, written or understood."""


class MeshError(CuspwiseError):
    """A mesh that cannot be used for what was asked."""


class SettingError(CuspwiseError):
    """A setting or argument outside what is allowed."""


class SuperimpositionError(CuspwiseError):
    """A scan that cannot be laid on its design."""


class AreaError(CuspwiseError):
    """An area that cannot be found, read or used."""


class OtherDesignError(AreaError):
    """Areas that were made on another design."""


class ReportError(CuspwiseError):
    """A result that cannot be written or drawn."""


class StudyError(CuspwiseError):
    """A study that cannot be run to its end."""
