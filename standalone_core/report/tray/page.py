"""``tray.html``: a tray on one self-contained page, crowns × areas, to be sorted."""

from __future__ import annotations

import base64
import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from urllib.parse import quote

from ...deviation.support_marks import CLEAN
from ...tray.result import NOT_CHECKED, TRAY_VERDICTS, TrayCrown, TrayResult
from ...words.headline import decisive
from ...words.names import NO_TOLERANCE, OUTSIDE
from ..check.page import TEMPLATES, page_environment
from .words import (
    SHORT_TRAY_WORDS,
    TRAY_SIGNS,
    about_words,
    areas_shown,
    limit_of,
    marks_words,
    not_clean,
    reason_lines,
    shared_warnings,
    tray_lines,
    tray_title,
    why_words,
)

if TYPE_CHECKING:
    from ...deviation.verdict import Verdict


@dataclass(frozen=True)
class CrownRow:
    """What the page shows of a crown, with what the columns are sorted by.

    Attributes
    ----------
    crown : TrayCrown
    page : str
        Link to its own page; empty if there is none.
    rank : int
        Place of its verdict, the worst first.
    cells : tuple of Verdict or None
        One per area shown.
    amounts : tuple of float
        How much of its limit each of these uses; NaN is sorted last.
    coverage : float
        The least of an area with a limit; NaN if there is none.
    marks, why : str
    marks_rank : int
        How many support marks ask for work, and are not clean otherwise, the worst highest.
    reasons : tuple of str
        Why it did not pass.
    """

    crown: TrayCrown
    page: str
    rank: int
    cells: tuple[Verdict | None, ...]
    amounts: tuple[float, ...]
    coverage: float
    marks: str
    marks_rank: int
    why: str
    reasons: tuple[str, ...]


def tray_page(result: TrayResult, *, pages: Mapping[str, str], written: datetime) -> str:
    """Fill the page of a tray.

    Parameters
    ----------
    result : TrayResult
    pages : mapping of str to str
        Each crown's own page, as a path from this one, by the crown's name.
    written : datetime
        Shown as the date of the report.

    Returns
    -------
    str
        HTML that needs no other file and no network, and no script to be read: the script only
        sorts. Every text in it is escaped.
    """
    shown = areas_shown(result)
    script = (TEMPLATES / "sort_table.js").read_text(encoding="utf-8")
    return (
        page_environment()
        .get_template("tray.html")
        .render(
            result=result,
            verdict=_overall(result),
            title=tray_title(result),
            lines=tray_lines(result),
            written=written,
            areas=[(area, limit_of(result, area)) for area in shown],
            rows=[_row(crown, shown, pages.get(crown.name, "")) for crown in result.crowns],
            several_designs=len({crown.design for crown in result.crowns}) > 1,
            with_marks=any(crown.marks for crown in result.crowns),
            with_causes=any(crown.causes is not None for crown in result.crowns),
            warnings=[(about_words(result, who), text) for text, who in shared_warnings(result)],
            words=SHORT_TRAY_WORDS,
            signs=TRAY_SIGNS,
            script=script,
            script_hash=_hash(script),
        )
    )


def _overall(result: TrayResult) -> str:
    found = [crown.verdict for crown in result.crowns]
    return decisive(OUTSIDE if verdict == NOT_CHECKED else verdict for verdict in found)


def _row(crown: TrayCrown, shown: Sequence[str], page: str) -> CrownRow:
    cells = tuple(crown.of_area(area) for area in shown)
    judged = [v.coverage for v in crown.verdicts if v.verdict != NO_TOLERANCE]
    unclean = sum(mark.verdict != CLEAN for mark in crown.marks)
    return CrownRow(
        crown=crown,
        page=quote(page),
        rank=TRAY_VERDICTS.index(crown.verdict),
        cells=cells,
        amounts=tuple(math.nan if v is None else v.mean_abs_um / v.tolerance_um for v in cells),
        coverage=min(judged, default=math.nan),
        marks=marks_words(crown.marks),
        marks_rank=1000 * len(not_clean(crown.marks)) + unclean,
        why=why_words(crown),
        reasons=reason_lines(crown),
    )


def _hash(script: str) -> str:
    """Return what a page's policy names its one script by."""
    return base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")
