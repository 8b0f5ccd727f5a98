"""Results judged anew by other tolerances or support marks: nothing is measured again.

What was measured is kept at every point of design and scan, so that the core's own function gives
what a fresh check would give.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.progress import Progress, Steps, run
from ...standalone_core.records import plain
from ...standalone_core.report.check.sentences import patch_limit_um
from ...standalone_core.superimpose.result import Superimposition
from ...standalone_core.superimpose.settings import SuperimposeSettings
from ..areas import support_marks
from ..identifiers import SCENE_PROPERTIES
from . import kept_points, store
from .scene_choices import JUDGING, judging_choices, judging_settings, why_unusual

if TYPE_CHECKING:
    from ...standalone_core.areas.area_set import Area
    from ...standalone_core.check_settings import CheckSettings
    from ...standalone_core.deviation.judgement import Judgement
    from ...standalone_core.deviation.margin_profile import MarginProfile
    from .kept_points import KeptPoints

_JUDGED_BY = ("tolerances", "patches", "weighted", "direction")


def judge_all(scene: bpy.types.Scene) -> None:
    """Judge every kept result by the scene's choices; nothing is measured anew."""
    chosen = judging_choices(getattr(scene, SCENE_PROPERTIES))
    if why_unusual(chosen):
        return
    for scan in store.listed_scans(scene):
        kept = store.result_of(scan)
        if kept is not None and is_behind(kept, chosen):
            keep_anew(scan, kept, run(anew_steps(*read(scan, kept), chosen)), chosen)


def is_behind(kept: Mapping[str, Any], chosen: Mapping[str, Any]) -> bool:
    """Tell whether a kept result was judged by other choices."""
    return any(kept["choices"].get(name, {}) != chosen[name] for name in JUDGING)


def read(
    scan: bpy.types.Object, kept: Mapping[str, Any]
) -> tuple[kept_points.Raw, Mapping[str, Any], MarginProfile | None]:
    """Return what :func:`anew_steps` needs of a scan."""
    mesh = store.data_of(scan).result_points
    return kept_points.raw(mesh, kept), kept, kept_points.read_profile(mesh, kept)


@dataclass(frozen=True, eq=False)
class Anew:
    """A result judged anew.

    Attributes
    ----------
    judgement : Judgement
    margin : mapping of str
        What the margin profile comes to, as plain data; empty without one.
    """

    judgement: Judgement
    margin: Mapping[str, Any]


def anew_steps(
    found: kept_points.Raw,
    kept: Mapping[str, Any],
    profile: MarginProfile | None,
    chosen: Mapping[str, Any],
) -> Steps[Anew]:
    """Judge what was kept by the choices given; touches nothing of Blender's."""
    yield Progress("Comparing with the tolerances", 0.0)
    settings = judging_settings(chosen)
    points = kept_points.made(found, kept)
    yield Progress("Comparing with the tolerances", 0.2)
    judgement = judge_kept(points, superimposition_kept(kept), settings)
    margin = {}
    if profile is not None:
        limit_um = settings.tolerances.limit_um("margin")
        margin = plain(profile.with_tolerance(limit_um).summary)
    return Anew(judgement, margin)


def keep_anew(
    scan: bpy.types.Object, kept: dict[str, Any], found: Anew, chosen: Mapping[str, Any]
) -> None:
    """Keep a result judged anew, with the choices that it was judged by."""
    settings = judging_settings(chosen)
    kept["choices"] |= {name: chosen[name] for name in (*JUDGING, "force")}
    kept["patch_limit_um"] = plain(patch_limit_um(settings))
    kept["check"]["settings"] |= {name: plain(getattr(settings, name)) for name in _JUDGED_BY}
    kept["check"]["margin_profile"] |= found.margin
    keep_judgement(scan, kept, found.judgement)


def judge_kept(
    points: KeptPoints, superimposition: Superimposition, settings: CheckSettings
) -> Judgement:
    """Judge what was kept as a check does."""
    from ...standalone_core.deviation.judgement import judge_deviations

    return judge_deviations(
        points.fields,
        points.area_set,
        superimposition,
        settings.tolerances,
        evidence=points.evidence,
        patches=settings.patches,
        weighted=settings.weighted,
        direction=settings.direction,
    )


def keep_judgement(scan: bpy.types.Object, kept: dict[str, Any], judgement: Judgement) -> None:
    """Put what depends on tolerances and support marks in the place of what was kept of it."""
    before = set(kept["judged_warnings"])
    lasting = [text for text in kept["check"]["warnings"] if text not in before]
    kept["check"] = support_marks.without_marks(
        {
            **kept["check"],
            "measures": plain(judgement.measures),
            "verdicts": plain(judgement.verdicts),
            "patches": plain(judgement.patches),
            "unmatched": plain(judgement.unmatched),
            "warnings": [*lasting, *judgement.warnings],
        }
    )
    kept["judged_warnings"] = list(judgement.warnings)
    store.data_of(scan).result = json.dumps(kept)
    store.note_verdict(scan, kept)
    store.list_patches(scan, kept)


def keep_mark_areas(
    scan: bpy.types.Object, kept: dict[str, Any], areas: Mapping[str, Area]
) -> None:
    """Keep areas among which the support marks are others than those measured with."""
    kept_points.write_areas(store.data_of(scan).result_points, areas)
    kept["areas"] = list(areas)


def superimposition_kept(kept: Mapping[str, Any]) -> Superimposition:
    """Return a superimposition that says what a result's document says of it."""
    document = kept["check"]["superimposition"]
    return Superimposition(
        T_design_scan=np.eye(4),
        rms_mm=float(document["rms_mm"]),
        mean_abs_mm=float(document["mean_abs_mm"]),
        iterations=document["iterations"],
        converged=document["converged"],
        remaining_mm=_number(document["remaining_mm"]),
        share_used=float(document["share_used"]),
        points_used=document["points_used"],
        start=document["start"],
        weak_directions=(),
        rivals=(),
        verdict=document["verdict"],
        reason=document["reason"],
        warnings=(),
        settings=SuperimposeSettings(),
    )


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)
