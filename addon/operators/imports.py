"""Designs and scans out of files: chosen, a whole folder of them, or dropped into the window."""

import os
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import bpy

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.length_units import UNIT_NAMES
from ...standalone_core.mesh.formats import SUFFIX_FORMATS
from ...standalone_core.progress import Steps
from ...standalone_core.words.text import capital, count_words
from .. import identifiers
from ..blender import frames
from ..blender.job import JobOperator
from ..blender.session import Answer, manager_of, our_operators, scene_of, settings_of
from ..check import store
from ..files import placing, reading
from ..files.request import Asked, SceneUnits, likely_design
from . import ready

FILE_UNITS = (
    ("auto", "Automatic", "What the file says, or what its size makes likely"),
    *((unit, capital(words), f"The file is in {words}") for unit, words in UNIT_NAMES.items()),
)
PATTERNS = ";".join(f"*{suffix}" for suffix in SUFFIX_FORMATS)
PROBLEMS_SHOWN = 8
HIDDEN = {"HIDDEN", "SKIP_SAVE"}


class Importer(JobOperator):
    """Base of what reads files; a subclass says in ``asked`` which."""

    if TYPE_CHECKING:
        directory: str
        filepath: str
        files: Any
    unit: bpy.props.EnumProperty(
        name="Unit of the Files", description="Length unit of the files' numbers", items=FILE_UNITS
    )
    # Set where a dialogue comes first: it cannot go on as a job itself.
    from_dialogue = False

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask whether the scene can be added to."""
        return ready.no_job(cls, context)

    def asked(self) -> Asked:
        """Return which files are to be read."""
        raise NotImplementedError

    def start(self, context: bpy.types.Context) -> Steps[Any]:
        """Return the steps of reading all files."""
        settings, scene = settings_of(context), scene_of(context)
        has_design = store.is_in(settings.design, scene)
        units = SceneUnits(
            frames.scene_scale_mm(settings.design, scene) if has_design else None,
            settings.unit,
            scene.unit_settings.system,
            scene.unit_settings.scale_length,
        )
        look = partial(self.asked().files, design_is_chosen=has_design)
        return reading.read_files_steps(look, self.unit, units)

    def finish(self, context: bpy.types.Context, result: Any) -> Steps[str]:
        """Make the objects, list and show them; say what could not be read."""
        if not result.files:
            *others, last = result.problems
            for problem in others:
                self.report({"ERROR"}, str(problem))
            raise last
        yield from placing.add_steps(context, result.files)
        for problem in result.problems:
            self.report({"WARNING"}, str(problem))
        for words in result.passed_over:
            self.report({"INFO"}, words)
        if result.problems and not bpy.app.background:
            _show_problems(context, result.problems)
        return str(result.words)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Read; after a dialogue, hand over to the job."""
        if not self.from_dialogue:
            return super().execute(context)
        asked = self.asked()
        our_operators().read_files(
            "INVOKE_DEFAULT",
            directory=asked.folder,
            files=[{"name": name} for name in asked.names],
            design_file=asked.design,
            group=asked.group,
            unit=self.unit,
        )
        return {"FINISHED"}

    def open_dialogue(self, context: bpy.types.Context) -> Answer:
        """Let somebody choose files or a folder."""
        self.from_dialogue = True
        manager_of(context).fileselect_add(self)
        return {"RUNNING_MODAL"}

    def _names(self) -> tuple[str, ...]:
        return tuple(entry.name for entry in self.files if entry.name)

    def _path_asked(self) -> Asked:
        """Return the one file or folder whose path was given."""
        path = bpy.path.abspath(self.filepath)
        if not path or os.path.isdir(path):
            return Asked(path)
        return Asked(os.path.dirname(path), (os.path.basename(path),))


class ReadFiles(Importer, bpy.types.Operator):
    """Read the files that were chosen in a dialogue."""

    bl_idname = identifiers.READ_FILES
    bl_label = "Import"
    bl_description = "Read the files that were chosen in a dialogue"
    bl_options = {"INTERNAL", "UNDO"}  # noqa: RUF012

    files: bpy.props.CollectionProperty(type=bpy.types.OperatorFileListElement, options=HIDDEN)
    directory: bpy.props.StringProperty(subtype="DIR_PATH", options=HIDDEN)
    design_file: bpy.props.StringProperty(options=HIDDEN)
    group: bpy.props.StringProperty(options=HIDDEN)

    def asked(self) -> Asked:
        """Return the files given."""
        return Asked(self.directory, self._names(), self.design_file, self.group)


class ScansImporter(Importer):
    """Base of what reads scans that were chosen or dropped."""

    filepath: bpy.props.StringProperty(subtype="FILE_PATH", options={"HIDDEN"})
    filter_glob: bpy.props.StringProperty(default=PATTERNS, options={"HIDDEN"})
    files: bpy.props.CollectionProperty(type=bpy.types.OperatorFileListElement, options=HIDDEN)
    directory: bpy.props.StringProperty(subtype="DIR_PATH", options=HIDDEN)
    design_file: bpy.props.StringProperty(
        name="Design",
        description="Which of the files is the design; empty if all of them are scans",
        options=HIDDEN,
    )
    group: bpy.props.StringProperty(
        name="Group", description="Crowns produced the same way share a group; may stay empty"
    )
    dropped = False

    def asked(self) -> Asked:
        """Return the files chosen or dropped."""
        if not self._names():
            asked = self._path_asked()
            return Asked(asked.folder, asked.names, group=self.group)
        return Asked(self.directory, self._names(), self.design_file, self.group)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Answer:
        """Ask for files; read those that were dropped, asking for the design if there is none."""
        if bpy.app.background:
            return self.execute(context)
        if not self._names():
            return self.open_dialogue(context)
        if store.is_in(settings_of(context).design, scene_of(context)):
            return super().invoke(context, event)
        self.from_dialogue = self.dropped = True
        self.design_file = likely_design(self._names())
        manager: Any = manager_of(context)
        answer: Answer = manager.invoke_props_dialog(self, width=380)
        return answer

    def draw(self, _context: bpy.types.Context) -> None:
        """Draw what can be chosen beside the files, or about those that were dropped."""
        layout: Any = self.layout
        layout.use_property_split = True
        if self.dropped:
            files = count_words(len(self._names()), "file")
            layout.label(text=f"{files} dropped. Which is the design? Empty: all are scans.")
            layout.prop_search(self, "design_file", self, "files", icon="MESH_DATA")
        layout.prop(self, "unit")
        layout.prop(self, "group")


class ImportScans(ScansImporter, bpy.types.Operator):
    """Read scans of produced crowns from files and add them to the list.

    Nothing is cleaned up or merged away unseen; unit and size are shown.
    """

    bl_idname = identifiers.IMPORT_SCANS
    bl_label = "Import Scans"
    bl_description = (
        "Read scans of produced crowns from STL, PLY, OBJ, OFF or 3MF files and add them to the "
        "list; with no file chosen, all of the folder. The files are not changed"
    )
    bl_options = {"UNDO"}  # noqa: RUF012


class DropScans(ScansImporter, bpy.types.Operator):
    """Read scans that were dropped; Blender's menu says the label of the operator."""

    bl_idname = identifiers.DROP_SCANS
    bl_label = "Import as Crown Scans"
    bl_description = (
        "Read these files as scans of produced crowns and add them to the list; asks for the "
        "design if none is chosen"
    )
    bl_options = {"UNDO", "INTERNAL"}  # noqa: RUF012


class DesignImporter(Importer):
    """Base of what reads a design that was chosen or dropped."""

    filepath: bpy.props.StringProperty(subtype="FILE_PATH", options={"HIDDEN"})
    filter_glob: bpy.props.StringProperty(default=PATTERNS, options={"HIDDEN"})
    files: bpy.props.CollectionProperty(type=bpy.types.OperatorFileListElement, options=HIDDEN)
    directory: bpy.props.StringProperty(subtype="DIR_PATH", options=HIDDEN)

    def asked(self) -> Asked:
        """Return the file chosen or dropped."""
        names = self._names()
        if not names:
            asked = self._path_asked()
            return Asked(asked.folder, asked.names, "".join(asked.names))
        return Asked(self.directory, names, likely_design(names) or names[0])

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Answer:
        """Ask for the file; read one that was dropped."""
        if bpy.app.background or self._names():
            return super().invoke(context, event)
        return self.open_dialogue(context)


class ImportDesign(DesignImporter, bpy.types.Operator):
    """Read the design from a file and choose it."""

    bl_idname = identifiers.IMPORT_DESIGN
    bl_label = "Import Design"
    bl_description = (
        "Read the modelled crown from an STL, PLY, OBJ, OFF or 3MF file and make it the design. "
        "The file is not changed"
    )
    bl_options = {"UNDO"}  # noqa: RUF012


class DropDesign(DesignImporter, bpy.types.Operator):
    """Read a design that was dropped; Blender's menu says the label of the operator."""

    bl_idname = identifiers.DROP_DESIGN
    bl_label = "Import as Crown Design"
    bl_description = (
        "Read this file as the modelled crown and make it the design; further files, if any, are "
        "scans"
    )
    bl_options = {"UNDO", "INTERNAL"}  # noqa: RUF012


class ImportFolder(Importer, bpy.types.Operator):
    """Read all scans of a folder, each of its subfolders as a group."""

    bl_idname = identifiers.IMPORT_FOLDER
    bl_label = "Import Folder"
    bl_description = (
        "Read every scan of a folder and add it to the list; subfolders give groups their names. "
        "A file whose name begins with design becomes the design if none is chosen"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    directory: bpy.props.StringProperty(subtype="DIR_PATH", options=HIDDEN)
    filter_folder: bpy.props.BoolProperty(default=True, options={"HIDDEN"})
    filter_glob: bpy.props.StringProperty(default=PATTERNS, options={"HIDDEN"})

    def asked(self) -> Asked:
        """Return the folder chosen."""
        return Asked(bpy.path.abspath(self.directory))

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> Answer:
        """Ask for the folder."""
        return self.execute(context) if bpy.app.background else self.open_dialogue(context)


def _show_problems(context: bpy.types.Context, problems: tuple[CuspwiseError, ...]) -> None:
    """Show which files were not read; reports alone are easily missed beside what was read."""

    def draw(menu: Any, _context: bpy.types.Context) -> None:
        for problem in problems[:PROBLEMS_SHOWN]:
            menu.layout.label(text=f"{Path(problem.subject).name}: {problem.reason}")
            menu.layout.label(text=problem.remedy, icon="BLANK1")
        left = len(problems) - PROBLEMS_SHOWN
        if left > 0:
            menu.layout.label(text=f"{left} more; all stand in the Info editor")

    title = f"{count_words(len(problems), 'File')} Not Read"
    manager_of(context).popup_menu(draw, title=title, icon="ERROR")


CLASSES = (ReadFiles, ImportDesign, ImportScans, ImportFolder, DropDesign, DropScans)
