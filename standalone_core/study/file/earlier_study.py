"""An earlier study to compare with, from the ``study.json`` that it wrote."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ...words.names import VERDICT_WORDS
from ..document_file import MEASURED_ON_SCHEMA, SCHEMA, document_of
from ..plan import MEASURES
from .json_parts import JsonPart, read_json

_DEEPEST = 3
_LARGEST_UM = 1e6
"""A metre."""

_RUN_ANEW = "Run the earlier study anew with this version of Cuspwise."


@dataclass(frozen=True)
class EarlierCrown:
    """One crown of an earlier study.

    Attributes
    ----------
    name, group : str
    sha256 : str
        Checksum of its scan file.
    values : mapping of (direction, area, measure) to float
        In the measure's own unit; NaN where there was no number.
    verdicts : mapping of area to str
    """

    name: str
    group: str
    sha256: str
    values: Mapping[tuple[str, str, str], float]
    verdicts: Mapping[str, str]

    def value(self, area: str, measure: str, direction: str = "design_to_scan") -> float:
        """Return one number; NaN if there is none."""
        return self.values.get((direction, area, measure), float("nan"))


@dataclass(frozen=True)
class EarlierGroup:
    """What an earlier study says of a group.

    Attributes
    ----------
    name, title : str
    facts : mapping of str to str
        How its crowns were produced, in free words.
    production : mapping of str to object
        What the search for causes was told of it, as JSON holds it.
    """

    name: str
    title: str
    facts: Mapping[str, str]
    production: Mapping[str, Any]


@dataclass(frozen=True)
class EarlierStudy:
    """What an earlier study measured, and on what.

    Attributes
    ----------
    path : pathlib.Path
        Its ``study.json``.
    title : str
    design : str
        Name of the design.
    design_triangles : int
    design_checksum : str
        Of the design's geometry.
    points : int
        Measuring points of the design.
    areas : mapping of str to str
        Checksum of each area's measuring points.
    areas_mm2 : mapping of str to float
        Their sizes.
    tolerances_um : mapping of str to float
        Of its areas.
    check : mapping of str to object
        The settings of its checks by their dotted names, as JSON holds them.
    groups : mapping of str to EarlierGroup
    crowns : tuple of EarlierCrown
    versions : mapping of str to str
        Of Cuspwise and what it computed with.
    """

    path: Path
    title: str
    design: str
    design_triangles: int
    design_checksum: str
    points: int
    areas: Mapping[str, str]
    areas_mm2: Mapping[str, float]
    tolerances_um: Mapping[str, float]
    check: Mapping[str, Any]
    groups: Mapping[str, EarlierGroup]
    crowns: tuple[EarlierCrown, ...]
    versions: Mapping[str, str]

    def crowns_of(self, group: str) -> tuple[EarlierCrown, ...]:
        """Return a group's crowns, by name."""
        own = (crown for crown in self.crowns if crown.group == group)
        return tuple(sorted(own, key=lambda crown: crown.name))


def read_earlier_study(path: str | Path) -> EarlierStudy:
    """Read what an earlier study measured, to be compared with.

    Parameters
    ----------
    path : str or pathlib.Path
        The ``study.json`` that it wrote, the folder of its results, or the study's.

    Returns
    -------
    EarlierStudy

    Raises
    ------
    StudyFileError
        It cannot be read, is damaged or something else, or of a version that does not say what
        its numbers rest on.

    Examples
    --------
    >>> import cuspwise
    >>> run = cuspwise.run_study(cuspwise.read_study(cuspwise.demo_study("trial")), "trial/results")
    >>> files = cuspwise.write_study(
    ...     run, cuspwise.analyse_study(run), "trial/results", pictures="no"
    ... )
    >>> earlier = cuspwise.read_earlier_study("trial/results/study.json")
    >>> earlier.title, [crown.name for crown in earlier.crowns]
    ('Two ways of making a crown (invented)', ['m1', 'm2', 'p1', 'p2'])
    """
    whole = read_json(document_of(Path(path)))
    _check_version(whole)
    return _study(whole, _measured_on(whole))


def _check_version(whole: JsonPart) -> None:
    """Refuse a file that is no study's, or a study's of another version."""
    values = whole.value
    if not isinstance(values, dict) or not {"schema", "plan", "crowns"} <= values.keys():
        whole.refuse("It holds no study.", "Give the study.json that 'cuspwise study' wrote.")
    _same_version(whole["schema"], SCHEMA)


def _measured_on(whole: JsonPart) -> JsonPart:
    """Return what the study was measured on; refuse a study that does not say it."""
    part = whole.get("measured_on")
    if part is None:
        whole.refuse(
            "It was written by an earlier version of Cuspwise and does not say on which surface "
            "and areas it was measured (measured_on), so it cannot be compared with.",
            _RUN_ANEW,
        )
    _same_version(part["schema"], MEASURED_ON_SCHEMA)
    return part


def _same_version(part: JsonPart, known: int) -> None:
    found = part.whole()
    if found > known:
        part.refuse(
            f"It is version {found}, which a later Cuspwise wrote; this one reads {known}.",
            "Use that version of Cuspwise, or run the earlier study anew with this one.",
        )
    if found < known:
        part.refuse(f"It is version {found}; this Cuspwise reads {known}.", _RUN_ANEW)


def _study(whole: JsonPart, on: JsonPart) -> EarlierStudy:
    plan, design = whole["plan"], whole["design"]
    check = plan["check"]
    study = EarlierStudy(
        path=whole.file,
        title=plan["title"].text(),
        design=design["name"].text(),
        design_triangles=design["triangles"].whole(),
        design_checksum=on["design_checksum"].text(),
        points=on["points"].whole(),
        areas={name: part.text() for name, part in on["areas"].items()},
        areas_mm2={name: part.number() for name, part in whole["areas"].items()},
        tolerances_um={
            area: part.number() for area, part in check["tolerances"]["tolerances_um"].items()
        },
        check={dotted: v for name, part in check.items() for dotted, v in flat(part.value, name)},
        groups={group.name: group for group in map(_group, plan["groups"].each())},
        crowns=tuple(map(_crown, whole["crowns"].each())),
        versions={name: part.text() for name, part in whole["versions"].items()},
    )
    _refuse_twins(whole, study)
    return study


def _refuse_twins(whole: JsonPart, study: EarlierStudy) -> None:
    """Refuse crowns of one name, and those of a group that is not there."""
    names: set[str] = set()
    for crown, part in zip(study.crowns, whole["crowns"].each(), strict=True):
        if crown.name in names:
            part.refuse(f"There are two crowns called {crown.name}.")
        if crown.group not in study.groups:
            part.refuse(f"There is no group {crown.group}.")
        names.add(crown.name)


def _group(part: JsonPart) -> EarlierGroup:
    facts = {name: fact.text() for name, fact in part["facts"].items()}
    production = {name: told.value for name, told in part["production"].items()}
    return EarlierGroup(part["name"].text(), part["title"].text(), facts, production)


def _crown(part: JsonPart) -> EarlierCrown:
    values: dict[tuple[str, str, str], float] = {}
    for row in part["measures"].each():
        of = row["direction"].text(), row["area"].text()
        if (*of, MEASURES[0]) in values:
            row.refuse(f"The area {of[1]} is there twice.")
        values |= {(*of, measure): _deviation(row[measure]) for measure in MEASURES}
    return EarlierCrown(
        name=part["name"].text(),
        group=part["group"].text(),
        sha256=part["sha256"].text(),
        values=values,
        verdicts=dict(map(_verdict, part["verdicts"].each())),
    )


def _deviation(part: JsonPart) -> float:
    number = part.number()
    if abs(number) > _LARGEST_UM:
        part.refuse(f"{number:g} is nothing that can be measured of a crown.")
    return number


def _verdict(part: JsonPart) -> tuple[str, str]:
    verdict = part["verdict"].text()
    if verdict not in VERDICT_WORDS:
        part["verdict"].refuse(f"{verdict!r} is no verdict.")
    return part["area"].text(), verdict


def flat(value: Any, name: str) -> Iterator[tuple[str, Any]]:
    """Yield the values of mappings within mappings by their dotted names, settings as deep."""
    if isinstance(value, Mapping) and name.count(".") < _DEEPEST:
        for key, inner in value.items():
            yield from flat(inner, f"{name}.{key}")
    else:
        yield name, value
