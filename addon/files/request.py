"""What is asked to be read from files, before anything of it is. Needs no Blender."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ...standalone_core.errors import FileError, SettingError
from ...standalone_core.readable import readable
from ...standalone_core.words.text import count_words, some_of
from ..blender.units import mm_per_unit


@dataclass(frozen=True)
class SceneUnits:
    """How long a unit of the scene is.

    Attributes
    ----------
    known_mm : float or None
        Millimetres in a unit, where the design tells; None where the first file is to tell.
    choice, system : str
    scale_length : float
        As ``units.mm_per_unit`` takes them.
    """

    known_mm: float | None
    choice: str
    system: str
    scale_length: float

    def scale_mm(self, longest_side_mm: float) -> float:
        """Return the millimetres in a unit of a scene to which a mesh of this size is added.

        The mesh is measured by the same rule afterwards, which must lead to the same unit.
        """
        if self.known_mm is not None:
            return self.known_mm
        try:
            return mm_per_unit(self.choice, self.system, self.scale_length, longest_side_mm)
        except SettingError:  # no crown in any unit; that is said once it is measured
            return 1.0


@dataclass(frozen=True)
class Wanted:
    """A file to be read, and as what.

    Attributes
    ----------
    path : pathlib.Path
    group : str
        Of the scan; empty for none.
    is_design : bool
    """

    path: Path
    group: str = ""
    is_design: bool = False


@dataclass(frozen=True)
class Found:
    """Files to be read, and what was passed over.

    Attributes
    ----------
    files : tuple of Wanted
        The design first, then scans by group and name, numbers in their order.
    passed_over : tuple of str
        Which other files there are and why they are not read, as sentences.
    """

    files: tuple[Wanted, ...]
    passed_over: tuple[str, ...] = ()


@dataclass(frozen=True)
class Asked:
    """What somebody chose in a dialogue or dropped.

    Attributes
    ----------
    folder : str
        Empty where nothing was chosen.
    names : tuple of str
        Files in the folder; none of them: all that it holds.
    design : str
        Which of them is the design; empty for none.
    group : str
        Of the scans that are in no subfolder.
    """

    folder: str
    names: tuple[str, ...] = ()
    design: str = ""
    group: str = ""

    def files(self, *, design_is_chosen: bool) -> Found:
        """Return the files to be read.

        Parameters
        ----------
        design_is_chosen : bool
            Whether a design is there already, so that none of a folder's takes its place.

        Raises
        ------
        CuspwiseError
            There is nothing to read.
        """
        from ...standalone_core.study.file.groups import natural

        if not self.folder:
            raise FileError(
                "No file was chosen.", subject="Files", remedy="Choose one or more files."
            )
        folder = Path(self.folder)
        if not self.names:
            return _whole_folder(folder, self.group, design_is_chosen=design_is_chosen)
        scans = sorted((folder / name for name in self.names if name != self.design), key=natural)
        design = (Wanted(folder / self.design, is_design=True),) if self.design else ()
        return Found((*design, *(Wanted(path, self.group) for path in scans)))


def likely_design(names: Sequence[str]) -> str:
    """Return which of the files dropped is the design, by its name; empty if none or several.

    Examples
    --------
    >>> likely_design(["scan_1.stl", "Design.stl"]), likely_design(["a.stl", "b.stl"])
    ('Design.stl', '')
    """
    from ...standalone_core.study.file.folder_contents import named_design

    found = named_design([Path(name) for name in names])
    return found[0].name if len(found) == 1 else ""


def _whole_folder(folder: Path, group: str, *, design_is_chosen: bool) -> Found:
    """Return the files of a folder; its subfolders are groups."""
    from ...standalone_core.study.file.folder_contents import scans_in

    found = scans_in(folder)
    takes_design = len(found.designs) == 1 and not design_is_chosen
    designs = tuple(Wanted(path, is_design=True) for path in found.designs if takes_design)
    scans = tuple(Wanted(f, name or group) for name, files in found.groups.items() for f in files)
    passed_over = []
    if found.designs and not takes_design:
        passed_over.append(_designs_left(found.designs, design_is_chosen=design_is_chosen))
    if found.teeth.files:
        names = some_of(sorted(readable(path.name) for path in found.teeth.files))
        passed_over.append(f"Not read as scans, by their names: {names}.")
    if not (designs or scans):
        raise FileError(" ".join(passed_over), subject=folder, remedy="Choose a folder of scans.")
    return Found((*designs, *scans), tuple(passed_over))


def _designs_left(designs: Sequence[Path], *, design_is_chosen: bool) -> str:
    names = some_of([readable(path.name) for path in designs])
    if design_is_chosen:
        return f"Not read, since a design is chosen already: {names}."
    files = count_words(len(designs), "file")
    return f"{files} could be the design: {names}. Choose one with Import Design."


def object_names(paths: Sequence[Path]) -> list[str]:
    """Return what to call the objects: each file's name, and as much more as tells them apart.

    Examples
    --------
    >>> object_names([Path("a/1.stl"), Path("b/1.stl"), Path("a/2.stl"), Path("a/2.ply")])
    ['a 1', 'b 1', '2.stl', '2.ply']
    """
    ways = [
        (path.stem, path.name, f"{path.parent.name} {path.stem}", f"{path.parent.name} {path.name}")
        for path in paths
    ]
    counts = [Counter(names) for names in zip(*ways, strict=True)]
    return [
        readable(next((n for n, seen in zip(way, counts, strict=True) if seen[n] == 1), way[-1]))
        for way in ways
    ]
