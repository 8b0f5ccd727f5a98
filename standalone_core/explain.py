"""From a checked crown to the causes of its deviations."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, TypeAlias

from .causes.design_fields import CauseFields, cause_fields_steps
from .causes.find import CrownToExplain, find_causes_steps, no_causes
from .check_result import CheckResult
from .progress import Progress, Steps, run, scaled
from .stopwatch import Stopwatch
from .surface.closest import SurfaceIndex

if TYPE_CHECKING:
    from .causes.result import CausesResult

__all__ = ["FieldsMaker", "explain", "explain_steps", "explained_steps", "why_not_explained"]

FieldsMaker: TypeAlias = Callable[[CheckResult], Steps[CauseFields]]
"""Makes the fields of causes on a result's design, or has made them before."""


def explained_steps(
    result: CheckResult, make_fields: FieldsMaker | None = None
) -> Steps[CheckResult]:
    """Return a check's result with the causes, step by step.

    Parameters
    ----------
    result : CheckResult
    make_fields : function, optional
        For many crowns of one design, which need the fields only once.
    """
    watch = Stopwatch()
    causes = yield from watch.timed("causes", explain_steps(result, make_fields), 0.0, 1.0)
    spent = watch.seconds["causes"]
    seconds = {**result.seconds, "causes": spent, "total": result.seconds["total"] + spent}
    return replace(result, causes=causes, seconds=seconds)


def explain_steps(
    result: CheckResult, make_fields: FieldsMaker | None = None
) -> Steps[CausesResult]:
    """Find the causes of a check's deviations as :func:`explain` does, step by step."""
    settings = result.settings
    why = why_not_explained(result.is_design, result.superimposition.verdict, result.doubt)
    if why:
        return no_causes(len(result.evaluation.points), settings.production, settings.causes, why)
    yield Progress("Making the design ready for causes", 0.0)
    fields = yield from scaled((make_fields or _fields_steps)(result), 0.0, 0.8)
    crown = CrownToExplain(
        deviation_mm=result.design_to_scan.deviation_mm,
        scan=result.scan.mesh.moved(result.superimposition.T_design_scan),
        facts=settings.production,
        tolerances=settings.tolerances,
    )
    return (yield from scaled(find_causes_steps(fields, crown), 0.8, 1.0))


def _fields_steps(result: CheckResult) -> Steps[CauseFields]:
    index, settings = SurfaceIndex(result.evaluation.mesh), result.settings
    return (
        yield from cause_fields_steps(
            result.area_set, index, settings.causes, (settings.production,)
        )
    )


def why_not_explained(is_design: bool, superimposition: str, doubt: str = "") -> str:
    """Say why causes are not looked for, as the end of a sentence; empty if they are.

    Parameters
    ----------
    is_design : bool
        Whether the scan is the design's own surface.
    superimposition : str
        Its verdict.
    doubt : str
        Why the surface may not be the crown's; empty where nothing speaks against it.
    """
    if is_design:
        return "the scan is the design's own surface"
    if doubt:
        return "the scan may have another size or shape than the crown"
    if superimposition != "good":
        return "the superimposition is not to be trusted"
    return ""


def explain(result: CheckResult) -> CausesResult:
    """Find why a checked crown deviates, as far as its deviations can tell.

    Mean deviations of cells of about 1 mm are held against what every cause would make of them,
    all sets of causes against each other, under two covariances of what is left (restricted
    maximum likelihood; weights by BIC). Stated is what both hold with a probability of 0.95 and
    what makes at least 1.5 µm as root mean square; everything else is "cannot tell", or nothing.

    Parameters
    ----------
    result : CheckResult
        With the facts of production in ``settings.production``, and ``settings.causes``.

    Returns
    -------
    CausesResult

    Examples
    --------
    A crown that is 0.3 % too large:

    >>> import cuspwise
    >>> design = cuspwise.demo_crown(edge_mm=0.25)
    >>> errors = cuspwise.ProductionErrors(scale=(1.003, 1.003, 1.003), any_pose=False)
    >>> scan = cuspwise.produce(design, errors, edge_mm=0.25)
    >>> settings = cuspwise.CheckSettings(
    ...     spacing_mm=0.3, production=cuspwise.ProductionFacts(enlargement=1.25)
    ... )
    >>> result = cuspwise.check_meshes(design.mesh, scan.mesh, settings)
    >>> causes = cuspwise.explain(result)
    >>> [(cause.cause, round(cause.estimate)) for cause in causes.stated]
    [('scale', 3)]
    >>> round(causes.corrections[0].factor_next, 3)
    1.246
    """
    return run(explain_steps(result))
