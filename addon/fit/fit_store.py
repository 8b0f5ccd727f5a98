"""Fits kept in the .blend, on the crown they belong to.

The crown carries what was found as text, the places around its margin as another, and the map of
the gap (of the relief too, where it cannot go on) as attributes of its mesh, in mm. All of it
goes with the object through saving, renaming, copying and appending. A fit is out of date once a
surface, the finish line, the place of the design on the die, or what was chosen is another.

Places are kept in the crown's own coordinates and the seat as the motion from these to the frame
of the fit, so that it does not matter where the crown lies: it may be moved, and shown on its die.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterator
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.fit.gap.result import GapMap
from ...standalone_core.progress import Progress, Steps
from ...standalone_core.report.fit.colours import gap_limit_um, relief_limit_um
from ...standalone_core.report.fit.document import fit_document
from ..blender import bridge, frames, updates
from ..blender.session import mesh_of, persistent
from ..check import placement, store
from ..identifiers import SCENE_PROPERTIES, fit_attribute
from . import finish_line, fit_lines, kept_margin
from .fit_settings import choices_of
from .seating import ToSeat, frame_of

if TYPE_CHECKING:
    from ...standalone_core.fit.result import FitResult

VERSION = 1
GAP, RELIEF = "gap", "relief"


def fit_of(crown: bpy.types.Object | None) -> dict[str, Any] | None:
    """Return the fit kept of a crown; None without one, or from a version not known here."""
    text = store.data_of(crown).fit.text if crown is not None else ""
    if not text:
        return None
    kept = _read(text)
    return kept if kept.get("version") == VERSION else None


def kept_frame(crown: bpy.types.Object, scene: bpy.types.Scene) -> frames.Frame:
    """Return the frame of a kept fit, where its design or die lies now.

    Raises
    ------
    CuspwiseError
        The length of a unit cannot be told.
    """
    data, kept = store.data_of(crown).fit, fit_of(crown)
    assert kept is not None
    lies = kept["choices"]["lies_on_die"]
    return frame_of(scene, data.design, data.die, lies_on_die=lies)


# Keeping -------------------------------------------------------------------------------------


def keep_steps(read: ToSeat, result: FitResult, design: bpy.types.Object) -> Steps[None]:
    """Keep a fit, in the place of the one before, step by step."""
    yield Progress("Keeping the fit", 0.0)
    crown, fit_id = read.crown.obj, uuid.uuid4().hex[:8]
    maps, limits = _maps(result)
    forget(crown)
    source = result.crown.evaluation.design.vertices
    for number, (key, values_um) in enumerate(maps.items()):
        yield Progress("Keeping the maps", 0.2 + 0.3 * number)
        own = bridge.carried_to(read.crown.mesh.vertices, source, values_um[: len(source)])
        bridge.write_attribute(mesh_of(crown), fit_attribute(fit_id, key), "FLOAT", 1e-3 * own)
    yield Progress("Keeping the fit", 0.8)
    kept = {
        "version": VERSION,
        "choices": dict(read.choices),
        "made_with": _made_with(read),
        "limits_um": limits,
        **_places(read, result),
        **fit_lines.of_result(result),
        "fit": fit_document(result),
    }
    data = store.data_of(crown).fit
    data.fit_id, data.margin = fit_id, kept_margin.text_of(result.margin)
    data.design, data.die = design, read.die.obj
    data.seated = None if read.seated is None else read.seated.obj
    data.reason, data.problem = "", ""
    data.text = json.dumps(kept)


def forget(crown: bpy.types.Object) -> None:
    """Drop a crown's fit, and its maps where no copy of the crown needs them."""
    data = store.data_of(crown).fit
    fit_id = data.fit_id
    data.fit_id, data.text, data.margin, data.reason = "", "", "", ""
    if fit_id and not any(store.data_of(o).fit.fit_id == fit_id for o in bpy.data.objects):
        for key in (GAP, RELIEF):
            bridge.drop_attribute(mesh_of(crown), fit_attribute(fit_id, key))


def _maps(result: FitResult) -> tuple[dict[str, np.ndarray], dict[str, float]]:
    """Return the maps at the crown's evaluation points, µm, and the limits of their colours."""
    maps, limits = {}, {}
    if result.gap is not None:
        maps[GAP], limits[GAP] = result.gap.gap_um, gap_limit_um(result.gap)
    relief = None if result.seat is None else result.seat.relief
    if relief is not None:
        inside = np.where(result.crown.intaglio, relief.relief_um, np.nan)
        maps[RELIEF], limits[RELIEF] = inside, relief_limit_um(relief.relief_um)
    return maps, limits


def _made_with(read: ToSeat) -> dict[str, Any]:
    """Return what a fit depends on, as plain data."""
    design, seated = read.design, read.seated
    return {
        "crown": read.crown.checksum,
        "die": read.die.checksum,
        "design": "" if design is None else design.checksum,
        "seated": "" if seated is None else seated.checksum,
        "line": read.line_print,
        "crown_linear": read.crown.local_to_mm[:3, :3].tolist(),
        "die_place": read.die.local_to_mm.tolist(),
        "design_linear": None if design is None else design.local_to_mm[:3, :3].tolist(),
    }


def _places(read: ToSeat, result: FitResult) -> dict[str, Any]:
    """Return seat and places in coordinates that go with the objects."""
    assert result.T_die_crown is not None  # or there would be nothing to keep
    assert result.die is not None
    to_own = np.linalg.inv(read.crown.local_to_mm)
    spots = () if result.seat is None else result.seat.spots
    margin = result.margin
    widest = None
    if margin is not None and margin.measured.any():
        place = margin.finish_mm[
            int(np.nanargmax(np.where(margin.measured, margin.gap_um, np.nan)))
        ]
        widest = _moved(np.linalg.inv(read.die.local_to_mm), place)
    return {
        "seat_of_own": (result.T_die_crown @ read.crown.local_to_mm).tolist(),
        "axis": result.die.axis.tolist(),
        "spots_own": [_moved(to_own, spot.crown_place_mm) for spot in spots],
        "widest_on_die": widest,
    }


def _moved(motion: np.ndarray, place: np.ndarray) -> list[float]:
    moved: list[float] = (motion[:3, :3] @ place + motion[:3, 3]).tolist()
    return moved


@lru_cache(maxsize=8)
def _read(text: str) -> dict[str, Any]:
    kept: dict[str, Any] = json.loads(text)
    return kept


# Out of date or not ---------------------------------------------------------------------------


def why_out_of_date(crown: bpy.types.Object, scene: bpy.types.Scene) -> str:
    """Say why the fit kept no longer belongs to what is shown; empty if it does.

    Of the objects it says what was last noticed; :func:`refresh` looks at them.
    """
    kept, data = fit_of(crown), store.data_of(crown).fit
    if kept is None:
        return "It was seated with another version." if data.text else ""
    settings = getattr(scene, SCENE_PROPERTIES)
    now, then = choices_of(settings), kept["choices"]
    line, print_then = finish_line.there(data.die), kept["made_with"]["line"]
    edited = line is not None and line.mode == "EDIT"
    changes = (
        (bool(data.reason), str(data.reason)),
        (settings.fit.die != data.die, "Another die is chosen."),
        (settings.fit.seated != data.seated, "Another scan of the seated crown is chosen."),
        (settings.design != data.design, "Another design is chosen."),
        # The crown is the same, whatever is seated next.
        (
            any(now[name] != then[name] for name in then if name != "seats"),
            "What was chosen for it was changed.",
        ),
        (
            not edited and finish_line.fingerprint(data.die) != print_then,
            "The finish line was changed.",
        ),
    )
    return next((reason for changed, reason in changes if changed), "")


def refresh(crown: bpy.types.Object, scene: bpy.types.Scene, *, meshes: bool = True) -> None:
    """Look whether the objects still are what the fit was made with, and note it.

    Parameters
    ----------
    crown : bpy.types.Object
    scene : bpy.types.Scene
    meshes : bool
        Look at the meshes too, which takes a moment for large ones.
    """
    kept, data = fit_of(crown), store.data_of(crown).fit
    if kept is None:
        return
    reason = _why_changed(crown, scene, kept, meshes=meshes or bool(data.reason))
    if data.reason != reason:  # writing makes Blender update the object once more
        data.reason = reason


def _why_changed(
    crown: bpy.types.Object, scene: bpy.types.Scene, kept: dict[str, Any], *, meshes: bool
) -> str:
    data, then = store.data_of(crown).fit, kept["made_with"]
    lies = kept["choices"]["lies_on_die"]
    parts = {"crown": crown, "die": data.die, "design": data.design, "seated": data.seated}
    needed = [name for name in parts if then[name]]
    for name in dict.fromkeys((*needed, "design")):
        if not store.is_in(parts[name], scene):
            return f"Its {_WORDS[name]} is not in this scene."
    if any(parts[name].mode == "EDIT" for name in needed):
        return str(data.reason)
    for name in needed if meshes else ():
        if bridge.checksum(mesh_of(parts[name])) != then[name]:
            return f"The mesh of its {_WORDS[name]} was changed."
    try:
        frame = frame_of(scene, data.design, data.die, lies_on_die=lies)
    except CuspwiseError as error:
        return error.reason
    return _why_misplaced(crown, frame, data, then)


_WORDS = {
    "crown": "crown",
    "die": "die",
    "design": "design",
    "seated": "scan of the seated crown",
}


def _why_misplaced(
    crown: bpy.types.Object, frame: frames.Frame, data: Any, then: dict[str, Any]
) -> str:
    """Return what has another size, or lies elsewhere against the design."""
    linear = {"crown_linear": crown}
    if then["design_linear"] is not None:
        linear["design_linear"] = data.design
    for name, obj in linear.items():
        before, now = np.array(then[name]), frame.local_to_mm(obj)[:3, :3]
        stretch, was = (np.linalg.norm(part, axis=0) for part in (now, before))
        if np.abs(stretch - was).max() > frames.POSE_PRECISION * was.max():
            return "The size of crown or design, or the unit, was changed."
    place, here = np.array(then["die_place"]), frame.local_to_mm(data.die)
    far = max(np.abs(frames.matrix_of(obj)[:3, 3]).max() for obj in (data.design, data.die))
    slack = 1e-3 * placement.MOVED_UM + frames.POSE_PRECISION * frame.scale_mm * float(far)
    if frames.displacement(data.die, here, place) > slack:
        return "Design or die was moved or scaled."
    return ""


def fitted(scene: bpy.types.Scene) -> Iterator[bpy.types.Object]:
    """Yield the scene's design and listed scans of which a fit is kept, each once."""
    design = getattr(scene, SCENE_PROPERTIES).design
    both = [*store.listed_scans(scene), *([design] if store.is_in(design, scene) else [])]
    for crown in dict.fromkeys(both):
        if store.data_of(crown).fit.text:
            yield crown


@persistent
def notice_changes(scene: bpy.types.Scene, depsgraph: bpy.types.Depsgraph) -> None:
    """Note fits out of date when one of the objects was moved or edited."""
    moved, edited = updates.moved(depsgraph), updates.edited(depsgraph)
    if not moved and not edited:
        return
    for crown in fitted(scene):
        data = store.data_of(crown).fit
        on = {obj for obj in (crown, data.die, data.design, data.seated) if obj is not None}
        if on & (moved | edited):
            refresh(crown, scene, meshes=bool(on & edited))


def shown_gap(crown: bpy.types.Object, key: str) -> GapMap | None:
    """Return a map at the crown's own vertices as the core takes it; None if it is not there."""
    data = store.data_of(crown).fit
    values = bridge.read_attribute(mesh_of(crown), fit_attribute(data.fit_id, key))
    return None if values is None else GapMap(1e3 * values.astype(np.float64), ())
