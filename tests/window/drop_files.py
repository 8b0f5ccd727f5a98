"""Runs inside a real window: files come in as Blender hands over what was dropped."""

import subprocess

import bpy
from driver import (
    FACTS,
    OUT,
    area_and,
    clear,
    demo_crown,
    open_tab,
    part,
    picture,
    press,
    printed_errors,
    produced,
    run,
    running,
    settings,
    view,
    wait_for_job,
)

FILES = OUT / "files to drop ü"
EDGE_MM = 0.073  # 190 000 triangles


def prepare():
    """A design, four scans of which one is cut off, and a view that looks elsewhere."""
    clear()
    demo = demo_crown(EDGE_MM)
    mesh = produced(demo, printed_errors(), edge_mm=EDGE_MM).mesh
    FACTS["triangles"] = len(mesh.faces)
    FILES.mkdir()
    write = part("standalone_core.mesh.write").write_mesh
    write(FILES / "design.stl", demo.mesh)
    path = write(FILES / "crown 1.stl", mesh)
    for k in (2, 3):
        (FILES / f"crown {k}.stl").write_bytes(path.read_bytes())
    (FILES / "broken.stl").write_bytes(path.read_bytes()[:-7])
    area, _region = area_and("WINDOW")
    area.spaces.active.region_3d.view_location = (300.0, 0.0, 0.0)
    area.spaces.active.clip_end = 5.0
    return 1.0


def drop(*names):
    """Hand files over as Blender does: its own operator asks which way to take."""
    files = [{"name": name} for name in names]
    with view():
        bpy.ops.wm.drop_import_file("INVOKE_DEFAULT", directory=str(FILES), files=files)
    return 2.0


def drop_without_a_design():
    """The mouse over the view: there Blender opens its menu."""
    subprocess.run(["xdotool", "mousemove", "400", "400"], check=True)
    return drop("crown 1.stl", "design.stl", "crown 2.stl")


def choose_scans():
    """Blender's menu names its own importer and both of ours; C chooses ours for scans."""
    picture("1_which_way")
    press("c")
    return 2.0


def answer():
    """Our question names the likely design; Return is OK."""
    picture("2_which_design")
    press("Return")
    return 0.5


def note_dropped():
    """The design chosen, both scans listed, all in view."""
    picture("3_dropped")
    FACTS["dropped"] = state()
    return 0.0


def drop_a_broken_one():
    """With a design there is no question left but Blender's own."""
    return drop("broken.stl", "crown 3.stl")


def choose_scans_again():
    """Ours again."""
    press("c")
    return 1.0


def note_broken():
    """What could not be read is named with the others in."""
    picture("4_one_broken")
    FACTS["one broken"] = state()
    press("Escape")
    return 1.0


def cancel():
    """Esc while reading: nothing is there that was not."""
    before = set(bpy.data.objects), set(bpy.data.meshes)
    with view():
        files = [{"name": name} for name in ("crown 1.stl", "crown 2.stl", "crown 3.stl")]
        bpy.ops.cuspwise.read_files("INVOKE_DEFAULT", directory=str(FILES), files=files)
    FACTS["started"] = running()
    press("Escape")
    FACTS["before"] = [len(kind) for kind in before]
    return 4.0


def note_cancelled():
    """The counts again."""
    FACTS["after_esc"] = [len(bpy.data.objects), len(bpy.data.meshes)]
    FACTS["running"] = running()
    return -1.0


def state():
    """What there is now."""
    area, region = area_and("WINDOW")
    space = area.spaces.active
    objects = [settings().design, *(item.scan for item in settings().scans)]
    return {
        "design": getattr(settings().design, "name", None),
        "scans": [item.scan.name for item in settings().scans],
        "row": settings().scan_index,
        "in_view": [in_view(obj, region, space) for obj in objects if obj],
    }


def in_view(obj, region, space):
    """Whether all corners of an object's box are within the view and its limits."""
    from bpy_extras.view3d_utils import location_3d_to_region_2d
    from mathutils import Vector

    for corner in obj.bound_box:
        world = obj.matrix_world @ Vector(corner)
        at = location_3d_to_region_2d(region, space.region_3d, world)
        depth = -(space.region_3d.view_matrix @ world).z
        if at is None or not (0 <= at.x <= region.width and 0 <= at.y <= region.height):
            return False
        if not space.clip_start < depth < space.clip_end:
            return False
    return True


STEPS = [
    prepare,
    open_tab,
    open_tab,
    drop_without_a_design,
    choose_scans,
    answer,
    wait_for_job,
    note_dropped,
    drop_a_broken_one,
    choose_scans_again,
    wait_for_job,
    note_broken,
    cancel,
    note_cancelled,
]


run(STEPS)
