"""The surfaces that a fit is judged by, read and repaired."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from ..areas.area_set import MarginLine
from ..checked_mesh import CheckedMesh, checked_surface
from ..mesh.files import read_mesh
from ..mesh.triangle_mesh import TriangleMesh
from ..progress import Progress, Steps
from .contacts.result import ContactKind
from .gap.finish_file import finish_line_from_file
from .settings import FitSettings


@dataclass(frozen=True, eq=False)
class FitInputs:
    """What a fit is judged by; all but the crown, the seated scan and the design's copy in the
    die's frame.

    Attributes
    ----------
    crown : CheckedMesh
        Scan or design, in any pose.
    die : CheckedMesh
        The prepared tooth, its model, or a larger scan that holds it.
    design : CheckedMesh or None
        The crown's design in the die's frame: shows where the crown was meant to sit.
    seated : CheckedMesh or None
        A scan of the crown seated on the die, in any pose.
    neighbours : tuple of CheckedMesh
        The teeth beside it, in the die's frame.
    antagonist : CheckedMesh or None
        The tooth against it, in the die's frame.
    finish_line : MarginLine or None
        On the die.
    """

    crown: CheckedMesh
    die: CheckedMesh
    design: CheckedMesh | None = None
    seated: CheckedMesh | None = None
    neighbours: tuple[CheckedMesh, ...] = ()
    antagonist: CheckedMesh | None = None
    finish_line: MarginLine | None = None

    @property
    def surfaces(self) -> Iterator[tuple[str, CheckedMesh]]:
        """Every surface with what it is."""
        given = {"Crown": self.crown, "Die": self.die, "Design": self.design, "Seated": self.seated}
        yield from ((name, surface) for name, surface in given.items() if surface is not None)
        yield from (("Neighbour", surface) for surface in self.neighbours)
        if self.antagonist is not None:
            yield "Antagonist", self.antagonist

    @property
    def teeth(self) -> Iterator[tuple[str, TriangleMesh, ContactKind]]:
        """Name, surface and kind of contact of every tooth that is not the die."""
        for surface in self.neighbours:
            yield surface.mesh.name, surface.mesh, "proximal"
        if self.antagonist is not None:
            yield self.antagonist.mesh.name, self.antagonist.mesh, "occlusal"


@dataclass(frozen=True)
class FitFiles:
    """The files of a fit.

    Attributes
    ----------
    crown, die : pathlib.Path
    design, seated, antagonist, finish_line : pathlib.Path or None
    neighbours : tuple of pathlib.Path

    Examples
    --------
    >>> import cuspwise
    >>> cuspwise.FitFiles("crown.stl", "die.stl", neighbours=("35.stl", "37.stl")).design is None
    True
    """

    crown: Path
    die: Path
    design: Path | None = None
    seated: Path | None = None
    neighbours: Sequence[Path] = ()
    antagonist: Path | None = None
    finish_line: Path | None = None


def read_inputs_steps(files: FitFiles, settings: FitSettings) -> Steps[FitInputs]:
    """Read and repair all files of a fit; raises the error of the first that cannot be used."""

    def surface(path: Path, unit: str) -> CheckedMesh:
        return checked_surface(read_mesh(path, unit=unit))

    def if_given(path: Path | None, unit: str) -> CheckedMesh | None:
        return None if path is None else surface(path, unit)

    yield Progress("Reading the crown", 0.0)
    crown = surface(files.crown, settings.crown_unit)
    design = if_given(files.design, settings.crown_unit)
    seated = if_given(files.seated, settings.crown_unit)
    yield Progress("Reading the die", 0.5)
    die = surface(files.die, settings.die_unit)
    neighbours = tuple(surface(path, settings.die_unit) for path in files.neighbours)
    antagonist = if_given(files.antagonist, settings.die_unit)
    line = None if files.finish_line is None else finish_line_from_file(files.finish_line)
    return FitInputs(crown, die, design, seated, neighbours, antagonist, line)


def inputs_of(
    crown: TriangleMesh,
    die: TriangleMesh,
    *,
    design: TriangleMesh | None = None,
    seated: TriangleMesh | None = None,
    neighbours: Sequence[TriangleMesh] = (),
    antagonist: TriangleMesh | None = None,
    finish_line: MarginLine | None = None,
) -> FitInputs:
    """Make inputs of meshes in memory, mm, repaired on copies; see :class:`FitInputs`."""

    def if_given(mesh: TriangleMesh | None) -> CheckedMesh | None:
        return None if mesh is None else checked_surface(mesh)

    return FitInputs(
        crown=checked_surface(crown),
        die=checked_surface(die),
        design=if_given(design),
        seated=if_given(seated),
        neighbours=tuple(checked_surface(mesh) for mesh in neighbours),
        antagonist=if_given(antagonist),
        finish_line=finish_line,
    )
