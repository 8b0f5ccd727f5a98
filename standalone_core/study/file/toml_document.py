"""A study file's text as TOML: its tables, where they stand, and what is wrong with it."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from .mistakes import Mistake, StudyFileError
from .place import Place
from .slashes import line_with_slashes
from .toml_lines import key_lines

_ERROR_LINE = re.compile(r" ?\(at (?:line (\d+), column \d+|end of document)\)")
_BACK_SLASH = r"In double quotes \ has a meaning of its own."
_REMEDIES = (
    (r"Unescaped|hex value|Unicode scalar", f"{_BACK_SLASH} Write / in paths."),
    (
        r"twice|overwrite|immutable|Duplicate|already",
        "A key or table is there twice: keep one, or give one another name.",
    ),
    (r"Expected '='", "Write key = value; remarks start with #."),
    (r"Unclosed array", "Close the list with ]."),
    (r"Illegal character|Unterminated", "Close the text with a quote on the same line."),
    (r"Expected newline", "Write one key to a line; numbers have a point, not a comma."),
    (
        r"key|statement",
        "Write names in quotes if they hold more than the letters a–z, digits, - and _.",
    ),
    (r"Invalid value", "Put texts in quotes; numbers have a point; true and false are small."),
)


def read_document(file: Path, text: str) -> tuple[dict[str, Any], Place]:
    r"""Read the text of a study file as TOML.

    A line that is none for its back-slashes is noted, and read with / in their place.

    Parameters
    ----------
    file : pathlib.Path
    text : str

    Returns
    -------
    tuple of dict and Place
        All tables, and the place of the whole file.

    Raises
    ------
    StudyFileError
        It is no TOML.
    """
    lines, mistakes = text.split("\n"), list[Mistake]()
    while True:
        try:
            text = "\n".join(lines)
            document = tomllib.loads(text)
        except tomllib.TOMLDecodeError as problem:
            at = _line_of(problem, text)
            corrected = line_with_slashes(lines[at - 1])
            changed = [*lines[: at - 1], corrected, *lines[at:]]
            if changed == lines or _is_wrong(at, changed):
                raise StudyFileError([*mistakes, _as_mistake(file, at, problem)]) from problem
            remedy = f"Write / instead: {corrected.strip()}"
            mistakes.append(Mistake(file, at, "", _BACK_SLASH, remedy))
            lines = changed
        except (RecursionError, ValueError) as problem:  # brackets in brackets; endless digits
            reason = "It holds numbers that are too long, or too many brackets inside each other."
            remedy = "Make a new file with 'cuspwise new'."
            raise StudyFileError([*mistakes, Mistake(file, None, "", reason, remedy)]) from problem
        else:
            return document, Place(file, key_lines(text), mistakes)


def _line_of(problem: tomllib.TOMLDecodeError, text: str) -> int:
    found = _ERROR_LINE.search(str(problem))
    number = found.group(1) if found else None
    return int(number) if number else text.rstrip().count("\n") + 1


def _is_wrong(line: int, lines: list[str]) -> bool:
    """Whether a line, or one before it, is no TOML."""
    text = "\n".join(lines)
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        return _line_of(problem, text) <= line
    except (RecursionError, ValueError):
        return False
    return False


def _as_mistake(file: Path, line: int, problem: tomllib.TOMLDecodeError) -> Mistake:
    reason = f"{_ERROR_LINE.sub('', str(problem))}."
    remedy = next((words for pattern, words in _REMEDIES if re.search(pattern, reason)), "")
    return Mistake(file, line, "", reason, remedy)
