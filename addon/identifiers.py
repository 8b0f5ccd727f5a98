"""Every name by which Blender knows something of ours, in one place."""

from __future__ import annotations

OBJECT_PROPERTIES = "cuspwise"
SCENE_PROPERTIES = "cuspwise"
JOB_PROPERTIES = "cuspwise_job"
TAB = "Cuspwise"

# Operators, in the order of the work.
IMPORT_SCANS = "cuspwise.import_scans"
ADD_SCANS = "cuspwise.add_scans"
REMOVE_SCAN = "cuspwise.remove_scan"
CHECK_CROWN = "cuspwise.check_crown"
PICK_LANDMARKS = "cuspwise.pick_landmarks"
REMOVE_LANDMARKS = "cuspwise.remove_landmarks"
SUPERIMPOSE = "cuspwise.superimpose"
RESTORE_POSITION = "cuspwise.restore_position"
FIND_AREAS = "cuspwise.find_areas"
LOAD_AREAS = "cuspwise.load_areas"
SAVE_AREAS = "cuspwise.save_areas"
READ_AREAS_FILE = "cuspwise.read_areas_file"
TOGGLE_AREA = "cuspwise.toggle_area"
WRITE_AREAS_FILE = "cuspwise.write_areas_file"
MARK_SUPPORT = "cuspwise.mark_support"
ASSIGN_MARK = "cuspwise.assign_mark_faces"
REMOVE_MARK = "cuspwise.remove_mark"
MEASURE_MARKS = "cuspwise.measure_marks"
FRAME_MARK = "cuspwise.frame_mark"
MEASURE_DEVIATION = "cuspwise.measure_deviation"
SHOW_COLOUR_MAP = "cuspwise.show_colour_map"
REMOVE_COLOUR_MAP = "cuspwise.remove_colour_map"
READ_VALUE = "cuspwise.read_value"
FRAME_PATCH = "cuspwise.frame_patch"
COPY_TABLE = "cuspwise.copy_table"
EXPORT_REPORT = "cuspwise.export_report"
WRITE_REPORT = "cuspwise.write_report"
FIND_CAUSES = "cuspwise.find_causes"
SHOW_CAUSE_MAP = "cuspwise.show_cause_map"
FRAME_FOUND_PLACE = "cuspwise.frame_found_place"
ACCEPT_FOUND_MARK = "cuspwise.accept_found_mark"
DISMISS_FOUND_MARK = "cuspwise.dismiss_found_mark"
BUILD_DIRECTION_FROM_AXIS = "cuspwise.build_direction_from_axis"
BUILD_DIRECTION_FROM_VIEW = "cuspwise.build_direction_from_view"
PICK_BUILD_DIRECTION = "cuspwise.pick_build_direction"
SEAT_CROWN = "cuspwise.seat_crown"
PUT_ON_DIE = "cuspwise.put_on_die"
BACK_TO_DESIGN = "cuspwise.back_to_design"
SHOW_FIT_MAP = "cuspwise.show_fit_map"
FRAME_FIT_PLACE = "cuspwise.frame_fit_place"
CARRY_OVER_MARGIN_LINE = "cuspwise.carry_over_margin_line"
DRAW_FINISH_LINE = "cuspwise.draw_finish_line"
REMOVE_FINISH_LINE = "cuspwise.remove_finish_line"
SAVE_POLAR_PLOT = "cuspwise.save_polar_plot"
RUN_STUDY = "cuspwise.run_study"
COPY_STUDY_TABLE = "cuspwise.copy_study_table"
SHOW_GROUP_MAP = "cuspwise.show_group_map"
OPEN_STUDY_REPORT = "cuspwise.open_study_report"
CHECK_WALLS = "cuspwise.check_walls"
SHOW_WALLS = "cuspwise.show_walls"
FRAME_THIN_PLACE = "cuspwise.frame_thin_place"
CHECK_CONTACTS = "cuspwise.check_contacts"
SHOW_CONTACTS = "cuspwise.show_contacts"
FRAME_CONTACT = "cuspwise.frame_contact"
ADD_NEIGHBOURS = "cuspwise.add_neighbours"
REMOVE_NEIGHBOUR = "cuspwise.remove_neighbour"
PLACE_SECTION = "cuspwise.place_section"

# On meshes. A result's own number follows, so that a design holds one attribute per scan.
DEVIATION_ATTRIBUTE = "deviation_mm"
UNMATCHED_ATTRIBUTE = "unmatched_mm"
CAUSE_ATTRIBUTE = "cause_mm"
WALL_ATTRIBUTE = "wall_mm"
CONTACT_ATTRIBUTE = "contact_gap_mm"
COLOUR_ATTRIBUTE = "Cuspwise Colours"
STUDY_ATTRIBUTE = "study"

# In the points mesh that keeps a result.
POINT_DEVIATION = "deviation_mm"
POINT_WEIGHT = "weight_mm2"
POINT_STATUS = "status"
POINT_AREAS = "areas"

COLOUR_MATERIAL = "Cuspwise Colours"
AREA_GROUP_PREFIX = "Area: "
LANDMARK_NAME = "Landmark"
AREA_POINTS_NAME = "Cuspwise Area Points"
MARGIN_LINE_NAME = "Margin Line"
FINISH_LINE_NAME = "Finish Line"
RESULT_MESH_NAME = "Cuspwise Result"
CAUSES_MESH_NAME = "Cuspwise Causes"
STUDY_MESH_NAME = "Cuspwise Study"


def deviation_attribute(result_id: str) -> str:
    """Return the name of the float attribute that holds a result's deviations, in mm."""
    return f"{DEVIATION_ATTRIBUTE} {result_id}"


def unmatched_attribute(result_id: str) -> str:
    """Return the name of the float attribute that holds heights of unmatched surface, in mm."""
    return f"{UNMATCHED_ATTRIBUTE} {result_id}"


def cause_attribute(causes_id: str, map_key: str) -> str:
    """Return the name of the float attribute that holds a map of causes, in mm."""
    return f"{CAUSE_ATTRIBUTE} {causes_id} {map_key}"


def fit_attribute(fit_id: str, map_key: str) -> str:
    """Return the name of the float attribute that holds a map of a fit, in mm."""
    return f"{map_key}_mm {fit_id}"
