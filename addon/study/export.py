"""A study of the scene as files: meshes, areas and study file, as the command line reads them.

A scan is written without its place and turn where the superimposition does not start from them,
so that moving it changes no file; what is kept of a file that has not changed is used again.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.atomic import atomic_write
from ...standalone_core.errors import CuspwiseError, FileError, MeshError, StudyError
from ...standalone_core.mesh.triangle_mesh import TriangleMesh
from ...standalone_core.mesh.write import ply_bytes
from ...standalone_core.progress import Progress, Steps, scaled
from ...standalone_core.superimpose.point_pairs import fit_point_pairs
from ..areas import area_groups, support_marks
from ..blender import bridge, frames
from ..blender.session import scene_of
from ..check import inputs, landmarks, scene_choices
from ..check.object_scale import REMEDY, why_other_scale
from ..identifiers import SCENE_PROPERTIES
from . import study_scene
from .file import (
    AREAS,
    DESIGN,
    SCANS,
    STUDY_FILE,
    FileGroup,
    refuse_foreign,
    study_file_text,
    unique_name,
)

if TYPE_CHECKING:
    from ...standalone_core.study.plan import StudyPlan
    from ..check.inputs import DesignInput

DESIGN_SHARE = 0.2  # of the reading
SHAPE_DIGITS = 6  # to which an object's scale is trusted: its matrix is single precision


@dataclass(frozen=True, eq=False)
class ScanEntry:
    """One scan of a study.

    Attributes
    ----------
    entry : str
        Tells it from the others, whatever its object is called.
    scan : bpy.types.Object
    name : str
        Of the object, when it was read.
    group : str
        Title of its group.
    file : str
        From the study's folder.
    checksum : str
        Of the object's own mesh.
    matrix : (4, 4) float
        From the object's own coordinates to the file's, mm.
    """

    entry: str
    scan: bpy.types.Object
    name: str
    group: str
    file: str
    checksum: str
    matrix: np.ndarray


@dataclass(eq=False)
class StudyInput:
    """All that a study reads from the scene.

    Attributes
    ----------
    design : inputs.DesignInput
        Its mesh as it is written.
    areas : str
        Checksum of the areas that somebody made.
    title : str
    folder : pathlib.Path
    choices : mapping
    groups : list of FileGroup
    entries : list of ScanEntry
    unreadable : list of mapping
        Scans that cannot be used as they are: name, group, reason, remedy.
    without : tuple of str
        Names of the scans that have no group.
    meshes : dict of str to TriangleMesh
        By file; let go of as they are written.
    """

    design: DesignInput
    areas: str
    title: str
    folder: Path
    choices: Mapping[str, Any]
    groups: list[FileGroup] = field(default_factory=list)
    entries: list[ScanEntry] = field(default_factory=list)
    unreadable: list[dict[str, str]] = field(default_factory=list)
    without: tuple[str, ...] = ()
    meshes: dict[str, TriangleMesh] = field(default_factory=dict)


# Reading the scene ---------------------------------------------------------------------------


def read_steps(context: bpy.types.Context) -> Steps[StudyInput]:
    """Read design and scans of the scene, one at each step.

    Raises
    ------
    CuspwiseError
        The design cannot be used, there is no scan that can, or no folder to write to.
    """
    scene = scene_of(context)
    folder = study_scene.folder_of(scene)
    refuse_foreign(folder)
    choices = study_scene.choices_of(getattr(scene, SCENE_PROPERTIES))
    for facts in ({}, *choices["productions"].values()):
        scene_choices.refuse_unusual({**choices, "production": facts})
    listing = study_scene.listing_of(scene)
    design = yield from scaled(_read_design_steps(context), 0.0, DESIGN_SHARE)
    scene_choices.refuse_missing_areas(choices, design.areas.groups)
    found = StudyInput(
        design=design,
        areas=areas_checksum(design.design, design.areas),
        title=study_scene.title_of(design.design),
        folder=folder,
        choices=choices,
        without=tuple(scan.name for scan in listing.without),
    )
    names: list[str] = []
    done, share = 0, (1.0 - DESIGN_SHARE) / max(listing.count, 1)
    for title, scans in listing.groups.items():
        names.append(unique_name(title, names))
        files: list[str] = []
        for scan in scans:
            begin = DESIGN_SHARE + done * share
            reading = _read_scan_steps(context, scan, title, names[-1], found, files)
            yield from scaled(reading, begin, begin + share)
            done += 1
        if files:
            paths = tuple(f"{SCANS}/{names[-1]}/{name}.ply" for name in files)
            facts = choices["productions"][title.casefold()]
            found.groups.append(FileGroup(names[-1], title, paths, facts))
    if not found.groups:
        raise StudyError(
            "None of its scans can be used. " + " ".join(r["reason"] for r in found.unreadable[:3]),
            subject="Study",
            remedy="Give each scan in the list a group, and correct what is said of them.",
        )
    return found


def file_matrix(
    scan: bpy.types.Object,
    design: bpy.types.Object,
    frame: frames.Frame,
    start: str,
    scene: bpy.types.Scene,
) -> np.ndarray:
    """Return the (4, 4) that takes a scan's own coordinates to those of its file, mm.

    Raises
    ------
    CuspwiseError
        Too few landmarks, where the superimposition starts from them.
    """
    if start == "auto":
        return shape_matrix(scan, frame.scale_mm)
    place = frame.local_to_mm(scan)
    if start == "landmarks":
        on_scan, on_design = landmarks.pairs_mm(design, scan, frame, scene)
        place = fit_point_pairs(on_scan, on_design).T_target_source @ place
    return place


def shape_matrix(obj: bpy.types.Object, scale_mm: float) -> np.ndarray:
    """Return an object's stretch, mirror included, without place and turn, (4, 4), in mm.

    Of the polar decomposition; rounded, so that it does not depend on the turn by the single
    precision of Blender's matrices.
    """
    linear = frames.matrix_of(obj)[:3, :3] * scale_mm
    _, stretch, v = np.linalg.svd(linear)
    shape = (v.T * stretch) @ v
    if np.linalg.det(linear) < 0:
        shape = -shape
    unit = 10.0 ** np.floor(np.log10(max(stretch.max(), 1e-12)))
    matrix = np.eye(4)
    matrix[:3, :3] = np.round(shape / unit, SHAPE_DIGITS) * unit
    return matrix


def _read_design_steps(context: bpy.types.Context) -> Steps[DesignInput]:
    """Read the scene's design as it is written: in its own frame, in single precision."""
    read = yield from scaled(inputs.read_design_steps(context), 0.0, 0.9)
    shape = shape_matrix(read.design, read.frame.scale_mm)
    reading = bridge.read_mesh_steps(read.design, np.eye(4), context.evaluated_depsgraph_get())
    own = yield from scaled(reading, 0.9, 1.0)
    return replace(read, mesh=as_written(own, shape))


def _read_scan_steps(
    context: bpy.types.Context,
    scan: bpy.types.Object,
    title: str,
    group: str,
    found: StudyInput,
    files: list[str],
) -> Steps[None]:
    """Read one scan, or note why it cannot be used."""
    design, start = found.design, found.choices["start"]
    try:
        _refuse_other_scale(scan, design.design)
        read = yield from inputs.read_scan_steps(context, scan, design.frame, np.eye(4))
        matrix = file_matrix(scan, design.design, design.frame, start, scene_of(context))
    except CuspwiseError as error:
        problem = {"reason": error.reason, "remedy": error.remedy}
        found.unreadable.append({"name": scan.name, "group": title, **problem})
        return
    files.append(unique_name(scan.name, files))
    file, entry = f"{SCANS}/{group}/{files[-1]}.ply", uuid.uuid4().hex[:12]
    found.entries.append(ScanEntry(entry, scan, scan.name, title, file, read.checksum, matrix))
    found.meshes[file] = as_written(read.mesh, matrix)


def _refuse_other_scale(scan: bpy.types.Object, design: bpy.types.Object) -> None:
    """Leave out what no check could decide on: its numbers would spoil its group's.

    Raises
    ------
    MeshError
        The scan's object is stretched otherwise than the design's.
    """
    reason = why_other_scale(frames.matrix_of(scan), frames.matrix_of(design))
    if reason:
        raise MeshError(reason, subject=scan.name, remedy=REMEDY)


def as_written(own: TriangleMesh, matrix: np.ndarray) -> TriangleMesh:
    """Return a mesh in the coordinates of its file, in single precision as it is written."""
    moved = own.moved(matrix)
    return TriangleMesh(moved.vertices.astype(np.float32), moved.faces, own.name)


# Writing the files ---------------------------------------------------------------------------


def export_steps(study: StudyInput) -> Steps[StudyPlan]:
    """Write what has changed, and return the plan as it reads from the study file."""
    from ...standalone_core.areas.files import save_areas
    from ...standalone_core.study.file.read import read_plan

    folder = study.folder
    yield Progress("Writing the study file", 0.0)
    with_areas = bool(study.design.areas) or bool(study.design.marks)
    text = study_file_text(study.title, study.groups, study.choices, with_areas=with_areas)
    _make(folder)
    # First of all: it marks the folder as ours, whatever happens later.
    atomic_write(folder / STUDY_FILE, text)
    _write_changed(folder / DESIGN, ply_bytes(study.design.mesh))
    if with_areas:
        areas = yield from scaled(inputs.area_steps(study.design, study.choices), 0.05, 0.5)
        save_areas(folder / AREAS, areas)
    total = len(study.meshes)
    for file in list(study.meshes):
        yield Progress(f"Writing {Path(file).name}", 0.5 + 0.5 * (1 - len(study.meshes) / total))
        target = folder / file
        _make(target.parent)
        _write_changed(target, ply_bytes(study.meshes.pop(file)))
    return read_plan(folder / STUDY_FILE)


def areas_checksum(design: bpy.types.Object, areas: area_groups.UserAreas) -> str:
    """Return a checksum of all that makes a design's areas other than the automatic ones."""
    return f"{areas.checksum} {support_marks.checksum(design, areas.groups)}"


def _write_changed(file: Path, content: bytes) -> None:
    try:
        if file.read_bytes() == content:
            return
    except OSError:
        pass  # not there yet, or not to be read: written, or refused with the reason
    atomic_write(file, content)


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise FileError(
            f"The folder cannot be made ({problem.strerror}).",
            subject=folder,
            remedy="Choose another folder for the study.",
        ) from problem
