"""The panels of the sidebar tab; each says in a line what is done and what is next."""

import math

import bpy

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.report.check.margin_words import margin_details, margin_line
from ...standalone_core.shares import share_words
from ...standalone_core.words.names import (
    NO_TOLERANCE,
    NOT_DECIDABLE,
    OUTSIDE,
    VERDICT_WORDS,
    WITHIN,
    area_words,
)
from ...standalone_core.words.text import capital, micrometres
from .. import identifiers
from ..blender import bridge
from ..blender.units import unit_words
from ..check import judging, kept_points, landmarks, store, verdict_lines
from ..check.inputs import judging_choices, tolerances_of
from ..drawing import colour_map
from ..properties import choices
from .areas import AreasPanel
from .base import SidebarPanel, draw_job, say, settings_of

VERDICT_ICONS = {
    WITHIN: "CHECKMARK",
    OUTSIDE: "CANCEL",
    NOT_DECIDABLE: "QUESTION",
    NO_TOLERANCE: "NONE",
    "": "NONE",
}
STATE_ICONS = {
    "NONE": "MESH_DATA",
    "PLACED": "SNAP_ON",
    "CURRENT": "CHECKMARK",
    "STALE": "ERROR",
}


# Patches that the scan shows alone; unmatched ones have an icon of their own.
PATCH_ICONS = {"scan": "MESH_ICOSPHERE"}


class ScanList(bpy.types.UIList):
    """The list of scans with group and state."""

    bl_idname = "CUSPWISE_UL_scans"

    def draw_item(self, _context, layout, _data, item, _icon, _active, _property, _index):
        """Draw one scan."""
        if item.scan is None or not item.scan.users_scene:
            layout.label(text="(deleted)", icon="X")
            return
        state = store.data_of(item.scan).state
        row = layout.row(align=True)
        row.prop(item.scan, "name", text="", emboss=False, icon=STATE_ICONS[state])
        row.prop(item, "group", text="", emboss=False, placeholder="group")


class PatchList(bpy.types.UIList):
    """The list of patches outside the tolerance: worst place, area, size."""

    bl_idname = "CUSPWISE_UL_patches"

    def draw_item(self, _context, layout, _data, item, _icon, _active, _property, _index):
        """Draw one patch."""
        names = item.where.split(",")
        finer = [name for name in names if name not in ("whole", "external")] or names
        words = ["unmatched"] if item.unmatched else [area_words(name) for name in finer[:2]]
        icon = "UNLINKED" if item.unmatched else PATCH_ICONS.get(item.seen_from, "NONE")
        peak = layout.split(factor=0.2)
        peak.label(text=micrometres(item.peak_um, signed=True, digits=0))
        rest = peak.split(factor=0.63)
        rest.label(text=", ".join(words), icon=icon)
        rest.label(text=f"{item.area_mm2:.{2 if item.area_mm2 < 10.0 else 1}f} mm²")


class DesignAndScans(SidebarPanel, bpy.types.Panel):
    """Choose what is compared with what."""

    bl_idname = "CUSPWISE_PT_scans"
    bl_label = "Design and Scans"

    def draw(self, context):
        """Draw pickers, list and the main button."""
        layout, settings = self.layout, settings_of(context)
        say(layout, context, _next_step(context), "INFO")
        layout.prop(settings, "design")
        design = settings.design
        if store.is_in(design, context.scene):
            say(layout, context, _size_words(design, context.scene))
        layout.prop(settings, "unit")
        row = layout.row()
        row.template_list(ScanList.bl_idname, "", settings, "scans", settings, "scan_index", rows=3)
        buttons = row.column(align=True)
        buttons.operator(identifiers.ADD_SCANS, text="", icon="ADD")
        buttons.operator(identifiers.REMOVE_SCAN, text="", icon="REMOVE")
        layout.operator(identifiers.IMPORT_SCANS, icon="IMPORT")
        scan = colour_map.selected_scan(context.scene)
        if scan is not None:
            for line in store.data_of(scan).file_notes.splitlines():
                say(layout, context, line)
        draw_job(layout, context)
        main = layout.column()
        main.scale_y = 1.4
        main.operator(identifiers.CHECK_CROWN, icon="PLAY")


class SuperimposePanel(SidebarPanel, bpy.types.Panel):
    """Lay the scan on its design."""

    bl_idname = "CUSPWISE_PT_superimpose"
    bl_label = "Superimpose"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context):
        """Draw choices and how well it fits."""
        layout, settings = self.layout, settings_of(context)
        layout.prop(settings, "start")
        if settings.start == "landmarks":
            _draw_landmarks(layout, context)
        layout.prop(settings, "fit_area")
        layout.operator(identifiers.SUPERIMPOSE)
        layout.operator(identifiers.RESTORE_POSE)
        scan = colour_map.selected_scan(context.scene)
        kept = store.superimposition_of(scan) if scan else None
        if kept is None:
            say(layout, context, "The scan has not been superimposed yet.")
            return
        icon = "CHECKMARK" if kept["verdict"] == "good" else "ERROR"
        for line in kept["lines"]:
            say(layout, context, line, icon)
            icon = "NONE"
        for line in kept["warnings"]:
            say(layout, context, line, "ERROR")


class DeviationPanel(SidebarPanel, bpy.types.Panel):
    """Measure and show."""

    bl_idname = "CUSPWISE_PT_deviation"
    bl_label = "Deviation"

    def draw(self, context):
        """Draw measuring, colours and limits."""
        layout, settings = self.layout, settings_of(context)
        layout.operator(identifiers.MEASURE_DEVIATION)
        if settings.show_colours:
            layout.operator(identifiers.REMOVE_COLOUR_MAP)
        if settings.show_colours and not settings.study.shown:
            layout.row().prop(settings, "shown", expand=True)
        else:
            layout.operator(identifiers.SHOW_COLOUR_MAP)
        layout.operator(identifiers.READ_VALUE)
        layout.prop(settings, "limit_is_automatic")
        row = layout.row()
        row.enabled = not settings.limit_is_automatic
        row.prop(settings, "limit_um")
        layout.prop(settings, "palette")


class TolerancesPanel(SidebarPanel, bpy.types.Panel):
    """What is good enough."""

    bl_idname = "CUSPWISE_PT_tolerances"
    bl_parent_id = DeviationPanel.bl_idname
    bl_label = "Tolerances"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context):
        """Draw the tolerances."""
        settings = settings_of(context)
        column = self.layout.column(align=True)
        for area in ("whole", "occlusal", "margin"):
            column.prop(settings, f"tolerance_{area}_um")
        self.layout.prop(settings, choices.MISSING)
        self.layout.prop(settings, "scanner_um")
        column = self.layout.column(align=True)
        column.label(text="Unmatched scan surface:")
        for name in choices.UNMATCHED:
            column.prop(settings, name)


class PointsPanel(SidebarPanel, bpy.types.Panel):
    """Where is measured."""

    bl_idname = "CUSPWISE_PT_points"
    bl_parent_id = DeviationPanel.bl_idname
    bl_label = "Points"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context):
        """Draw the settings of the points."""
        column = self.layout.column(align=True)
        column.prop(settings_of(context), "spacing_mm")
        column.prop(settings_of(context), "search_mm")


class ResultsPanel(SidebarPanel, bpy.types.Panel):
    """Numbers and verdicts."""

    bl_idname = "CUSPWISE_PT_results"
    bl_label = "Results"

    def draw(self, context):
        """Draw the verdict, the table and the ways out."""
        layout, scan = self.layout, colour_map.selected_scan(context.scene)
        kept = store.result_of(scan) if scan else None
        if kept is None:
            say(layout, context, "Nothing measured yet. Check Crown does it all.")
            return
        data = store.data_of(scan)
        if data.state == "STALE":
            say(layout, context, f"Stale: {data.state_reason} Check again.", "ERROR")
        if judging.is_behind(kept, judging_choices(settings_of(context))):
            say(layout, context, "Comparing with the new limits; below is what was before.", "TIME")
        _draw_verdicts(layout, context, kept)
        profile = kept_points.read_profile(data.result_points, kept)
        if profile is not None:
            _draw_margin(layout, context, profile)
        _draw_patches(layout, context, kept, data)
        warnings = kept["check"]["warnings"]
        if warnings:
            box = layout.box()
            box.label(text="Read before trusting the numbers", icon="ERROR")
            for line in warnings:
                say(box, context, line)
        row = layout.row(align=True)
        row.operator(identifiers.COPY_TABLE, icon="COPYDOWN")
        row.operator(identifiers.EXPORT_REPORT, icon="EXPORT")


def _draw_landmarks(layout, context):
    design, scan = settings_of(context).design, colour_map.selected_scan(context.scene)
    if store.is_in(design, context.scene) and scan is not None:
        count = landmarks.pair_count(design, scan, context.scene)
        say(layout, context, f"{count} landmark pairs; three or more are needed.")
    row = layout.row(align=True)
    row.operator(identifiers.PICK_LANDMARKS)
    row.operator(identifiers.REMOVE_LANDMARKS, text="", icon="X")


def _draw_verdicts(layout, context, kept):
    """Draw all verdicts in a line, then the areas; what several share stands above them."""
    verdicts = {verdict.area: verdict for verdict in store.verdicts_of(kept)}
    above = verdict_lines.opening(tuple(verdicts.values()))
    say(layout, context, f"{above.title}.", VERDICT_ICONS[above.verdict])
    for line in above.reasons:
        say(layout, context, line)
    for line in above.caveats:
        say(layout, context, line, "INFO")
    back = {row["area"]: row for row in store.rows_of(kept, "scan_to_design")}
    tolerances = tolerances_of(kept["choices"])
    for row in store.rows_of(kept):
        verdict = verdicts[row["area"]]
        why = verdict_lines.reasons(verdict, kept["check"], tolerances)
        why = [line for line in why if line not in above.reasons]
        _draw_area(layout, context, row, back.get(row["area"]), verdict, why)


def _draw_area(layout, context, row, back, verdict, why):
    """Draw the numbers of one area line by line: a row of seven would not fit a sidebar."""
    box = layout.box().column(align=True)
    name = area_words(row["area"])
    title = capital(name)
    if verdict.verdict not in ("", NO_TOLERANCE):
        title += f": {VERDICT_WORDS[verdict.verdict]}"
    box.label(text=title, icon=VERDICT_ICONS.get(verdict.verdict, "NONE"))
    for line in why:
        say(box, context, line)
    size, rms, spread = (
        micrometres(row[number]) for number in ("mean_abs_um", "rms_um", "half_p90_p10_um")
    )
    mean = micrometres(row["mean_um"], signed=True)
    box.label(text=f"mean |d| {size} · RMS {rms} µm")
    from_scan = verdict_lines.back_line(back) if back else ""
    if from_scan:
        box.label(text=from_scan)
    box.label(text=f"(P90−P10)/2 {spread} · mean {mean} µm")
    unmatched = verdict_lines.unmatched_line(verdict)
    if unmatched:
        box.label(text=unmatched)
    last = f"measured {share_words(row['coverage'])}"
    if math.isfinite(row["within_tolerance"]):
        last = f"{share_words(row['within_tolerance'])} in ±{row['tolerance_um']:g} µm · {last}"
    box.label(text=last)
    if row["reason"] and verdict.verdict != NOT_DECIDABLE:
        say(box, context, row["reason"], "ERROR")


def _draw_margin(layout, context, profile):
    """Say how far the margin is beyond its limits; at length where it is drawn."""
    settings = settings_of(context)
    box = layout.box()
    say(box, context, margin_line(profile.summary))
    icon = "HIDE_OFF" if settings.show_margin else "HIDE_ON"
    box.prop(settings, "show_margin", icon=icon)
    if settings.show_margin:
        for line in margin_details(profile.summary):
            say(box, context, line)


def _draw_patches(layout, context, kept, data):
    """Draw the list of patches; clicking one brings it into view."""
    patches, limit = kept["check"]["patches"], kept["patch_limit_um"]
    if limit is None:
        return
    count = len(patches)
    if not count:
        say(layout, context, f"No patch lies beyond ±{limit:g} µm.")
        return
    listed = f", the {len(data.patches)} worst" if count > len(data.patches) else ""
    say(
        layout,
        context,
        f"Patches beyond ±{limit:g} µm ({count}{listed}), peaks in µm; click to look:",
    )
    layout.template_list(
        PatchList.bl_idname, "", data, "patches", data, "patch_index", rows=4, maxrows=8
    )
    if 0 <= data.patch_index < min(count, len(data.patches)):
        for line in verdict_lines.patch_lines(patches[data.patch_index]):
            say(layout, context, line)


def _next_step(context):
    """Say in a line what is next."""
    settings = settings_of(context)
    scan = colour_map.selected_scan(context.scene)
    if not store.is_in(settings.design, context.scene):
        return "Choose the design, the crown that was modelled."
    if scan is None:
        return "Import the scan of the produced crown, or add a selected mesh."
    return {
        "NONE": "Press Check Crown to do everything with the defaults.",
        "PLACED": "The scan is superimposed; measure its deviation.",
        "CURRENT": "Measured. Read the results below.",
        "STALE": f"{store.data_of(scan).state_reason} Check again.",
    }[store.data_of(scan).state]


def _size_words(design, scene):
    try:
        scale = bridge.scene_scale_mm(design, scene)
    except CuspwiseError as error:
        return f"{error.reason} {error.remedy}"
    return f"{unit_words(scale)}; longest side {scale * bridge.longest_side(design):.2f} mm."


CLASSES = (
    ScanList,
    PatchList,
    DesignAndScans,
    SuperimposePanel,
    AreasPanel,
    DeviationPanel,
    TolerancesPanel,
    PointsPanel,
    ResultsPanel,
)
