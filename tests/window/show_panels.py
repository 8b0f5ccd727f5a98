"""Runs inside a real window: a picture of every panel, open, in a light theme and large letters.

Started by hand, with ``GUI_WAIT=done GUI_SIZE=1920x1080``; the pictures are to be looked at.
"""

import bpy
from driver import (
    FACTS,
    OUT,
    add,
    add_teeth,
    area_and,
    clear,
    demo_crown,
    part,
    picture,
    printed_errors,
    produced,
    run,
    running,
    scan,
    settings,
    view,
)

EDGE_MM, SCALE, PAGES = 0.4, 1.5, 5
LEFT = []
GROUPS = ("Milled", "Printed on a platform that is tilted")


def look():
    """The light theme that comes with Blender, and letters for a screen of many pixels."""
    import glob

    (theme,) = (
        file
        for folder in bpy.utils.preset_paths("interface_theme")
        for file in glob.glob(f"{folder}/*ight.xml")
    )
    bpy.ops.script.execute_preset(filepath=theme, menu_idname="USERPREF_MT_interface_theme_presets")
    bpy.context.preferences.view.ui_scale = SCALE
    return 1.0


def prepare():
    """Four crowns in two groups, with a die, neighbours and an antagonist."""
    clear()
    demo = demo_crown(EDGE_MM)
    settings().design = add("Design", demo.mesh.vertices, demo.mesh.faces)
    settings().spacing_mm = EDGE_MM
    for number in range(4):
        mesh = produced(demo, printed_errors(), edge_mm=EDGE_MM, seed=number).mesh
        add(f"Upper_left_first_molar_scan_{number + 1}", mesh.vertices, mesh.faces)
        bpy.context.scene.objects[-1].select_set(True)
        with view():
            bpy.ops.cuspwise.add_scans()
            bpy.ops.object.select_all(action="DESELECT")
        settings().scans[-1].group = GROUPS[number // 2]
    made = part("standalone_core.demo.die").demo_die(
        demo, cement_um=60.0, margin_um=40.0, edge_mm=EDGE_MM
    )
    fit = settings().fit
    fit.die = add("Die", made.mesh.vertices, made.mesh.faces)
    fit.crown, fit.mesial, fit.buccal, fit.cement_space_um = "DESIGN", "POS_X", "POS_Y", 60.0
    add_teeth(demo, EDGE_MM)
    with view():
        bpy.ops.cuspwise.design_direction_from_axis(kind="mesial_direction", axis="POS_X")
    settings().study.folder = str(OUT / "study")
    part("standalone_core.report.study.output").can_plot = lambda: False  # which takes long
    settings().study.equivalence_um = 5.0
    area, _region = area_and("UI")
    area.spaces.active.show_region_ui = True
    return 1.0


def start(name, **options):
    """Start a job, and wait for its end."""
    begun = []

    def step():
        if not begun:
            begun.append(True)
            with view():
                getattr(bpy.ops.cuspwise, name)("INVOKE_DEFAULT", **options)
            return None
        return None if running() else 0.5

    return step


def mark():
    """Two support marks."""
    import numpy as np

    marks = part("addon.areas.support_marks")
    target = marks.target(
        settings().design, bpy.context.scene, bpy.context.evaluated_depsgraph_get()
    )
    shape = part("standalone_core.demo.shape").CrownShape()
    for spot in printed_errors().spots[:2]:
        place = shape.points(np.array(np.deg2rad(spot.angle_deg)), np.array(spot.s_mm))
        marks.mark(target, place, 0.5, "support")
    facts = settings().causes.production
    facts.way, facts.enlargement = "printed", 1.245
    return 0.5


def panels():
    """Every panel's class, in the order in which they stand."""
    return [c for c in part("addon.panels").CLASSES if issubclass(c, bpy.types.Panel)]


def open_panels():
    """Have every panel open when it is drawn for the first time."""
    for cls in reversed(panels()):
        bpy.utils.unregister_class(cls)
        cls.bl_options = getattr(cls, "bl_options", set()) - {"DEFAULT_CLOSED"}
    for cls in panels():
        bpy.utils.register_class(cls)
    question = part("addon.panels.study_question")
    question._draw_part = lambda layout, context, _name, title, draw: (
        layout.label(text=title),
        draw(layout, context),
    )
    part("addon.panels.study")._draw_question = question.draw_question
    return 0.5


def clear_panels():
    """Take all of them away; each will come back alone."""
    for cls in reversed(panels()):
        bpy.utils.unregister_class(cls)
    tops = [cls for cls in panels() if not getattr(cls, "bl_parent_id", "")]
    LEFT.extend(step for top in tops for step in pictures(top))
    return 0.5


def one_by_one():
    """Take the pictures of all panels."""
    if not LEFT:
        return 0.0
    LEFT.pop(0)()
    return None


def pictures(top):
    """Show one panel with those in it, page by page."""
    family = [top]
    for cls in panels():
        if getattr(cls, "bl_parent_id", "") in {one.bl_idname for one in family}:
            family.append(cls)

    def show():
        if top.__name__ == "FitPanel":
            settings().fit.crown = "DESIGN"
        for cls in family:
            bpy.utils.register_class(cls)
        area_and("UI")[1].tag_redraw()

    def page(number):
        def step():
            picture(f"panel_{top.__name__}_{number}")
            with view("UI"):
                bpy.ops.view2d.scroll_down(page=True)

        return step

    def hide():
        with view("UI"):
            for _ in range(PAGES):
                bpy.ops.view2d.scroll_up(page=True)
        for cls in reversed(family):
            bpy.utils.unregister_class(cls)

    return [show, show_again, show_again, *(page(number) for number in range(PAGES)), hide]


def show_again():
    """Draw it once more, in the tab that is there now."""
    region = area_and("UI")[1]
    region.active_panel_category = "Cuspwise"
    region.tag_redraw()


def whole():
    """All panels as they are when they are new."""
    _area, region = area_and("UI")
    region.active_panel_category = "Cuspwise"
    FACTS["state"] = scan().cuspwise.state
    return 1.5


def end():
    """Nothing more."""
    return -1.0


STEPS = [
    look,
    open_panels,
    prepare,
    whole,
    lambda: picture("panel_whole") or 0.2,
    start("run_study"),
    mark,
    start("measure_marks"),
    start("find_causes"),
    start("seat_crown"),
    start("check_walls"),
    start("check_contacts"),
    whole,
    lambda: picture("panel_done") or 0.2,
    clear_panels,
    one_by_one,
    end,
]


run(STEPS)
