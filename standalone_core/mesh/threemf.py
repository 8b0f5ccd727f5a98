"""Guard for 3MF archives: what they unpack to, and how often each object is placed."""

from __future__ import annotations

import re
import zipfile
import zlib
from collections import Counter
from io import BytesIO
from pathlib import Path

from ..errors import FileError

# Objects may hold objects, each placed any number of times: thirty lines can ask for a billion
# parts. The guard therefore counts what the file places before anything is built.
_TAG = re.compile(rb"<(?:\w+:)?(object|component|item)\b([^>]*)>")
_ID = re.compile(rb"""\b(?:objectid|id)\s*=\s*["']([^"']*)["']""")
MAX_NESTING = 20


def check_archive(data: bytes, path: Path, *, max_bytes: int, max_parts: int) -> int:
    """Return how many triangles a 3MF archive places.

    Raises
    ------
    FileError
        Not a whole archive, unpacks beyond ``max_bytes``, places more than ``max_parts``
        objects, objects that hold themselves.
    """
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            size = sum(member.file_size for member in archive.infolist())
            if size > max_bytes:
                raise _refuse(path, f"It unpacks to {size / 1e6:.0f} MB")
            models = [archive.read(n) for n in archive.namelist() if n.lower().endswith(".model")]
    except (zipfile.BadZipFile, zlib.error, RuntimeError, ValueError, EOFError, OSError) as error:
        if "password" in str(error):
            raise FileError(
                "It is locked with a password.", subject=path, remedy="Export it without one."
            ) from error
        raise FileError(
            "It is not a whole 3MF archive.",
            subject=path,
            remedy="Copy or export it again; the transfer was probably cut off.",
        ) from error
    placed, children, triangles = _contents(models)
    return _count_placed(placed, children, triangles, path, max_parts)


def _contents(
    models: list[bytes],
) -> tuple[Counter[bytes], dict[bytes, Counter[bytes]], Counter[bytes]]:
    """Return the objects placed by the build, those inside each object, triangles of each."""
    placed: Counter[bytes] = Counter()
    children: dict[bytes, Counter[bytes]] = {}
    triangles: Counter[bytes] = Counter()
    for model in models:
        tags = list(_TAG.finditer(model))
        current = b""
        for k, tag in enumerate(tags):
            found = _ID.search(tag[2])
            name = found[1] if found else b""
            if tag[1] == b"item":
                placed[name] += 1
            elif tag[1] == b"component":
                children.setdefault(current, Counter())[name] += 1
            else:
                current = name
                end = tags[k + 1].start() if k + 1 < len(tags) else len(model)
                triangles[current] += model.count(b"v1", tag.end(), end)
    return placed, children, triangles


def _count_placed(
    placed: Counter[bytes],
    children: dict[bytes, Counter[bytes]],
    triangles: Counter[bytes],
    path: Path,
    max_parts: int,
) -> int:
    parts = triangle_count = 0
    for _ in range(MAX_NESTING):
        if not placed:
            return triangle_count
        parts += sum(placed.values())
        if parts > max_parts:
            raise _refuse(
                path,
                f"It places {parts:,} parts or more, and Cuspwise reads {max_parts:,} at most",
            )
        triangle_count += sum(times * triangles[name] for name, times in placed.items())
        inner: Counter[bytes] = Counter()
        for name, times in placed.items():
            for child, inside in children.get(name, Counter()).items():
                inner[child] += times * inside
        placed = inner
    raise _refuse(path, f"Its objects nest more than {MAX_NESTING} deep or hold themselves")


def _refuse(path: Path, reason: str) -> FileError:
    return FileError(f"{reason}.", subject=path, remedy="Export only the crown, as one part.")
