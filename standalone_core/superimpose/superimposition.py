"""Lay a scan on its design: start, best fit, diagnosis."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..arrays import BoolArray, FloatArray
from ..errors import SettingError, SuperimpositionError
from ..mesh.triangle_mesh import TriangleMesh
from ..progress import Progress, Steps, run, scaled
from ..shares import share_words
from ..surface.closest import SurfaceIndex
from ..surface.held import HeldPoints
from ..words.text import plain_number
from .best_fit import BestFit, FitProblem, best_fit_steps, present_fit_steps
from .candidates import SAMPLES, Candidate, candidates_steps, distinct_poses, measured
from .diagnosis import (
    Evidence,
    explained_by,
    is_mirrored,
    is_wrong_part,
    judge,
    rival_poses,
    weak_directions,
)
from .likeness import Likeness, has_its_size, likeness, searched_scale_steps
from .point_pairs import fit_landmarks
from .prepared import PreparedDesign
from .result import Superimposition
from .sampling import SurfaceSamples, surface_samples
from .settings import SuperimposeSettings

_OTHER_UNIT = 5.0
"""Scan and design differing more than this in size cannot be searched on each other."""
_MOST_USED = 0.9
"""Where less of a scan takes part in the fit, that is said."""
_SIZE_RATIO = 1.5
"""Scan and design differing more than this in size are warned about."""
_ENDED = (
    f"The best fit was ended early, on {SAMPLES:,} points, since the verdict was certain: the pose "
    f"and its figures are approximate."
)


def superimpose(
    scan: TriangleMesh,
    design: TriangleMesh | SurfaceIndex | PreparedDesign,
    settings: SuperimposeSettings | None = None,
    *,
    use_faces: BoolArray | None = None,
) -> Superimposition:
    """Lay a scan on its design by a rigid motion; never a scale.

    The pose is found from any position (or from landmark pairs, or taken as it is), then fitted
    by least squares of the area-weighted distances of the scan's vertices from the design's
    surface: Σ w·d² is least, with w a vertex's share of the area and d its distance from the
    nearest point of the surface. The same input gives the same result to the last bit.

    Parameters
    ----------
    scan : TriangleMesh
        In any pose, mm.
    design : TriangleMesh, SurfaceIndex or PreparedDesign
        With m faces. An index or a prepared design saves time for every scan after the first.
    settings : SuperimposeSettings, optional
    use_faces : (m,) array_like of bool, optional
        Faces of the design that the best fit uses; a scan point whose foot lies elsewhere takes no
        part. The search of the pose always uses the whole design.

    Returns
    -------
    Superimposition
        ``T_design_scan`` (4, 4) takes the scan's coordinates to the design's, mm.

    Raises
    ------
    SuperimpositionError
        The scan has no area, differs from the design in size by more than five times, or never
        comes near the design (in the chosen area).
    SettingError
        ``use_faces`` does not match the design or chooses nothing.

    Examples
    --------
    The scan of a perfect crown, in another pose:

    >>> import cuspwise
    >>> design = cuspwise.demo_crown(edge_mm=0.4)
    >>> scan = cuspwise.produce(design, cuspwise.ProductionErrors(), edge_mm=0.4)
    >>> fit = cuspwise.superimpose(scan.mesh, design.mesh)
    >>> fit.verdict, bool(abs(fit.T_design_scan - scan.T_true_design_scan).max() < 0.02)
    ('good', True)
    """
    surface = SurfaceIndex(design) if isinstance(design, TriangleMesh) else design
    return run(superimpose_steps(scan, surface, settings, use_faces=use_faces))


def superimpose_steps(
    scan: TriangleMesh,
    design: SurfaceIndex | PreparedDesign,
    settings: SuperimposeSettings | None = None,
    *,
    use_faces: BoolArray | None = None,
    held: HeldPoints | None = None,
) -> Steps[Superimposition]:
    """Lay a scan on its design as :func:`superimpose` does, step by step.

    ``held``, on the design's index, finds the feet of the scan's vertices that have an area; after
    a best fit it has them ready, wherever the scan was laid.
    """
    prepared = design if isinstance(design, PreparedDesign) else PreparedDesign(design)
    chosen = settings or SuperimposeSettings()
    faces = _checked_faces(use_faces, prepared.index.mesh)
    _check_scan(scan, prepared, chosen)
    yield Progress("Preparing the design", 0.0)
    problem = _problem(scan, prepared, chosen, faces)
    samples = surface_samples(scan, SAMPLES)
    _ = prepared.samples, prepared.tree
    start = yield from scaled(_start_steps(samples, prepared, chosen, scan.name), 0.05, 0.5)
    early = yield from scaled(_early_steps(samples, start, prepared, chosen), 0.5, 0.55)
    if early is not None and early.hopeless:
        fit = yield from scaled(_ended_fit_steps(problem, early.best), 0.55, 0.9)
        final, like, mirrored = early.best, early.like, early.mirrored
    else:
        fit = yield from scaled(_fit_steps(problem, start.best, held), 0.55, 0.9)
        final = measured(samples.points, prepared, chosen, fit.T_design_scan)
        like = likeness(samples, final, prepared, chosen)
        if early is not None:
            mirrored = early.mirrored
        else:
            looking = _mirrored_steps(samples, final, prepared, chosen)
            mirrored = yield from scaled(looking, 0.9, 1.0)
    others = distinct_poses(final, start.others, samples.points, prepared)
    rivals = rival_poses(final, others, samples.points.mean(axis=0))
    weak = weak_directions(fit.equations, chosen)
    evidence = Evidence(fit, final, mirrored, weak, rivals, like)
    notes = (_ENDED,) if early is not None and early.hopeless else ()
    yield Progress("Superimposed", 1.0)
    return _judged(
        evidence, chosen, start.warnings + notes + _warnings(scan, problem, evidence, others)
    )


def _judged(
    evidence: Evidence, settings: SuperimposeSettings, warnings: tuple[str, ...]
) -> Superimposition:
    """A superimposition with its verdict."""
    fit, judgement = evidence.fit, judge(evidence, settings)
    return Superimposition(
        T_design_scan=fit.T_design_scan,
        rms_mm=fit.rms_mm,
        mean_abs_mm=fit.mean_abs_mm,
        iterations=fit.iterations,
        converged=fit.converged,
        remaining_mm=fit.remaining_mm,
        share_used=fit.share_used,
        points_used=fit.points_used,
        start=settings.start,
        weak_directions=evidence.weak,
        rivals=evidence.rivals,
        verdict=judgement.verdict,
        reason=judgement.reason,
        warnings=warnings,
        settings=settings,
    )


@dataclass(frozen=True)
class _StartingPose:
    """Where the best fit starts; ``found`` says how it fits there, if it was searched."""

    best: FloatArray
    others: list[Candidate]
    warnings: tuple[str, ...]
    found: Candidate | None = None


def _start_steps(
    samples: SurfaceSamples, design: PreparedDesign, settings: SuperimposeSettings, name: str
) -> Steps[_StartingPose]:
    found: list[Candidate] = []
    if settings.start == "auto" or (settings.refine and settings.look_for_rivals):
        _ = design.target.grid
        yield Progress("Preparing the design", 0.1)
        found = yield from scaled(candidates_steps(samples, design, settings), 0.1, 1.0)
    if settings.start == "auto":
        return _StartingPose(found[0].T_design_scan, found[1:], (), found[0])
    if settings.start == "in_place":
        return _StartingPose(np.eye(4), found, ())
    pairs = fit_landmarks(settings.landmarks_scan_mm, settings.landmarks_design_mm, name)
    warnings = [f"The landmark pairs fit to {pairs.rms_mm:.3f} mm (root mean square)."]
    if pairs.mirrored:
        warnings.append("A mirror image of the landmarks would fit better: check their order.")
    return _StartingPose(pairs.T_target_source, found, tuple(warnings))


@dataclass(frozen=True)
class _Early:
    """What the search of the pose shows; if ``hopeless``, no best fit can change the verdict."""

    best: Candidate
    mirrored: Candidate | None
    like: Likeness
    hopeless: bool


def _early_steps(
    samples: SurfaceSamples,
    start: _StartingPose,
    design: PreparedDesign,
    settings: SuperimposeSettings,
) -> Steps[_Early | None]:
    best = start.found
    if best is None:
        return None
    mirrored = yield from _mirrored_steps(samples, best, design, settings)
    like = likeness(samples, best, design, settings)
    turned_over = is_mirrored(best, mirrored, settings)
    hopeless = turned_over or is_wrong_part(like, settings)
    if hopeless and not (turned_over or has_its_size(samples, design)):
        like = replace(like, scale=(yield from searched_scale_steps(samples, design, settings)))
    return _Early(best, mirrored, like, hopeless and settings.refine)


def _ended_fit_steps(problem: FitProblem, best: Candidate) -> Steps[BestFit]:
    """Figures of a pose that is not worth a best fit, on as many points as led to it."""
    part = problem if len(problem.points) <= SAMPLES else problem.thinned(SAMPLES)
    pose, count, step_mm = best.T_design_scan, best.iterations, best.step_mm
    return (yield from present_fit_steps(part, pose, iterations=count, step_mm=step_mm))


def _fit_steps(problem: FitProblem, start: FloatArray, held: HeldPoints | None) -> Steps[BestFit]:
    settings = problem.settings
    if not settings.refine:
        return (yield from present_fit_steps(problem, start, held=held))
    sampled = settings.start != "auto"
    return (yield from best_fit_steps(problem, start, from_samples=sampled, held=held))


def _problem(
    scan: TriangleMesh,
    design: PreparedDesign,
    settings: SuperimposeSettings,
    use_faces: BoolArray | None,
) -> FitProblem:
    """The scan's vertices, weighted by area; those that no face uses are left out."""
    counted = scan.vertex_areas > 0.0
    points, weights = scan.vertices[counted], scan.vertex_areas[counted]
    return FitProblem(points, weights, design, settings, use_faces, scan.name)


def _mirrored_steps(
    samples: SurfaceSamples,
    best: Candidate,
    design: PreparedDesign,
    settings: SuperimposeSettings,
) -> Steps[Candidate | None]:
    """Best fit of the scan's mirror image, if the residual gives reason to try it."""
    suspicious = best.rms_of(best.near) > settings.mirror_check_share * design.diagonal_mm
    if not suspicious or not settings.refine:
        return None
    turned_over = np.array([-1.0, 1.0, 1.0])
    image = SurfaceSamples(
        samples.points * turned_over, samples.normals * turned_over, samples.faces
    )
    # A margin, since the misfit on samples is a little off the exact one.
    most_mm = 1.2 * settings.mirror_ratio * best.rms_mm
    found = yield from candidates_steps(image, design, settings, most_mm)
    return found[0]


def _warnings(
    scan: TriangleMesh,
    problem: FitProblem,
    evidence: Evidence,
    others: list[Candidate],
) -> tuple[str, ...]:
    warnings = []
    fit, final, scale = evidence.fit, evidence.best, evidence.like.scale
    design, settings = problem.design, problem.settings
    ratio = scan.diagonal_mm / design.diagonal_mm
    if not 1.0 / _SIZE_RATIO < ratio < _SIZE_RATIO:
        warnings.append(
            f"The scan is {plain_number(ratio, 3)} times as large as the design: check the units, "
            f"and whether it shows the same part."
        )
    if fit.share_used < _MOST_USED:
        used = share_words(fit.share_used, _MOST_USED)
        warnings.append(f"Only {used} of the scan's area took part in the fit.")
    rms = final.rms_of(final.near)
    if rms > settings.mirror_check_share * design.diagonal_mm:
        warnings.append(
            f"The scan is {rms * 1000.0:.3g} µm off (root mean square): much for a copy of this "
            f"design. Check that it shows the same part."
        )
    if scale is not None and explained_by(scale, settings):
        warnings.append(
            f"The scan is {scale.size:.3f} times as large as the design: check the sintering "
            f"factor and the scanner's calibration."
        )
    better = [other for other in others if other.rms_mm < final.rms_mm]
    if better:
        warnings.append(
            f"Another pose fits better than the one reached from this start "
            f"({better[0].rms_mm * 1000:.3g} µm against {final.rms_mm * 1000:.3g} µm)."
        )
    return tuple(warnings)


def _checked_faces(use_faces: BoolArray | None, mesh: TriangleMesh) -> BoolArray | None:
    if use_faces is None:
        return None
    faces = np.asarray(use_faces)
    if faces.dtype != bool or faces.shape != (len(mesh.faces),):
        raise SettingError(
            f"It has shape {faces.shape} and type {faces.dtype}.",
            subject="use_faces",
            remedy=f"Give one true or false for each of the design's {len(mesh.faces)} faces.",
        )
    if not faces.any():
        raise SettingError(
            "It chooses no face.", subject="use_faces", remedy="Choose an area that has faces."
        )
    return faces


def _check_scan(scan: TriangleMesh, design: PreparedDesign, settings: SuperimposeSettings) -> None:
    if not len(scan.faces) or not scan.area_mm2 > 0.0:
        raise SuperimpositionError(
            "It has no surface.", subject=scan.name, remedy="Export it again as a surface mesh."
        )
    ratio = scan.diagonal_mm / design.diagonal_mm
    if settings.start == "auto" and not 1.0 / _OTHER_UNIT < ratio < _OTHER_UNIT:
        raise SuperimpositionError(
            f"It is {plain_number(ratio, 3)} times as large as the design.",
            subject=scan.name,
            remedy="Check the units of both files and that they show the same part; if the scan "
            "shows much else, cut it to the crown or start from landmark pairs.",
        )
