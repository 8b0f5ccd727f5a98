"""From a crown of the scene and the teeth about it to its contacts, and what is kept of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.deviation.margin_directions import directions_about
from ...standalone_core.fit.settings import ContactSettings
from ...standalone_core.progress import Progress, Steps, scaled
from ...standalone_core.records import plain
from ...standalone_core.report.fit.colours import contact_limit_um
from ...standalone_core.setting import refuse_implausible
from ..blender.session import scene_of, settings_of
from ..check.scene_choices import SWITCH
from ..identifiers import CONTACT_ATTRIBUTE, SCENE_PROPERTIES
from . import crown_reading, made_with, teeth_reading
from .crown_chosen import teeth_of
from .kept_part import KeptPart

if TYPE_CHECKING:
    from ...standalone_core.areas.settings import AreaSettings
    from ...standalone_core.fit.contacts.measuring import Tooth
    from ...standalone_core.fit.contacts.result import Contacts, ToothContact
    from ...standalone_core.fit.crown import FitCrown
    from .crown_reading import CrownInput
    from .teeth_reading import ToothInput

CONTACTS = KeptPart("contacts", CONTACT_ATTRIBUTE)
_ELSEWHERE_HERE = "does not stand where it belongs"
_REMEDY_HERE = "Move it to where it stands in the mouth and check again."


@dataclass(frozen=True, eq=False)
class ToMeasure:
    """What contacts are measured of and with.

    Attributes
    ----------
    crown : CrownInput
    teeth : tuple of ToothInput
    choices : mapping of str
    settings : ContactSettings
    directions : AreaSettings
        In the design's frame.
    T_design_crown : (4, 4) float
        From where the crown was read to where it is seen, in the design's frame.
    """

    crown: CrownInput
    teeth: tuple[ToothInput, ...]
    choices: Mapping[str, Any]
    settings: ContactSettings
    directions: AreaSettings
    T_design_crown: np.ndarray


@dataclass(frozen=True, eq=False)
class Measured:
    """A crown and its contacts."""

    crown: FitCrown
    contacts: Contacts


def choices_of(settings: Any) -> dict[str, Any]:
    """Return what a scene's contacts are measured with and classed by, as plain data."""
    return {**_limits(settings), **crown_reading.choices_of(settings)}


def _limits(settings: Any) -> dict[str, Any]:
    names = ("search_mm", "open_um", "tight_um", "change_um")
    return {name: made_with.rounded(getattr(settings.teeth, name)) for name in names}


def contact_settings(settings: Any) -> ContactSettings:
    """Return what a scene chooses about contacts.

    Raises
    ------
    SettingError
        A number is hardly meant, and the scene does not take such.
    """
    made = ContactSettings(**_limits(settings))
    if not settings.force:
        refuse_implausible(made, SWITCH, by_label=True)
    return made


def read_steps(context: bpy.types.Context, scan: bpy.types.Object | None) -> Steps[ToMeasure]:
    """Read crown, design and teeth as they lie now, step by step."""
    settings = contact_settings(settings_of(context))
    crown = yield from scaled(crown_reading.read_steps(context, scan), 0.0, 0.5)
    teeth = yield from scaled(teeth_reading.read_steps(context, crown), 0.5, 1.0)
    return ToMeasure(
        crown,
        teeth,
        choices_of(settings_of(context)),
        settings,
        teeth_reading.directions_of(crown, teeth),
        crown.shown_motion,
    )


def measure_steps(read: ToMeasure) -> Steps[Measured]:
    """Measure the contacts; those of a scan against its design's. Touches nothing of Blender's."""
    from ...standalone_core.checked_mesh import checked_surface
    from ...standalone_core.fit.contacts.measuring import measure_contacts_steps

    crown, scan = read.crown, read.crown.scan
    designing = crown_reading.design_steps(crown.design, crown.choices, read.directions)
    design = yield from scaled(designing, 0.0, 0.3)
    ready = design
    if scan is not None:
        making = crown_reading.scan_steps(scan, crown.choices, read.directions)
        ready = yield from scaled(making, 0.3, 0.6)
    yield Progress("Looking at the teeth", 0.6)
    teeth: list[Tooth] = [
        (tooth.mesh.name, checked_surface(tooth.mesh).mesh, tooth.kind) for tooth in read.teeth
    ]
    axis = design.area_set.insertion
    measuring = measure_contacts_steps(
        ready,
        read.T_design_crown,
        teeth,
        read.settings,
        design=design if scan is not None else None,
        directions=None if axis is None else directions_about(axis, read.directions),
    )
    return Measured(ready, (yield from scaled(measuring, 0.65, 1.0)))


def keep_steps(context: bpy.types.Context, read: ToMeasure, found: Measured) -> Steps[str]:
    """Keep what was measured; return what is told."""
    contacts = found.contacts
    gap_mm = 1e-3 * contacts.gap_um
    carried = {"": read.crown.at_vertices(found.crown.evaluation, gap_mm)}
    to_local = np.linalg.inv(read.T_design_crown @ read.crown.local_to_mm)
    document = {
        "rows": [_row(row, to_local) for row in contacts.rows],
        "warnings": [said_here(text) for text in contacts.warnings],
        "limit_um": contact_limit_um(contacts.settings),
        "made_with": _made_with(context, read),
    }
    yield from CONTACTS.keep_steps(read.crown.obj, document, carried)
    return " ".join(row.sentence for row in contacts.rows)


def _row(row: ToothContact, to_local: np.ndarray) -> dict[str, Any]:
    """Return a contact as plain data, its place where it lies on the object itself."""
    known = bool(np.isfinite(row.place_mm).all())
    local = (to_local @ np.append(row.place_mm, 1.0))[:3].tolist() if known else None
    return {**plain(row), "local": local}


def said_here(warning: str) -> str:
    """Say it for teeth that stand in a scene and not in files."""
    from ...standalone_core.fit.contacts.measuring import ELSEWHERE, REMEDY

    return warning.replace(ELSEWHERE, _ELSEWHERE_HERE).replace(REMEDY, _REMEDY_HERE)


def _made_with(context: bpy.types.Context, read: ToMeasure) -> dict[str, Any]:
    crown, scene = read.crown, scene_of(context)
    parts = made_with.involved(crown.obj, scene, teeth_of(scene))
    known = [crown.checksum, *(tooth.checksum for tooth in read.teeth)]
    if crown.scan is not None:
        known.insert(1, crown.design.checksum)
    return made_with.document(read.choices, parts, known)


def why_out_of_date(crown: bpy.types.Object, scene: bpy.types.Scene) -> str:
    """Say why the contacts kept no longer belong to what is shown; empty if they do. Cheap."""
    choices = choices_of(getattr(scene, SCENE_PROPERTIES))
    return made_with.why_out_of_date(CONTACTS, crown, scene, choices, with_teeth=True)
