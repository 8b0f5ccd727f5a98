"""Runs inside a real window: directions, thresholds, lists of areas and a study's question.

Only the panels that a picture is of are registered, and open, so that no click has to find them.
"""

import bpy
from driver import (
    FACTS,
    add,
    area_and,
    clear,
    demo_crown,
    design,
    look_at,
    open_tab,
    part,
    picture,
    printed_errors,
    produced,
    run,
    scan,
    settings,
    view,
    wait_for_job,
)
from mathutils import Euler

EDGE_MM = 0.3
OPENED = []


def opened_copy(cls):
    """The same panel by another name, since Blender remembers which ones are closed."""
    kept = {n: v for n, v in vars(cls).items() if n not in ("__dict__", "__weakref__", "bl_rna")}
    kept |= {"bl_idname": f"{cls.bl_idname}_open", "bl_options": set()}
    if "bl_parent_id" in kept:
        kept["bl_parent_id"] += "_open"
    return type(f"{cls.__name__}Open", cls.__bases__, kept)


def only(*names):
    """Show only these panels, all of them open."""
    panels = [c for c in part("addon.panels").CLASSES if issubclass(c, bpy.types.Panel)]
    for cls in reversed([*panels, *OPENED]):
        if cls.is_registered:
            bpy.utils.unregister_class(cls)
    OPENED.clear()
    for cls in panels:
        if cls.__name__ in names:
            OPENED.append(opened_copy(cls))
            bpy.utils.register_class(OPENED[-1])
    area, _ = area_and("UI")
    area.tag_redraw()
    return 2.0


def start():
    """A printed crown on its design, which is checked with the mesial direction of the view."""
    clear()
    demo = demo_crown(EDGE_MM)
    mesh = produced(demo, printed_errors(), EDGE_MM).mesh
    settings().design = add("Design", demo.mesh.vertices, demo.mesh.faces)
    settings().spacing_mm = EDGE_MM
    look_at(design(), "TOP")
    add("Scan", mesh.vertices, mesh.faces).select_set(True)
    with view():
        bpy.ops.cuspwise.add_scans()
        for kind, way in (("mesial_direction", "RIGHT"), ("buccal_direction", "UP")):
            bpy.ops.cuspwise.design_direction_from_view(kind=kind, way=way)
        FACTS["mesial"] = list(design().cuspwise.mesial_direction)
        bpy.ops.cuspwise.check_crown("INVOKE_DEFAULT")
    return 1.0


def own_area():
    """An area of one's own, named in two lists."""
    heights = sorted(v.co.z for v in design().data.vertices)
    limit = heights[int(0.8 * len(heights))]
    with view():
        for vertex in design().data.vertices:
            vertex.select = vertex.co.z > limit
        bpy.ops.cuspwise.make_area(area="cusp tips")
        bpy.ops.cuspwise.add_area_row(rows="tolerances", area="cusp tips")
        bpy.ops.cuspwise.add_area_row(rows="tolerances", area="contact_mesial")
        bpy.ops.cuspwise.add_area_row(rows="scanners", area="margin")
        bpy.ops.cuspwise.add_area_row(rows="fit_areas", area="external")
        bpy.ops.cuspwise.add_area_row(rows="fit_areas", area="cusp tips")
        bpy.ops.cuspwise.add_area_row(rows="equivalences", area="margin")
        bpy.ops.cuspwise.check_crown("INVOKE_DEFAULT")
    return 1.0


def checked():
    """The result names places around the margin; the areas are shown with their colours."""
    FACTS["state"] = scan().cuspwise.state
    profile = part("addon.check.store").profile_of(scan())
    FACTS["words"] = profile.directions.words(0.0)
    icons = part("addon.drawing.colour_icons")
    FACTS["icons"] = len({icons.icon_of(colour) for colour in ("#e69f00", "#56b4e9", "#009e73")})
    settings().show_areas = True
    area, _ = area_and("UI")
    look_at(design(), "TOP")
    area.spaces.active.region_3d.view_rotation = Euler((0.9, 0.0, 0.3)).to_quaternion()
    return open_tab()


def areas():
    """The list of areas and the directions."""
    return only("AreasPanel", "DirectionsPanel")


def arrows():
    """How many arrows are drawn."""
    picture("choices_1_areas")
    with view():
        FACTS["arrows"] = len(part("addon.drawing.direction_arrows")._seen(bpy.context))
    return only("AreaThresholdsPanel", "AreasPanel")


def thresholds():
    """Every threshold of the areas."""
    picture("choices_2_all")
    with view("UI"):
        for _ in range(40):
            bpy.ops.view2d.scroll_down()
    return 1.0


def fit():
    """The superimposition's choices."""
    picture("choices_2_thresholds")
    settings().fit_area = "LISTED"
    settings().superimpose.fit_weighting = "robust"
    with view("UI"):
        for _ in range(60):
            bpy.ops.view2d.scroll_up()
    return only("SuperimposePanel", "BestFitPanel", "DoubtPanel")


def tolerances():
    """Tolerances of any area."""
    picture("choices_3_fit")
    return only("DeviationPanel", "TolerancesPanel")


def rules():
    """The rules of verdicts, and what is measured with."""
    picture("choices_4_tolerances")
    return only("DeviationPanel", "PointsPanel", "VerdictsPanel")


def question():
    """All that a study is asked."""
    picture("choices_5_rules")
    settings().scans[0].group = "Printed"
    chosen = settings().study
    chosen.own_comparisons = True
    with view():
        bpy.ops.cuspwise.add_comparison(area="margin", measure="mean_abs_um")
        bpy.ops.cuspwise.add_comparison(area="cusp tips", measure="half_p90_p10_um")
    asked = part("addon.panels.study_question")

    def opened(layout, context, _name, title, draw):
        layout.label(text=title)
        draw(layout, context)

    asked._draw_part = opened

    class Asking(part("addon.panels.base").SidebarPanel, bpy.types.Panel):
        bl_idname = "CUSPWISE_PT_asking"
        bl_label = "Study Question"

        def draw(self, context):
            asked.draw_question(self.layout, context)

    only()
    bpy.utils.register_class(Asking)
    return 2.0


def scrolled():
    """Its lower half."""
    picture("choices_6_question")
    with view("UI"):
        for _ in range(40):
            bpy.ops.view2d.scroll_down()
    return 1.5


def end():
    """Write what was noted."""
    picture("choices_7_analysis")
    return -1.0


STEPS = [
    start,
    wait_for_job,
    own_area,
    wait_for_job,
    checked,
    areas,
    arrows,
    thresholds,
    fit,
    tolerances,
    rules,
    question,
    scrolled,
    end,
]


run(STEPS)
