"""What the scene says about a study: groups, choices, folder; cheap enough for a panel."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy

from ...standalone_core.errors import StudyError
from ...standalone_core.study.plan import MEASURES, USUAL_MEASURES, AnalysisPlan
from ...standalone_core.words.text import count_words
from ..causes import production
from ..check import scene_choices, store
from ..check.setting_groups import SettingGroup, rounded
from ..identifiers import SCENE_PROPERTIES


@dataclass(frozen=True, eq=False)
class Listing:
    """The scans of a scene's list by group.

    Attributes
    ----------
    groups : mapping of str to tuple of objects
        By title, in the order of the list; titles that only capitals or spaces tell apart are
        one group.
    without : tuple of objects
        Scans without a group; they take no part.
    """

    groups: Mapping[str, tuple[bpy.types.Object, ...]]
    without: tuple[bpy.types.Object, ...]

    @property
    def count(self) -> int:
        """Scans that take part."""
        return sum(map(len, self.groups.values()))


def listing_of(scene: bpy.types.Scene) -> Listing:
    """Return the scans that still are in the scene, each once, by group."""
    settings = getattr(scene, SCENE_PROPERTIES)
    groups: dict[str, list[bpy.types.Object]] = {}
    titles: dict[str, str] = {}
    without: list[bpy.types.Object] = []
    seen: set[bpy.types.Object] = set()
    for item in settings.scans:
        scan = item.scan
        if scan in seen or not store.is_in(scan, scene) or scan == settings.design:
            continue
        seen.add(scan)
        words = " ".join(item.group.split())
        if words:
            title = titles.setdefault(words.casefold(), words)
            groups.setdefault(title, []).append(scan)
        else:
            without.append(scan)
    return Listing({title: tuple(scans) for title, scans in groups.items()}, tuple(without))


def listing_lines(listing: Listing) -> tuple[str, ...]:
    """Say which crowns take part, and what a study of them cannot tell."""
    if not listing.groups:
        return ("Give the scans in the list above a group each: crowns made the same way.",)
    counts = [f"{len(scans)} in {title}" for title, scans in listing.groups.items()]
    lines = [f"{count_words(listing.count, 'crown')}: {', '.join(counts)}."]
    if listing.without:
        count = len(listing.without)
        verbs = ("has", "takes") if count == 1 else ("have", "take")
        lines.append(f"{count_words(count, 'scan')} {verbs[0]} no group and {verbs[1]} no part.")
    if len(listing.groups) == 1:
        lines.append("One group alone: nothing to compare it with.")
    single = [title for title, scans in listing.groups.items() if len(scans) == 1]
    if single:
        lines.append(f"One crown alone tells nothing about spread: {', '.join(single)}.")
    return tuple(lines)


def choices_of(settings: Any) -> dict[str, Any]:
    """Return what a study of the scene is made with, as plain data."""
    scene = settings.id_data
    groups = listing_of(scene).groups.items()
    return {
        **scene_choices.choices_of(settings),
        "productions": {
            title.casefold(): production.facts_of(scene, scans[0]) for title, scans in groups
        },
        "causes": production.search_of(scene),
        **_question_of(settings.study),
    }


ANALYSIS = ("lead", "alpha", "confidence", "next_crown_content", "odd_false_alarm", "resamples")
ANALYSIS_PLAN = SettingGroup("Analysis", (AnalysisPlan,), (*ANALYSIS, "seed"))


def _question_of(study: Any) -> dict[str, Any]:
    """Return what a study is to answer and how, as plain data."""
    measures = [name for name in MEASURES if name in study.measures]
    planned = [f"{row.area} {row.measure}" for row in study.comparisons]
    rationale = study.sample_size_rationale.strip()
    return {
        "equivalence_um": rounded(study.equivalence_um),
        "equivalences_um": {row.area: rounded(row.um) for row in study.equivalences},
        "primary_area": study.primary_area,
        "primary_measure": study.primary_measure,
        "secondary": planned if study.own_comparisons else None,
        "measures": None if measures == list(USUAL_MEASURES) else measures,
        "analysis": ANALYSIS_PLAN.changed(study)
        | ({"sample_size_rationale": rationale} if rationale else {}),
        "question": study.question.strip(),
        "earlier": _earlier_of(study.earlier.strip()),
    }


def _earlier_of(chosen: str) -> str:
    """Return the path of the earlier study, whole; empty without one."""
    return str(Path(bpy.path.abspath(chosen)).absolute()) if chosen else ""


def folder_of(scene: bpy.types.Scene) -> Path:
    """Return the folder of the scene's study.

    Raises
    ------
    StudyError
        None was chosen, or one beside the .blend, and the .blend was never saved.
    """
    chosen = getattr(scene, SCENE_PROPERTIES).study.folder.strip()
    saved = bpy.data.filepath
    if not saved and (not chosen or chosen.startswith("//")):
        raise StudyError(
            "The .blend has no folder yet, beside which the study could be written.",
            subject="Study",
            remedy="Save the .blend, or choose a folder for the study.",
        )
    if not chosen:
        return Path(saved).with_name(f"{Path(saved).stem}_study")
    return Path(bpy.path.abspath(chosen)).absolute()


def title_of(design: bpy.types.Object) -> str:
    """Return the title of a study."""
    name = Path(bpy.data.filepath).stem if bpy.data.filepath else design.name
    return f"Study of {name}"
