"""What the sidebar says of verdicts, in few words. Needs no Blender."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ...standalone_core.deviation.direction import DESIGN_TO_SCAN, other_direction
from ...standalone_core.deviation.reasons import beside_limit
from ...standalone_core.deviation.unmatched import UnmatchedPiece
from ...standalone_core.deviation.verdict import Verdict, is_too_much
from ...standalone_core.report.check.sentences import headline
from ...standalone_core.words.names import (
    DIRECTION_WORDS,
    NO_TOLERANCE,
    NOT_DECIDABLE,
    OUTSIDE,
    VERDICT_WORDS,
    WITHIN,
    area_words,
)
from ...standalone_core.words.text import capital, micrometres

if TYPE_CHECKING:
    from ...standalone_core.deviation.tolerances import Tolerances

VERDICT_ICONS = {
    WITHIN: "CHECKMARK",
    OUTSIDE: "CANCEL",
    NOT_DECIDABLE: "QUESTION",
    NO_TOLERANCE: "NONE",
    "": "NONE",
}


@dataclass(frozen=True)
class Standing:
    """Where a scan stands, for a list: its icon and its words."""

    icon: str
    words: str


_UNJUDGED = {
    "NONE": Standing("RADIOBUT_OFF", "not measured"),
    "PLACED": Standing("SNAP_ON", "superimposed, not measured"),
    "OUT_OF_DATE": Standing("ERROR", "out of date"),
}
_NO_VERDICT = Standing("REMOVE", "measured, no tolerance set")
_JUDGED = {
    key: Standing(VERDICT_ICONS[key], VERDICT_WORDS[key])
    for key in (WITHIN, OUTSIDE, NOT_DECIDABLE)
}


def standing(state: str, verdict: str) -> Standing:
    """Return where a scan stands: its verdict, or why it has none.

    Parameters
    ----------
    state : str
        What was done with it: ``NONE``, ``PLACED``, ``CURRENT`` or ``OUT_OF_DATE``.
    verdict : str
        The one that decides about it; empty where none is known.
    """
    return _UNJUDGED.get(state) or _JUDGED.get(verdict, _NO_VERDICT)


def deciding(verdicts: Sequence[Verdict]) -> str:
    """Return the verdict that decides about a scan."""
    return headline(verdicts).verdict


@dataclass(frozen=True)
class Opening:
    """What stands above all areas.

    Attributes
    ----------
    verdict : str
        The one that decides.
    title : str
        All verdicts in a line.
    reasons : tuple of str
        Why several areas together are not decidable, as sentences.
    why : tuple of str
        All that decides, as sentences: those reasons, and those of single areas with their names.
    caveats : tuple of str
        What the verdicts do not cover.
    """

    verdict: str
    title: str
    reasons: tuple[str, ...]
    why: tuple[str, ...]
    caveats: tuple[str, ...]


def opening(
    verdicts: Sequence[Verdict], document: Mapping[str, Any], tolerances: Tolerances
) -> Opening:
    """Sum the verdicts up; parameters are those of :func:`reasons`."""
    found = headline(verdicts)
    counts = Counter(v.reason for v in verdicts if v.verdict == NOT_DECIDABLE)
    shared = tuple(reason for reason, count in counts.items() if count > 1)
    caveats = tuple(dict.fromkeys(v.caveat for v in verdicts if v.caveat))
    why = list(shared)
    for verdict in verdicts:
        own = [text for text in reasons(verdict, document, tolerances) if text not in shared]
        if own:
            why.append(f"{capital(area_words(verdict.area))}: {' '.join(own)}")
    return Opening(found.verdict, found.title, shared, tuple(why), caveats)


def reasons(
    verdict: Verdict, document: Mapping[str, Any], tolerances: Tolerances
) -> tuple[str, ...]:
    """Say in short why an area is outside, or at length why it is not decidable.

    Parameters
    ----------
    verdict : Verdict
    document : mapping
        The check's, as kept.
    tolerances : Tolerances
    """
    if verdict.verdict == NOT_DECIDABLE:
        return (verdict.reason,)
    if verdict.verdict != OUTSIDE:
        return ()
    limit = verdict.tolerance_um
    there, back = verdict.mean_abs_um, verdict.back_mean_abs_um
    lines = []
    if verdict.contradiction:
        first = document["settings"]["direction"]
        ways = [DIRECTION_WORDS[way] for way in (first, other_direction(first))]
        lines.append(
            f"The two directions contradict each other: {beside_limit(there, limit)} µm {ways[0]}, "
            f"{beside_limit(back, limit)} µm {ways[1]}; limit {limit:g} µm."
        )
    elif there > limit:
        lines.append(f"Above its limit of {limit:g} µm.")
    missing_mm = document["margin_profile"].get("missing_mm") or 0.0
    if verdict.area == "margin" and missing_mm > tolerances.max_missing_mm:
        lines.append(f"The margin is short or broken along {missing_mm:.1f} mm.")
    known = (UnmatchedPiece(**piece) for piece in document["unmatched"])
    beside = [piece for piece in known if piece.beside(verdict.area)]
    if any(is_too_much(piece, tolerances) for piece in beside):
        lines.append("The scan has surface that the design has not.")
    return tuple(lines)


def back_line(row: Mapping[str, Any]) -> str:
    """Say mean absolute and RMS of an area in the other direction; empty if it has none."""
    if not math.isfinite(row["mean_abs_um"]):
        return ""
    begin = "from design" if row["direction"] == DESIGN_TO_SCAN else "from scan"
    return f"{begin}: {micrometres(row['mean_abs_um'])} · RMS {micrometres(row['rms_um'])} µm"


def unmatched_line(verdict: Verdict) -> str:
    """Say how much unmatched scan surface stands beside an area; empty for none."""
    if not verdict.unmatched_mm2 > 0.0:
        return ""
    height = micrometres(verdict.unmatched_um, digits=0)
    return f"unmatched {verdict.unmatched_mm2:.2f} mm², {height} µm high"


def patch_lines(patch: Mapping[str, Any]) -> tuple[str, ...]:
    """Say of the chosen patch what its row in the list has no room for."""
    along = f", {patch['margin_mm']:.1f} mm along the margin" if patch["margin_mm"] >= 0.05 else ""
    where = ", ".join(area_words(name) for name in patch["areas"]) + along
    if patch["unmatched"]:
        return (f"Unmatched: scan surface that the design has not. {capital(where)}.",)
    seen = {"scan": "Seen from the scan only. ", "design": "Seen from the design only. "}
    return (f"{seen.get(patch['seen_from'], '')}{capital(where)}.",)
