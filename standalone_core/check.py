"""The main job: a design and a scan of the produced crown in, all numbers and verdicts out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

from .areas.area_set import AreaSet
from .areas.chosen import faces_to_fit
from .check_result import CheckResult
from .check_settings import CheckSettings
from .checked_mesh import CheckedMesh, checked_surface, read_design, read_scan
from .deviation.facet_sag import sag_by_area
from .deviation.field import DeviationField
from .deviation.judgement import Judgement, judge_deviations
from .deviation.margin_profile import MarginProfile, margin_profile
from .deviation.support_marks import MarkResult, measure_marks
from .deviation.verdict import ScanEvidence, doubt_about
from .measure import (
    AreaFinder,
    MeasuredScan,
    Place,
    PlacedDesign,
    ReadyDesign,
    ReadyScan,
    find_areas_on_steps,
    measure_in_place_steps,
    measure_scan_steps,
    place_design_steps,
    ready_scan_steps,
    refuse_unknown_areas,
    superimpose_scan_steps,
)
from .mesh.triangle_mesh import TriangleMesh
from .progress import Progress, Steps, beside, run, scaled
from .stopwatch import Stopwatch
from .superimpose.result import Superimposition
from .versions import versions_used

__all__ = [
    "CheckResult",
    "CheckSettings",
    "check",
    "check_meshes",
    "check_meshes_steps",
    "check_ready_steps",
    "check_steps",
    "marks_of",
]


def check_steps(
    design_path: str | Path, scan_path: str | Path, settings: CheckSettings | None = None
) -> Steps[CheckResult]:
    """Check two files as :func:`check` does, step by step."""
    chosen = settings or CheckSettings()
    design = partial(read_design, design_path, chosen)
    scan = partial(read_scan, scan_path, chosen)
    return (yield from _check_steps(design, scan, chosen))


def check(
    design_path: str | Path, scan_path: str | Path, settings: CheckSettings | None = None
) -> CheckResult:
    """Measure how far the scan of a produced crown is from its design.

    Both are read and repaired on a copy, the design's areas are found, the scan is laid on the
    design, the signed deviation is measured in both directions, and each area is judged against
    its tolerance; the settings say which direction first.

    Parameters
    ----------
    design_path, scan_path : str or pathlib.Path
        Mesh files (STL, PLY, OBJ, OFF, 3MF); neither is changed. The scan may lie anywhere.
    settings : CheckSettings, optional

    Returns
    -------
    CheckResult
        Measures in µm, places in mm in the design's frame. Positive is material outside the
        design. The formulas stand at :class:`~cuspwise.AreaMeasures`, the limits and their sources
        at :class:`~cuspwise.Tolerances`.

    Raises
    ------
    FileError
        A file that cannot be read.
    SettingError
        A setting outside what is allowed.
    AreaError
        An area that a setting names is not there, or an areas file that cannot be used.
    SuperimpositionError
        The scan cannot be laid on the design.
    MeshError
        No triangle with an area is left.

    Notes
    -----
    An area is within its tolerance if its mean absolute deviation is at or below the limit seen
    from either side, and nothing else speaks against it; with the scanner's standard uncertainty u
    given, if it is at or below the limit − 1.645 u (the decision rule of ISO 14253-1, from memory).

    Examples
    --------
    A crown that is 100 µm too thick all around, meshed coarsely to be quick:

    >>> import cuspwise
    >>> design = cuspwise.demo_crown(edge_mm=0.4)
    >>> scan = cuspwise.produce(design, cuspwise.ProductionErrors(offset_um=100), edge_mm=0.4)
    >>> files = [
    ...     cuspwise.write_mesh("design.stl", design.mesh),
    ...     cuspwise.write_mesh("scan.stl", scan.mesh),
    ... ]
    >>> result = cuspwise.check(*files, cuspwise.CheckSettings(spacing_mm=0.4))
    >>> round(result.measures_of("whole").median_um, -1), result.superimposition.verdict
    (100.0, 'good')
    >>> {verdict.area: verdict.verdict for verdict in result.verdicts}["margin"]
    'outside'
    """
    return run(check_steps(design_path, scan_path, settings))


def check_meshes_steps(
    design: TriangleMesh,
    scan: TriangleMesh,
    settings: CheckSettings | None = None,
    *,
    find_areas: AreaFinder | None = None,
    doubt: str = "",
) -> Steps[CheckResult]:
    """Check two meshes in memory as :func:`check_meshes` does, step by step.

    ``find_areas`` takes the place of automatic areas and areas file; see
    :func:`.measure.area_steps`. A ``doubt`` about the scan, as full sentences, leaves every area
    undecided, whatever it measures.
    """
    chosen = settings or CheckSettings()
    repaired = partial(checked_surface, design, chosen), partial(checked_surface, scan, chosen)
    return (yield from _check_steps(*repaired, chosen, find_areas, doubt))


def check_meshes(
    design: TriangleMesh, scan: TriangleMesh, settings: CheckSettings | None = None
) -> CheckResult:
    """Check two meshes in memory as :func:`~cuspwise.check` does files.

    Parameters
    ----------
    design, scan : TriangleMesh
        In mm, each in a frame of its own.
    settings : CheckSettings, optional
        The units of files have no meaning here.

    Returns
    -------
    CheckResult
        As of :func:`~cuspwise.check`.

    Raises
    ------
    CuspwiseError
        As :func:`~cuspwise.check`, but for files.

    Examples
    --------
    >>> import cuspwise
    >>> design = cuspwise.demo_crown(edge_mm=0.5)
    >>> scan = cuspwise.produce(design, cuspwise.ProductionErrors(offset_um=100), edge_mm=0.5)
    >>> settings = cuspwise.CheckSettings(spacing_mm=0.5)
    >>> result = cuspwise.check_meshes(design.mesh, scan.mesh, settings)
    >>> round(result.measures_of("whole").median_um, -1)
    100.0
    """
    return run(check_meshes_steps(design, scan, settings))


def _check_steps(
    design: Callable[[], CheckedMesh],
    scan: Callable[[], CheckedMesh],
    settings: CheckSettings,
    find_areas: AreaFinder | None = None,
    doubt: str = "",
) -> Steps[CheckResult]:
    """Check what the two functions give: the two sides beside each other, up to the pose."""
    watch = Stopwatch()
    sides = beside(_design_side_steps(design, settings), _scan_side_steps(scan, settings))
    placed, ready_scan = yield from watch.timed("make ready", sides, 0.0, 0.3)
    both = _superimposed_steps(ready_scan.scan, placed, settings, find_areas)
    place, ready = yield from watch.timed("superimpose", both, 0.3, 0.7)
    refuse_unknown_areas(ready.area_set, settings.tolerances)
    measuring = measure_in_place_steps(ready_scan, place, ready, settings, watch)
    measured = yield from scaled(measuring, 0.7, 0.95)
    return (yield from _judged_steps(ready, ready_scan, measured, settings, watch, doubt))


def _superimposed_steps(
    scan: CheckedMesh,
    placed: PlacedDesign,
    settings: CheckSettings,
    find_areas: AreaFinder | None,
) -> Steps[tuple[Place, ReadyDesign]]:
    """Superimpose a scan and find the areas: beside each other, unless the fit asks for areas."""
    finding = find_areas_on_steps(placed, settings, find_areas)
    if not settings.fit_areas:
        return (yield from beside(superimpose_scan_steps(scan, placed, settings), finding))
    ready = yield from scaled(finding, 0.0, 0.4)
    faces = faces_to_fit(ready.area_set, settings.fit_areas)
    fitting = superimpose_scan_steps(scan, ready, settings, faces)
    return (yield from scaled(fitting, 0.4, 1.0)), ready


def check_ready_steps(
    scan: CheckedMesh,
    ready: ReadyDesign,
    settings: CheckSettings,
    watch: Stopwatch,
    doubt: str = "",
) -> Steps[CheckResult]:
    """Check a scan against a design that is ready, as many scans as there are.

    Parameters
    ----------
    scan : CheckedMesh
    ready : ReadyDesign
        By the same settings.
    settings : CheckSettings
    watch : Stopwatch
        Goes on with what was timed before.
    doubt : str
        See :func:`check_meshes_steps`.

    Raises
    ------
    CuspwiseError
        As :func:`check`, but for files.
    """
    readying = ready_scan_steps(scan, settings)
    ready_scan = yield from watch.timed("make ready", readying, 0.0, 0.15)
    refuse_unknown_areas(ready.area_set, settings.tolerances)
    measuring = measure_scan_steps(ready_scan, ready, settings, watch=watch)
    measured = yield from scaled(measuring, 0.15, 0.95)
    return (yield from _judged_steps(ready, ready_scan, measured, settings, watch, doubt))


def _judged_steps(
    ready: ReadyDesign,
    scan: ReadyScan,
    measured: MeasuredScan,
    settings: CheckSettings,
    watch: Stopwatch,
    doubt: str,
) -> Steps[CheckResult]:
    yield Progress("Comparing with the tolerances", 0.95)
    with watch.stage("judge"):
        judged = judge_scan(ready, scan.scan, measured, settings, doubt)
    return replace(judged, seconds=watch.seconds)


def _design_side_steps(
    design: Callable[[], CheckedMesh], settings: CheckSettings
) -> Steps[PlacedDesign]:
    yield Progress("Reading the design", 0.0)
    checked = design()
    return (yield from scaled(place_design_steps(checked, settings), 0.5, 1.0))


def _scan_side_steps(scan: Callable[[], CheckedMesh], settings: CheckSettings) -> Steps[ReadyScan]:
    yield Progress("Reading the scan", 0.0)
    checked = scan()
    return (yield from scaled(ready_scan_steps(checked, settings), 0.4, 1.0))


def judge_scan(
    ready: ReadyDesign,
    scan: CheckedMesh,
    measured: MeasuredScan,
    settings: CheckSettings,
    doubt: str = "",
) -> CheckResult:
    """Hold what was measured against the tolerances."""
    area_set, fit = ready.area_set, measured.superimposition
    profile = margin_profile(
        *measured.fields,
        area_set,
        measured.in_place,
        settings.tolerances.limit_um("margin"),
        scan_edge_mm=measured.mesh.mean_edge_mm,
    )
    evidence = replace(_evidence(measured, area_set, profile), doubt=doubt)
    judgement = judge_deviations(
        measured.fields,
        area_set,
        fit,
        settings.tolerances,
        evidence=evidence,
        patches=settings.patches,
        weighted=settings.weighted,
        direction=settings.direction,
    )
    return CheckResult(
        design=ready.design,
        scan=scan,
        area_set=area_set,
        superimposition=fit,
        scan_in_place=measured.in_place,
        design_to_scan=measured.design_to_scan,
        scan_to_design=measured.scan_to_design,
        measures=judgement.measures,
        patches=judgement.patches,
        is_design=measured.is_design,
        layers=measured.layers,
        unmatched=judgement.unmatched,
        verdicts=judgement.verdicts,
        warnings=_warnings(ready, measured, judgement),
        seconds={},
        versions=versions_used(),
        settings=settings.with_areas(area_set.settings),
        judged_warnings=judgement.warnings,
        marks=marks_of(measured.design_to_scan, area_set, fit, settings),
        margin_profile=profile,
        facet_sag=evidence.facet_sag,
        doubt=doubt,
    )


def _evidence(
    measured: MeasuredScan, area_set: AreaSet, profile: MarginProfile | None
) -> ScanEvidence:
    return ScanEvidence(
        is_design=measured.is_design,
        layers=measured.layers,
        margin=None if profile is None else profile.summary,
        facet_sag=sag_by_area(area_set, measured.design_to_scan, measured.in_place.design),
    )


def marks_of(
    field: DeviationField,
    area_set: AreaSet,
    superimposition: Superimposition,
    settings: CheckSettings,
) -> tuple[MarkResult, ...]:
    """Measure the support marks, doubting them where the pose is not to be trusted."""
    most_um = settings.tolerances.max_unsettled_share * settings.mark.limit_um
    doubt = doubt_about(superimposition, most_um)
    return measure_marks(field, area_set, settings.mark, doubt=doubt)


def _warnings(ready: ReadyDesign, measured: MeasuredScan, judgement: Judgement) -> tuple[str, ...]:
    """Gather what the reader must know before trusting the numbers, each once."""
    fit = measured.superimposition
    found = [f"Design: {text}" for text in ready.design.notes]
    found += [f"Scan: {text}" for text in measured.notes]
    if fit.verdict != "good":
        found.append(f"Superimposition: {fit.reason}")
    found += [f"Superimposition: {text}" for text in fit.warnings]
    found += [f"Areas: {text}" for text in ready.area_set.warnings]
    found += judgement.warnings
    return tuple(dict.fromkeys(found))
