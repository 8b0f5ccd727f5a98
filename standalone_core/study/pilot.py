"""The spread between crowns that a measured study, a pilot, showed."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from ..areas.support_marks import new_area_name
from ..deviation.direction import DESIGN_TO_SCAN, DIRECTIONS, Direction
from ..errors import FileError, SettingError
from ..words.names import DIRECTION_WORDS, MEASURE_WORDS, area_words, measured_in
from .aim import Spread
from .document_file import document_of

Values = dict[str, dict[str, float]]
"""Of each group, by name: one number per crown, by name."""


def read_pilot(
    file: str | Path, area: str, measure: str, direction: Direction | None = None
) -> tuple[Spread, ...]:
    """Read the spread of every group of a measured study.

    Parameters
    ----------
    file : str or pathlib.Path
        ``study.json`` of a study's results, their folder, or the study's.
    area, measure : str
        Of the deviations; the measure in µm.
    direction : {"design_to_scan", "scan_to_design"}, optional
        That of the deviations; the one that the pilot was judged in if it is left out.

    Returns
    -------
    tuple of Spread
        Also without the crowns that the study found odd.

    Raises
    ------
    FileError
        It cannot be read, or is no study.
    SettingError
        There is no such area or measure, or no group has two crowns with it.
    """
    document = _read(document_of(Path(file)))
    direction = direction or judged_direction(document, file)
    area = new_area_name(area)
    rows = [
        (crown["group"], str(crown.get("name", number)), row)
        for number, crown in enumerate(document["crowns"])
        for row in crown["measures"]
        if row["direction"] == direction
    ]
    known = dict.fromkeys(new_area_name(row["area"]) for _, _, row in rows)
    _refuse_unknown(area, known, "area")
    _refuse_unknown(measure, [name for name in MEASURE_WORDS if name.endswith("_um")], "measure")
    values: Values = {}
    for group, crown, row in rows:
        if new_area_name(row["area"]) == area and row.get(measure) is not None:
            values.setdefault(group, {})[crown] = float(row[measure])
    odd, what = _odd_crowns(document), f"{measured_in(area, measure)}, {DIRECTION_WORDS[direction]}"
    spreads = tuple(_spread(group, of, odd, what) for group, of in values.items() if len(of) > 1)
    if not spreads:
        raise SettingError(
            f"No group has two crowns with a number for the area {area_words(area)}.",
            subject=Path(file),
            remedy="Measure two crowns or more of a group, or choose another area.",
        )
    return spreads


def judged_direction(document: Mapping[str, Any], file: str | Path) -> Direction:
    """Return the direction that a measured study was judged in; older files know one only.

    Parameters
    ----------
    document : mapping
        Of its ``study.json``.
    file : str or pathlib.Path
        Which an error names.

    Raises
    ------
    FileError
        It names another direction than there are.
    """
    direction: Direction = document.get("direction", DESIGN_TO_SCAN)
    if direction not in DIRECTIONS:
        raise FileError(
            f"It was judged in the direction {direction!r}, which is not known.",
            subject=Path(file),
            remedy="Give the study.json that 'cuspwise study' wrote.",
        )
    return direction


def _spread(group: str, values: Mapping[str, float], odd: frozenset[str], what: str) -> Spread:
    own = tuple(name for name in values if name in odd)
    rest = [value for name, value in values.items() if name not in odd]
    without = float(np.std(rest, ddof=1)) if own and len(rest) > 1 else float("nan")
    sd = float(np.std(list(values.values()), ddof=1))
    return Spread(group, sd, len(values), odd=own, without_odd_um=without, what=what)


def _odd_crowns(document: Mapping[str, Any]) -> frozenset[str]:
    """Return the crowns that the pilot's analysis flagged; none where it has none."""
    analysis = document.get("analysis")
    rows = analysis.get("odd_crowns", ()) if isinstance(analysis, dict) else ()
    return frozenset(row["crown"] for row in rows if row.get("odd"))


def _read(file: Path) -> Mapping[str, Any]:
    try:
        document: Mapping[str, Any] = json.loads(file.read_text(encoding="utf-8"))
        for crown in document["crowns"]:
            _ = crown["group"], [(row["area"], row["direction"]) for row in crown["measures"]]
    except OSError as error:
        raise FileError(
            f"It cannot be read ({error.strerror or error}).",
            subject=file,
            remedy="Give the study.json of a study's results.",
        ) from error
    except (ValueError, KeyError, TypeError) as error:
        raise FileError(
            "It holds no measured study.",
            subject=file,
            remedy="Give the study.json that 'cuspwise study' wrote.",
        ) from error
    return document


def _refuse_unknown(name: str, known: Iterable[str], subject: str) -> None:
    if name not in (names := list(known)):
        raise SettingError(
            f"There is no {name!r}.", subject=subject, remedy=f"Choose from {', '.join(names)}."
        )
