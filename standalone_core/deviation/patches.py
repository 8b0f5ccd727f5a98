"""Connected patches outside the tolerance, worst first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..areas.area_set import AreaSet
from ..areas.margin_line import length_near_mm
from ..errors import SettingError
from ..mesh.patches import connected_patches
from ..mesh.triangle_mesh import BoolArray, IntArray
from .field import DeviationField
from .places import areas_holding, place
from .settings import PatchSettings
from .unmatched import UnmatchedPiece

KINDS = EXCESS, MISSING = "excess", "missing"
"""Material outside the design, and missing material."""


@dataclass(frozen=True)
class Patch:
    """One connected patch whose deviations all lie outside the tolerance on one side.

    Attributes
    ----------
    kind : str
        ``excess`` (material outside the design) or ``missing``.
    area_mm2 : float
        Surface of the design that it covers, mm².
    peak_um, mean_um : float
        Deviation farthest from zero, and area-weighted mean; signed, µm.
    volume_mm3 : float
        Material in excess (or missing) under the patch, Σ w·|d| from the design's surface, mm³:
        first order in deviation over radius of curvature.
    centre_mm : (3,) tuple of float
        Area-weighted mean of its points, mm, in the design's frame.
    peak_mm : (3,) tuple of float
        Where the peak is, mm.
    areas : tuple of str
        The areas it lies in, the one with the largest share first; ``whole`` if none.
    n : int
        Evaluation points.
    seen_from : str
        ``design``, ``scan`` or ``both``: where the deviations beyond the tolerance were found.
        Seen from the scan alone, area and mean are of the scan's surface, and the volume is NaN.
    margin_mm : float
        Length of the margin line that it lies along, mm; 0 elsewhere.
    unmatched : bool
        Whether it is scan surface without a counterpart on the design (flash, a stub, a second
        layer, debris); its peak is then its greatest height.
    """

    kind: str
    area_mm2: float
    peak_um: float
    mean_um: float
    volume_mm3: float
    centre_mm: tuple[float, float, float]
    peak_mm: tuple[float, float, float]
    areas: tuple[str, ...]
    n: int
    seen_from: str = "design"
    margin_mm: float = 0.0
    unmatched: bool = False


def find_patches(
    field: DeviationField,
    area_set: AreaSet,
    tolerance_um: float,
    settings: PatchSettings | None = None,
) -> tuple[Patch, ...]:
    """Find the patches outside ± tolerance.

    Parameters
    ----------
    field : DeviationField
        Measured at the points of the area set's evaluation mesh (``design_to_scan``).
    area_set : AreaSet
        The evaluation mesh, whose edges connect its points, and the areas.
    tolerance_um : float
        Used where the settings name none, µm.
    settings : PatchSettings, optional

    Returns
    -------
    tuple of Patch
        The one with the largest peak first.

    Raises
    ------
    SettingError
        A field that was not measured at the evaluation points.

    Examples
    --------
    >>> import cuspwise
    >>> design = cuspwise.demo_crown(edge_mm=0.4)
    >>> errors = cuspwise.ProductionErrors(offset_um=100, any_pose=False)
    >>> scan = cuspwise.produce(design, errors, edge_mm=0.4)
    >>> areas = cuspwise.find_areas(cuspwise.evaluation_mesh(design.mesh, 0.4))
    >>> found = cuspwise.measure_deviation(areas.evaluation.mesh, scan.mesh)
    >>> worst = cuspwise.find_patches(found, areas, tolerance_um=20)[0]
    >>> worst.kind, round(worst.mean_um, -1), worst.areas[0]
    ('excess', 100.0, 'external')
    """
    settings = settings or PatchSettings()
    if field.direction != "design_to_scan":
        raise SettingError(
            "Patches are found on the design's evaluation mesh.",
            subject=field.direction,
            remedy="Give the design_to_scan deviations.",
        )
    found = _found(field, area_set.evaluation.mesh.faces, tolerance_um, settings)
    return _worst_first(
        [_describe(kind, points, field, area_set, settings) for kind, points in found]
    )


def find_in_both(
    there: DeviationField,
    back: DeviationField,
    area_set: AreaSet,
    tolerance_um: float,
    pieces: Iterable[UnmatchedPiece] = (),
    settings: PatchSettings | None = None,
) -> tuple[Patch, ...]:
    """Find the patches outside ± tolerance as seen from the design, the scan, or both.

    Parameters
    ----------
    there : DeviationField
        ``design_to_scan``, at the points of the area set's evaluation mesh.
    back : DeviationField
        ``scan_to_design``, with the scan's faces.
    area_set : AreaSet
    tolerance_um : float
        Used where the settings name none, µm.
    pieces : iterable of UnmatchedPiece
        Unmatched scan surface; each piece is a patch by itself.
    settings : PatchSettings, optional

    Returns
    -------
    tuple of Patch
        A patch seen from both sides is listed once, as the design sees it, with the larger of the
        two peaks. The one with the largest peak first.
    """
    settings = settings or PatchSettings()
    limit = tolerance_um if settings.patch_um is None else settings.patch_um
    design_faces = area_set.evaluation.mesh.faces
    seen = _found(there, design_faces, tolerance_um, settings)
    patches = [_describe(kind, points, there, area_set, settings) for kind, points in seen]
    patches += [_of_piece(piece) for piece in pieces if piece.height_um > limit]
    if back.faces is None:
        return _worst_first(patches)
    patch_at = {kind: _patch_around(seen, kind, there, design_faces) for kind in KINDS}
    matched = (
        back.counted
        if back.unmatched_mm is None
        else back.counted & ~np.isfinite(back.unmatched_mm)
    )
    for kind, points in _found(back, back.faces, tolerance_um, settings, matched):
        patch = _describe(kind, points, back, area_set, settings)
        below = patch_at[kind][back.area_point[points]]
        if (below < 0).all():
            patches.append(patch)
            continue
        same = int(np.bincount(below[below >= 0]).argmax())
        patches[same] = _with_view_from_scan(patches[same], patch)
    return _worst_first(patches)


def _found(
    field: DeviationField,
    faces: IntArray,
    tolerance_um: float,
    settings: PatchSettings,
    taken: BoolArray | None = None,
) -> list[tuple[str, IntArray]]:
    """Return the kind and the points of every patch that is large enough.

    ``taken`` says which points may be in a patch, (n,); those that count if it is left out.
    """
    limit = tolerance_um if settings.patch_um is None else settings.patch_um
    taken = field.counted if taken is None else taken
    deviation_um = 1e3 * np.where(taken, field.deviation_mm, 0.0)
    outside = dict(zip(KINDS, (deviation_um > limit, deviation_um < -limit), strict=True))
    return [
        (kind, points)
        for kind, marked in outside.items()
        for points in connected_patches(faces, marked)
        if field.weights_mm2[points].sum() >= settings.min_patch_mm2
    ]


def _patch_around(
    patches: Sequence[tuple[str, IntArray]], kind: str, field: DeviationField, faces: IntArray
) -> IntArray:
    """Return which patch of a kind each point or a neighbour of it lies in, (n,); −1 for none."""
    inside = np.full(len(field), -1)
    for number, (of_kind, points) in enumerate(patches):
        if of_kind == kind:
            inside[points] = number
    around = inside.copy()
    widest = inside[faces].max(axis=1)
    for corner in faces.T:
        np.maximum.at(around, corner, widest)
    return np.where(inside >= 0, inside, around)


def _with_view_from_scan(patch: Patch, from_scan: Patch) -> Patch:
    """Return a patch with what the scan sees of it."""
    if abs(from_scan.peak_um) > abs(patch.peak_um):
        patch = replace(patch, peak_um=from_scan.peak_um, peak_mm=from_scan.peak_mm)
    return replace(patch, seen_from="both", margin_mm=max(patch.margin_mm, from_scan.margin_mm))


def _of_piece(piece: UnmatchedPiece) -> Patch:
    return Patch(
        kind=EXCESS,
        area_mm2=piece.area_mm2,
        peak_um=piece.height_um,
        mean_um=piece.mean_um,
        volume_mm3=np.nan,
        centre_mm=piece.centre_mm,
        peak_mm=piece.peak_mm,
        areas=piece.areas or ("whole",),
        n=piece.n,
        seen_from="scan",
        margin_mm=piece.margin_mm,
        unmatched=True,
    )


def _worst_first(patches: Iterable[Patch]) -> tuple[Patch, ...]:
    return tuple(sorted(patches, key=lambda patch: -abs(patch.peak_um)))


def _describe(
    kind: str,
    points: IntArray,
    field: DeviationField,
    area_set: AreaSet,
    settings: PatchSettings,
) -> Patch:
    """Return the numbers of one patch."""
    weights, d = field.weights_mm2[points], field.deviation_mm[points]
    places = field.points_mm[points]
    area = float(weights.sum())
    peak = int(np.argmax(np.abs(d)))
    on_design = field.direction == "design_to_scan"
    below = field.area_point[points]
    areas = areas_holding(below, weights, area_set, settings.min_patch_share)
    return Patch(
        kind=kind,
        area_mm2=area,
        peak_um=1e3 * float(d[peak]),
        mean_um=1e3 * float(weights @ d) / area,
        volume_mm3=abs(float(weights @ d)) if on_design else np.nan,
        centre_mm=place(weights @ places / area),
        peak_mm=place(places[peak]),
        areas=areas,
        n=len(points),
        seen_from="design" if on_design else "scan",
        margin_mm=_margin_mm(below, areas, area_set),
    )


def _margin_mm(points: IntArray, areas: tuple[str, ...], area_set: AreaSet) -> float:
    if area_set.margin_line is None or "margin" not in areas:
        return 0.0
    return length_near_mm(area_set.margin_line, area_set.evaluation.points[points])
