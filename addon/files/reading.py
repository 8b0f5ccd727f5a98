"""Reading meshes from files into the arrays that Blender takes. Needs no Blender.

All of it is steps of the core that run in a thread; what is left for the main thread is to hand
the arrays over.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ...standalone_core.errors import CuspwiseError, FileError
from ...standalone_core.progress import Progress, Steps, scaled
from ...standalone_core.readable import readable
from ...standalone_core.words.text import count_words, some_of
from . import source
from .request import Found, SceneUnits, Wanted, object_names

if TYPE_CHECKING:
    from ...standalone_core.mesh.files import MeshFile
    from ...standalone_core.mesh.triangle_mesh import TriangleMesh

FILE = 0.8  # share of the work on a mesh that is reading its file


@dataclass(frozen=True, eq=False)
class MeshArrays:
    """A mesh as Blender takes it, about the middle of its box, in units of the scene.

    Attributes
    ----------
    origin : (3,) float
        The middle of the box, so that no digit is lost far out.
    points : (n, 3) float32
    faces : (m, 3) int32
    edges : (e, 2) int32 or None
        None where Blender has to look for them: a triangle names a vertex twice.
    face_edges : (m, 3) int32 or None
        The edge that leaves each corner.
    """

    origin: np.ndarray
    points: np.ndarray
    faces: np.ndarray
    edges: np.ndarray | None
    face_edges: np.ndarray | None


@dataclass(frozen=True, eq=False)
class ReadFile:
    """A file that was read.

    Attributes
    ----------
    wanted : Wanted
    name : str
        What to call the object.
    arrays : MeshArrays
    notes : tuple of str
        Size, unit and faults, as sentences.
    facts : str
        The core's own findings about the file, as ``source`` keeps them.
    """

    wanted: Wanted
    name: str
    arrays: MeshArrays
    notes: tuple[str, ...]
    facts: str


@dataclass(frozen=True, eq=False)
class Reading:
    """All files that were read, what is wrong with the others, and what was passed over."""

    files: tuple[ReadFile, ...]
    problems: tuple[CuspwiseError, ...]
    passed_over: tuple[str, ...]

    @property
    def words(self) -> str:
        """What was read, in a line."""
        scans = [file for file in self.files if not file.wanted.is_design]
        parts = [f"Design: {file.notes[0]}" for file in self.files if file.wanted.is_design]
        if len(scans) > 3:
            parts.append(count_words(len(scans), "scan"))
        else:
            parts += [scan.notes[0] for scan in scans]
        if self.problems:
            parts.append(f"not read: {some_of([error.subject for error in self.problems])}")
        return "; ".join(parts)


def read_files_steps(look: Callable[[], Found], unit: str, units: SceneUnits) -> Steps[Reading]:
    """Read files, going on past one that cannot be read.

    Parameters
    ----------
    look : callable
        Says which files.
    unit : str
        Of the files, or "auto".
    units : SceneUnits

    Raises
    ------
    CuspwiseError
        There is nothing to read.
    """
    yield Progress("Looking for files", 0.0)
    found = look()
    paths = [wanted.path for wanted in found.files]
    ends = np.cumsum([_weight(path) for path in paths])
    shares = np.concatenate([[0.0], ends / ends[-1]])
    read: list[ReadFile] = []
    problems: list[CuspwiseError] = []
    for k, name in enumerate(object_names(paths)):
        steps = scaled(_read_steps(paths[k], unit), float(shares[k]), float(shares[k + 1]))
        try:
            file = yield from steps
        except CuspwiseError as error:
            problems.append(error)
            continue
        low, high = file.mesh.bounds
        scale_mm = units.scale_mm(float((high - low).max()))
        units = replace(units, known_mm=scale_mm)  # the first file tells for all
        read.append(_as_read(found.files[k], name, file, scale_mm))
    return Reading(tuple(read), tuple(problems), found.passed_over)


def _weight(path: Path) -> int:
    """Return a measure of how long reading a file takes."""
    try:
        return 1 + path.stat().st_size
    except OSError:
        return 1


def _read_steps(path: Path, unit: str) -> Steps[MeshFile]:
    """Read a file, and look for the edges of its mesh."""
    from ...standalone_core.mesh.files import read_mesh_steps

    try:
        file = yield from scaled(read_mesh_steps(path, unit=unit), 0.0, FILE)
        yield Progress(f"Reading {file.mesh.name}", FILE)
        _ = file.mesh.graph.face_edges
    except MemoryError as error:
        raise FileError(
            "Reading it needs more memory than there is.",
            subject=path,
            remedy="Close other programs, or reduce the mesh.",
        ) from error
    return file


def _as_read(wanted: Wanted, name: str, file: MeshFile, scale_mm: float) -> ReadFile:
    return ReadFile(
        wanted=wanted,
        name=name,
        arrays=_arrays(file.mesh, scale_mm),
        notes=(file_words(file), *file.notes),
        facts=source.facts_of(file),
    )


def _arrays(mesh: TriangleMesh, scale_mm: float) -> MeshArrays:
    low, high = mesh.bounds / scale_mm
    origin = (0.5 * (low + high)).astype(np.float32).astype(np.float64)
    twice = mesh.graph.collapsed.any()  # Blender has a way of its own with such triangles
    return MeshArrays(
        origin=origin,
        points=(mesh.vertices / scale_mm - origin).astype(np.float32),
        faces=mesh.faces.astype(np.int32),
        edges=None if twice else mesh.graph.edges.astype(np.int32),
        face_edges=None if twice else mesh.graph.face_edges.astype(np.int32),
    )


def file_words(file: MeshFile) -> str:
    """Say how large a mesh is and in which unit its file is."""
    low, high = file.mesh.bounds
    sides = " × ".join(f"{side:.2f}" for side in high - low)
    guessed = ", guessed" if file.unit_guessed else ""
    return f"{readable(file.path.name)}: {sides} mm (file in {file.unit}{guessed})"
