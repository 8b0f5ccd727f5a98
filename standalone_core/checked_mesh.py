"""A surface as everything uses it: read, and repaired on a copy."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from .check_settings import CheckSettings
from .mesh.files import MeshFile, read_mesh
from .mesh.repair import Repair, repair_mesh
from .mesh.triangle_mesh import TriangleMesh


@dataclass(frozen=True, eq=False)
class CheckedMesh:
    """One of the two surfaces as it was used.

    Attributes
    ----------
    mesh : TriangleMesh
        After repair, in its own frame, mm.
    repair : Repair
        What was found and what was done about it, on a copy.
    file : MeshFile or None
        Where it was read from; None for a mesh handed over in memory.
    """

    mesh: TriangleMesh
    repair: Repair
    file: MeshFile | None = None

    @property
    def notes(self) -> Iterator[str]:
        """What reading and repairing found, as sentences."""
        if self.file is not None:
            yield from self.file.notes
        yield from self.repair.warnings


def checked_surface(
    source: MeshFile | TriangleMesh, settings: CheckSettings | None = None
) -> CheckedMesh:
    """Return a usable copy of a surface, with what was found and done.

    Raises
    ------
    MeshError
        No triangle with an area is left.
    """
    file = source if isinstance(source, MeshFile) else None
    mesh = source.mesh if isinstance(source, MeshFile) else source
    repair = repair_mesh(
        mesh, ignore_loose_pieces=(settings or CheckSettings()).ignore_loose_pieces
    )
    return CheckedMesh(mesh=repair.mesh, repair=repair, file=file)


def read_design(path: str | Path, settings: CheckSettings) -> CheckedMesh:
    """Read and repair a design's file; raises :class:`CuspwiseError` where that cannot be done."""
    return checked_surface(read_mesh(path, unit=settings.design_unit), settings)


def read_scan(path: str | Path, settings: CheckSettings) -> CheckedMesh:
    """Read and repair a scan's file; raises :class:`CuspwiseError` where that cannot be done."""
    return checked_surface(read_mesh(path, unit=settings.scan_unit), settings)
