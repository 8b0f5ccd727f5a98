"""What tables, terminal and page say in words, so that they say it alike."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from ...deviation.direction import SCAN_TO_DESIGN
from ...deviation.reasons import about_pieces
from ...deviation.support_marks import GOUGE, MARK_WORDS, STUB, MarkResult
from ...deviation.verdict import Verdict
from ...shares import limit_words, share_words
from ...words.headline import DECIDING, Headline
from ...words.names import DOUBT_WORDS, NO_TOLERANCE, NOT_DECIDABLE, OUTSIDE, WITHIN, area_words
from ...words.text import capital, listed, micrometres

if TYPE_CHECKING:
    from ...check_result import CheckResult
    from ...check_settings import CheckSettings
    from ...checked_mesh import CheckedMesh
    from ...deviation.patches import Patch
    from ...superimpose.result import Superimposition

SHORT_VERDICTS = {
    WITHIN: "within",
    OUTSIDE: "outside",
    NOT_DECIDABLE: "undecided",
    NO_TOLERANCE: "–",
    "": "",
}
FROM_SCAN = "Judged from scan to design; from design to scan the limit must be kept too."
_TITLES = {
    OUTSIDE: "Outside tolerance",
    NOT_DECIDABLE: "Not decidable",
    WITHIN: "Within tolerance",
}
SUPERIMPOSITION_WORDS = {
    "good": "The scan lies on its design.",
    **DOUBT_WORDS,
}
START_WORDS = {
    "auto": "from any position, without a first guess",
    "landmarks": "from landmark pairs",
    "in_place": "from the position in the files",
}
WEIGHTING_WORDS = {
    "least_squares": "plain least squares",
    "trimmed": "trimmed least squares",
    "robust": "robust (Tukey's biweight)",
}


def headline(verdicts: Sequence[Verdict]) -> Headline:
    """Sum the verdicts up; one area outside its tolerance decides, then one undecided."""
    groups = [(kind, [v for v in verdicts if v.verdict == kind]) for kind in DECIDING]
    groups = [(kind, group) for kind, group in groups if group]
    if not groups:
        return Headline(
            NO_TOLERANCE,
            "No verdict: no tolerance applies",
            ("None of the areas found has a tolerance to be compared with.",),
        )
    (decisive, first), *others = groups
    sentences = [f"{capital(area_words(v.area))}: {v.reason}" for v in first]
    for kind, group in others:
        if kind == NOT_DECIDABLE:
            sentences += [f"{capital(area_words(v.area))}, undecided: {v.reason}" for v in group]
        else:
            sentences.append(f"{_TITLES[kind]}: {_names(group)}.")
    if SCAN_TO_DESIGN in {v.direction for v in first}:
        sentences.append(FROM_SCAN)
    sentences += dict.fromkeys(v.caveat for v in verdicts if v.caveat)
    return Headline(decisive, f"{_TITLES[decisive]}: {_names(first)}", tuple(sentences))


def patch_limit_um(settings: CheckSettings) -> float:
    """Return the bound that a check's patches lie beyond, µm; NaN without one."""
    own = settings.patches.patch_um
    return settings.tolerances.limit_um("whole") if own is None else own


def patch_line(result: CheckResult) -> str:
    """Say in a sentence how many patches are outside and which is the worst: means hide them."""
    limit = patch_limit_um(result.settings)
    if not math.isfinite(limit):
        return "No patches were sought: the whole crown has no tolerance."
    found = result.patches
    if not found:
        return f"No patch lies beyond ±{limit:g} µm."
    worst = found[0]
    areas = patch_areas(worst)
    several = f"{len(found)} patches lie" if len(found) > 1 else "One patch lies"
    searched = 0.95e3 * result.settings.deviation.search_mm
    reaches = "reaches at least" if abs(worst.peak_um) > searched else "reaches"
    return (
        f"{several} beyond ±{limit:g} µm; the worst {reaches} "
        f"{micrometres(worst.peak_um, signed=True, digits=0)} µm ({areas})."
    )


def patch_kind(patch: Patch) -> str:
    """Return what a patch is: excess, missing, or scan surface without a counterpart."""
    return "unmatched" if patch.unmatched else patch.kind


def patch_areas(patch: Patch) -> str:
    """Return the areas of a patch, and how much of the margin it lies along."""
    along = f" ({patch.margin_mm:.1f} mm along it)" if patch.margin_mm >= 0.05 else ""
    words = (f"{area_words(name)}{along if name == 'margin' else ''}" for name in patch.areas)
    return ", ".join(words)


def unmatched_lines(result: CheckResult) -> tuple[str, ...]:
    """Say which scan surface has no counterpart on the design, a sentence a piece."""
    if not result.unmatched:
        return (UNMATCHED_NONE,)
    if len(result.unmatched) == 1:
        return tuple(about_pieces(result.unmatched))
    total = sum(piece.area_mm2 for piece in result.unmatched)
    highest = result.unmatched[0]
    least = "at least" if highest.beyond_search else "up to"
    first = (
        f"Unmatched scan surface (flash, stubs, a second layer, debris): {total:.2f} mm² in "
        f"{len(result.unmatched)} pieces, {least} {micrometres(highest.height_um, digits=0)} µm "
        f"high."
    )
    return (first, *about_pieces(result.unmatched))


def marks_line(marks: Sequence[MarkResult]) -> str:
    """Say in a sentence how many support marks there are and what is left of them."""
    counts = {verdict: sum(mark.verdict == verdict for mark in marks) for verdict in MARK_WORDS}
    said = ", ".join(
        f"{count} {MARK_WORDS[verdict]}{'s' if count > 1 and verdict in (STUB, GOUGE) else ''}"
        for verdict, count in counts.items()
        if count
    )
    return f"{len(marks)} support mark{'' if len(marks) == 1 else 's'}: {said}."


def superimposition_lines(fit: Superimposition) -> tuple[str, ...]:
    """Say how the scan was laid on its design and how far to trust it, a sentence a line."""
    first = SUPERIMPOSITION_WORDS.get(fit.verdict, fit.verdict)
    lines = [f"{first} {fit.reason}".strip()]
    if fit.settings.refine:
        settled = "settled" if fit.converged else "had not settled"
        lines.append(
            f"Best fit ({WEIGHTING_WORDS[fit.settings.fit_weighting]}, never scaled), "
            f"started {START_WORDS.get(fit.start, fit.start)}; {settled} after "
            f"{fit.iterations} iterations."
        )
    else:
        lines.append(f"No best fit; started {START_WORDS.get(fit.start, fit.start)}.")
    lines.append(
        f"Residual {micrometres(1e3 * fit.rms_mm)} µm RMS, "
        f"{micrometres(1e3 * fit.mean_abs_mm)} µm mean absolute, over "
        f"{fit.points_used:,} points ({share_words(fit.share_used)} of the scan's surface)."
    )
    lines.append(
        f"The scan was turned by {turn_deg(fit.T_design_scan):.2f}° and moved by "
        f"{float(np.linalg.norm(fit.T_design_scan[:3, 3])):.3f} mm."
    )
    lines += [f"Weakly held: {weak.words}." for weak in fit.weak_directions]
    if fit.rivals:
        lines.append(_rival_line(fit))
    return tuple(lines)


def turn_deg(motion: np.ndarray) -> float:
    """Angle of the turn in a rigid motion, degrees."""
    cosine = 0.5 * (float(np.trace(motion[:3, :3])) - 1.0)
    return math.degrees(math.acos(min(1.0, max(-1.0, cosine))))


def limits_of_the_numbers(result: CheckResult) -> tuple[str, ...]:
    """Say what the numbers of a check cannot know."""
    percentiles = result.measures[0].percentiles if result.measures else "area-weighted Hazen"
    least = limit_words(result.settings.tolerances.min_coverage)
    return (
        "The scanner's own error is in every number. Deviations smaller than what the scanner "
        "is known to resolve say nothing about the crown.",
        "A best fit shares errors out: where one part is too high, others seem too low. It is "
        "not the position in which the crown seats on its die; fit and marginal gap are not "
        "measured here.",
        "A deviation is the distance to the nearest point of the other surface. Defects "
        "narrower than they are deep, and sharp edges, come out smaller than they are; the two "
        "directions differ for the same reason, so compare with published figures of the same "
        "direction only.",
        "Places in the colour of “not measured” count nowhere, nor do those without a mutual "
        "match, which lie nearest to what is really another place. Where less than "
        f"{least} of an area was measured, there is no verdict.",
        "(P90−P10)/2 does not see an even offset: read it beside the mean and the mean "
        f"absolute deviation. Percentiles here are {percentiles}.",
        "The default tolerances are common practice, no source. Whether a crown is acceptable "
        "is for the professional who places it to judge.",
    )


UNMATCHED_NONE = "No scan surface without a counterpart on the design was found."

TERMS = (
    "In the words of ISO 5725-1, trueness is how close the mean of many results lies to the "
    "reference, and precision how close results lie to each other; accuracy is both. One crown "
    "is one result: its deviation from the design speaks of trueness. Precision needs several "
    "crowns, and several crowns are not the same item measured again, so it then holds the "
    "spread of production as well as that of scanning."
)
SIGN = (
    "Positive deviations are material outside the design (excess), negative ones missing material."
)


def status_words(shares: Mapping[str, float]) -> str:
    """Say what became of a surface's points: the shares that are not nothing, in per cent."""
    found = [f"{share_words(share)} {words}" for words, share in shares.items() if share > 0.0]
    return "; ".join(found) or "nothing"


def surface_words(part: CheckedMesh) -> str:
    """Say in a line what a surface is and what was mended."""
    health = part.repair.health
    sides = " × ".join(f"{side:.2f}" for side in health.size_mm)
    words = [f"{health.triangles:,} triangles", f"{sides} mm"]
    if part.file is not None:
        guessed = " (guessed)" if part.file.unit_guessed else ""
        words.append(f"unit {part.file.unit}{guessed}")
    if health.closed:
        words.append("closed")
    else:
        words.append(f"{health.borders:,} open border{'' if health.borders == 1 else 's'}")
    line = f"{part.mesh.name}: {', '.join(words)}."
    return " ".join((line, *part.repair.actions))


def _rival_line(fit: Superimposition) -> str:
    best = fit.rivals[0]
    worse = f"{best.ratio:.1f} times" if math.isfinite(best.ratio) else "many times"
    return (
        f"The next best position, turned by {best.turn_deg:.0f}° and shifted by "
        f"{best.shift_mm:.2f} mm, leaves {worse} the residual."
    )


def _names(verdicts: Sequence[Verdict]) -> str:
    return listed([area_words(v.area) for v in verdicts])
