"""Which format a mesh file has, by what it holds, and whether it is safe to read."""

from __future__ import annotations

import re
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np

from ..errors import FileError
from .threemf import check_archive

# Twenty times a dense crown scan; keeps reading and repair below 2 GB of memory.
MAX_TRIANGLES = 4_000_000
MAX_TEXT_BYTES = 250_000_000
# Parsers hold an object for each line, some for each word of it.
MAX_TEXT_LINES = {"stl_ascii": 6_000_000, "obj": 6_000_000, "off": 3_500_000, "ply": 3_500_000}
MAX_TEXT_WORDS = 20_000_000
MAX_LINE_BYTES = 20_000
MAX_BINARY_BYTES = 500_000_000
# A model file inside a 3MF archive grows twentyfold in memory while it is parsed.
MAX_3MF_BYTES = 80_000_000
# A plate full of crowns, not a scan of one; each costs the parser milliseconds. Ours, no source.
MAX_PARTS = 100

STL_HEADER_BYTES = 84
STL_TRIANGLE_BYTES = 50
SUFFIX_FORMATS = {".stl": "stl", ".ply": "ply", ".obj": "obj", ".off": "off", ".3mf": "3mf"}
FORMAT_NAMES = {
    "stl_binary": "binary STL",
    "stl_ascii": "ASCII STL",
    "ply": "PLY",
    "obj": "OBJ",
    "off": "OFF",
    "3mf": "3MF",
}
EXPORT_AGAIN = "Export it again from the program that made it."

_PLY_BYTES = {
    **dict.fromkeys(("char", "uchar", "int8", "uint8"), 1),
    **dict.fromkeys(("short", "ushort", "int16", "uint16", "float16"), 2),
    **dict.fromkeys(("int", "uint", "int32", "uint32", "float", "float32"), 4),
    **dict.fromkeys(("double", "float64", "int64", "uint64"), 8),
}
_PLY_FORMATS = ("ascii", "binary_little_endian", "binary_big_endian")
# Vertex number 0 in a face; a line that goes on after a backslash has a mark there.
_OBJ_ZERO = re.compile(rb"^[ \t]*f(?=[ \t])[^\r\n]*?[ \t][-+]?0+(?=[/ \t\r\n]|\Z)", re.MULTILINE)
_CONTINUED, _MARK = re.compile(rb"\\\r?\n"), b" \x01 "
_OBJ_LINE = re.compile(rb"^[ \t]*(?:v|f|vn|vt)[ \t]+[-+.\d]", re.MULTILINE)
_FACET_LINE = re.compile(rb"^\s*facet\b", re.MULTILINE)
_OFF_COUNTS = re.compile(rb"OFF\b(?:\s|#[^\r\n]*)*(\d{1,15})[ \t]+(\d{1,15})[^\r\n]*")
_CONTENT_LINE = re.compile(rb"^[ \t]*[^#\s]", re.MULTILINE)
_OFF_START = re.compile(rb"\A(?:[ \t]*(?:#[^\n]*)?\r?\n)*[ \t]*C?OFF\b")


def load_bytes(path: Path) -> bytes:
    """Read a file of bearable size.

    Raises
    ------
    FileError
        Missing, a folder, not readable, empty, or larger than any format may be.
    """
    try:
        size = path.stat().st_size
        if size > MAX_BINARY_BYTES:
            raise too_large(path, f"It has {size / 1e6:.0f} MB")
        data = path.read_bytes()
    except OSError as error:
        raise FileError(
            f"It cannot be read ({error.strerror or error}).",
            subject=path,
            remedy="Check the path and the permissions.",
        ) from error
    if not data:
        raise FileError("It is empty.", subject=path, remedy=EXPORT_AGAIN)
    return data


def too_large(path: Path, reason: str) -> FileError:
    """Return the error for a file above the limits."""
    return FileError(
        f"{reason}, more than Cuspwise reads.",
        subject=path,
        remedy="Export only the crown, or reduce the mesh, and use a binary format.",
    )


def recognise(data: bytes, path: Path) -> str:
    """Return the format, a key of ``FORMAT_NAMES``; the content decides, not the name.

    A binary STL is known by its length, 84 + 50 n bytes, since its free 80-byte header may well
    begin with "solid" as an ASCII STL does.
    """
    start = data[:4096]
    by_content = _recognise_content(data, start)
    if not by_content and _is_utf16(start):
        raise FileError(
            "It is text in UTF-16; mesh files are ASCII or UTF-8.",
            subject=path,
            remedy="Open it in a text editor and save it with the encoding UTF-8, or export it "
            "again in a binary format.",
        )
    if by_content:
        return by_content
    named = SUFFIX_FORMATS.get(path.suffix.lower())
    if named == "stl":
        return "stl_ascii" if _looks_like_text(start) else "stl_binary"
    if named:
        return named
    if _OBJ_LINE.search(start):
        return "obj"
    raise FileError(
        "It holds no mesh format that Cuspwise knows.",
        subject=path,
        remedy="Export it as STL, PLY, OBJ, OFF or 3MF.",
    )


def _recognise_content(data: bytes, start: bytes) -> str:
    if data[:2] == b"PK":
        return "3mf"
    if _has_stl_length(data):
        return "stl_binary"
    beginning = start.lstrip()[:5].lower()
    if beginning.startswith(b"ply"):
        return "ply"
    if beginning == b"solid" and _looks_like_text(start):
        return "stl_ascii"
    return "off" if _OFF_START.match(start) else ""


def _is_utf16(start: bytes) -> bool:
    """Whether it begins with UTF-16's mark, or every other byte is zero as in Latin text."""
    if start[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return True
    pairs = len(start) // 2
    zeros = sorted((start[0::2].count(0), start[1::2].count(0)))
    return pairs > 8 and zeros[0] == 0 and zeros[1] > 0.9 * pairs


def _has_stl_length(data: bytes) -> bool:
    if len(data) < STL_HEADER_BYTES:
        return False
    (count,) = struct.unpack_from("<I", data, 80)
    return len(data) == STL_HEADER_BYTES + STL_TRIANGLE_BYTES * int(count)


def _looks_like_text(start: bytes) -> bool:
    return b"\0" not in start and (b"facet" in start.lower() or b"endsolid" in start.lower())


def check_safe(data: bytes, kind: str, path: Path) -> None:
    """Compare what a file promises with what it holds, before anything is built from it.

    Raises
    ------
    FileError
        Truncated, counts that the file cannot hold, above the limits, not the format it claims.
    """
    if kind in ("stl_ascii", "obj", "off"):
        _check_text(data, kind, path)
    checks: dict[str, Callable[[bytes, Path], None]] = {
        "stl_binary": _check_binary_stl,
        "stl_ascii": _check_ascii_stl,
        "ply": _check_ply,
        "obj": _check_obj,
        "off": _check_off,
        "3mf": _check_3mf,
    }
    if kind in checks:
        checks[kind](data, path)


def _check_text(data: bytes, kind: str, path: Path) -> None:
    if len(data) > MAX_TEXT_BYTES:
        raise too_large(path, f"It has {len(data) / 1e6:.0f} MB of text")
    characters = np.frombuffer(data, dtype=np.uint8)
    ends = np.flatnonzero((characters == ord("\n")) | (characters == ord("\r")))
    if len(ends) > MAX_TEXT_LINES[kind]:
        raise too_large(path, f"It has {len(ends) / 1e6:.1f} million lines")
    words = data.count(b" ") + data.count(b"\t") + len(ends)
    if kind != "stl_ascii" and words > MAX_TEXT_WORDS:
        raise too_large(path, f"It has {words / 1e6:.0f} million words")
    longest = int(np.diff(ends, prepend=-1, append=len(data)).max()) - 1
    if longest > MAX_LINE_BYTES:
        raise too_large(path, f"It has a line of {longest:,} characters")


def _truncated(path: Path, promised: int, found: int, thing: str = "triangles") -> FileError:
    missing = promised - found
    return FileError(
        f"It ends early: its header promises {promised:,} {thing}, {missing:,} of them "
        f"{'is' if missing == 1 else 'are'} missing.",
        subject=path,
        remedy="Copy or export it again; the transfer was probably cut off.",
    )


def _check_binary_stl(data: bytes, path: Path) -> None:
    if len(data) < STL_HEADER_BYTES:
        raise FileError(
            f"It has {len(data)} bytes, too few for an STL header.",
            subject=path,
            remedy=EXPORT_AGAIN,
        )
    (count,) = struct.unpack_from("<I", data, 80)
    held, left_over = divmod(len(data) - STL_HEADER_BYTES, STL_TRIANGLE_BYTES)
    if held < count:
        raise _truncated(path, count, held)
    if held > count or left_over:
        raise FileError(
            f"Its header promises {count:,} triangles, but it is "
            f"{len(data) - STL_HEADER_BYTES - STL_TRIANGLE_BYTES * count:,} bytes longer.",
            subject=path,
            remedy=EXPORT_AGAIN,
        )
    if count > MAX_TRIANGLES:
        raise too_large(path, f"It has {count:,} triangles")


def _check_ascii_stl(data: bytes, path: Path) -> None:
    lower = data.lower()
    starts, ends = len(_FACET_LINE.findall(lower)), lower.count(b"endfacet")
    if starts != ends or b"endsolid" not in lower:
        raise FileError(
            f"It ends early or is damaged: {starts:,} triangles begin, {ends:,} end, and "
            f"{'its' if b'endsolid' in lower else 'no'} closing line is there.",
            subject=path,
            remedy="Copy or export it again; the transfer was probably cut off.",
        )


def _check_obj(data: bytes, path: Path) -> None:
    """Refuse vertex number 0: OBJ counts from 1, and back from −1."""
    whole = _CONTINUED.sub(_MARK, data)
    found = _OBJ_ZERO.search(whole)
    if found:
        line = 1 + whole.count(b"\n", 0, found.start()) + whole.count(_MARK, 0, found.end())
        raise FileError(
            f"Line {line:,} names vertex 0; OBJ files count from 1.",
            subject=path,
            remedy=EXPORT_AGAIN,
        )


def _check_off(data: bytes, path: Path) -> None:
    counts = _OFF_COUNTS.search(data)
    if not counts:
        raise FileError(
            "Its header has no counts of vertices and faces.", subject=path, remedy=EXPORT_AGAIN
        )
    vertices, faces = int(counts[1]), int(counts[2])
    held = sum(1 for _ in _CONTENT_LINE.finditer(data, counts.end()))
    if held < vertices:
        raise _truncated(path, vertices, held, "vertices")
    if held - vertices < faces:
        raise _truncated(path, faces, held - vertices, "faces")


def _check_ply(data: bytes, path: Path) -> None:
    end = data.find(b"end_header")
    if end < 0 or end > 1_000_000:
        raise FileError("Its PLY header never ends.", subject=path, remedy=EXPORT_AGAIN)
    try:
        is_text, elements = _ply_elements(data[:end].decode("ascii", "replace"))
    except _HeaderError as error:
        raise FileError(
            f"Its PLY header is damaged: {error}.", subject=path, remedy=EXPORT_AGAIN
        ) from None
    body = data.count(b"\n", end) if is_text else len(data) - data.find(b"\n", end) - 1
    for name, count, least_bytes in elements:
        row_bytes = 1 if is_text else least_bytes  # as text, a line each
        if count < 0 or count * row_bytes > body:
            held = max(body, 0) // max(row_bytes, 1)
            raise _truncated(path, max(count, 0), held, f"entries of '{name}'")
        body -= count * row_bytes
        if count > 3 * MAX_TRIANGLES:
            raise too_large(path, f"It has {count:,} entries of '{name}'")
    if is_text:
        _check_text(data, "ply", path)


class _HeaderError(Exception):
    """What is wrong with a PLY header, in words."""


def _ply_elements(header: str) -> tuple[bool, list[tuple[str, int, int]]]:
    """Return whether the body is text, and name, count and least bytes of each element's rows.

    Faces count with three indices each, the fewest a polygon has.
    """
    elements: list[tuple[str, int, int]] = []
    body = ""
    for number, line in enumerate(header.splitlines(), start=1):
        try:
            body = _read_ply_line(line.split(), elements) or body
        except (ValueError, KeyError, IndexError):
            shown = f"“{line.strip()[:60]}”" if line.strip() else "empty"
            raise _HeaderError(f"line {number} is {shown}") from None
    if not body:
        raise _HeaderError("it names no format")
    return body == "ascii", elements


def _read_ply_line(words: list[str], elements: list[tuple[str, int, int]]) -> str:
    """Take in a line of a PLY header; return the body's format if it is the line that says it."""
    kind = words[0]
    if kind == "format":
        return _PLY_FORMATS[_PLY_FORMATS.index(words[1])]
    if kind == "element":
        elements.append((words[1], int(words[2]), 0))
    elif kind == "property":
        name, count, row_bytes = elements[-1]
        if words[1] == "list":
            least = 3 if name == "face" and words[4].startswith("vertex_ind") else 0
            row_bytes += _PLY_BYTES[words[2]] + least * _PLY_BYTES[words[3]]
        else:
            row_bytes += _PLY_BYTES[words[1]]
        elements[-1] = (name, count, row_bytes)
    return ""


def _check_3mf(data: bytes, path: Path) -> None:
    count = check_archive(data, path, max_bytes=MAX_3MF_BYTES, max_parts=MAX_PARTS)
    if count > MAX_TRIANGLES:
        raise too_large(path, f"It places {count:,} triangles")
