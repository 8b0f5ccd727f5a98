"""What a study asks and how it is answered: all of it fixed before any crown is measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Literal, get_args

from ..allowed import Choice, Names, Number, PerArea, Text
from ..causes.settings import ProductionFacts
from ..check_settings import CheckSettings
from ..errors import SettingError
from ..setting import Rule, check_fields, refuse_implausible, setting
from ..words.text import listed
from .crown_names import crown_names
from .fit_plan import FIT_MEASURES, FitPlan

Lead = Literal["welch", "ranks"]

MEASURES: tuple[str, ...] = (
    "mean_abs_um",
    "rms_um",
    "half_p90_p10_um",
    "mean_um",
    "sd_um",
    "median_um",
    "p10_um",
    "p90_um",
    "mean_positive_um",
    "mean_negative_um",
    "min_um",
    "max_um",
    "hausdorff_um",
    "hausdorff_both_um",
    "within_tolerance",
)
"""The measures that can be compared: numbers of ``AreaMeasures``."""

USUAL_MEASURES: tuple[str, ...] = MEASURES[:3]

EVERY_AREA = "default"
"""Key of ``equivalence_um`` that stands for every area without a limit of its own."""

SCORES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "gap": ("no gap felt", "gap just felt", "gap clearly felt"),
        "contact": ("as wanted", "a little light or tight", "open, or will not pass"),
        "seating": ("seats fully", "seats after adjustment", "does not seat"),
    }
)
"""What examiners score, with the words for 0, 1, 2, …, best first; words of our own."""

_BETWEEN = Number(0, 1, high_open=True)


@dataclass(frozen=True)
class GroupPlan:
    """Crowns that were produced the same way.

    Attributes
    ----------
    name : str
        Short name, as in tables.
    title : str
        Name for readers.
    scans : tuple of pathlib.Path
        One file per crown, sorted by name; at least one, none twice.
    facts : mapping of str to str
        How the crowns were produced, in free words: machine, material, …
    production : ProductionFacts
        What the search for causes is told of it.
    dies : tuple of pathlib.Path
        Each crown's own die, in the order of the scans; empty where all sit on the plan's one die.
    seated : tuple of pathlib.Path
        A scan of each crown seated on its die, in the same order; empty if there are none.

    Examples
    --------
    >>> import cuspwise
    >>> from pathlib import Path
    >>> cuspwise.GroupPlan("milled", "Milled", (Path("milled/m1.stl"),)).name
    'milled'
    """

    name: str
    title: str
    scans: tuple[Path, ...]
    facts: Mapping[str, str] = field(default_factory=dict)
    production: ProductionFacts = field(default_factory=ProductionFacts)
    dies: tuple[Path, ...] = ()
    seated: tuple[Path, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a group without crowns, or with another number of dies; keep the facts."""
        if not self.scans:
            raise SettingError(
                "It has no scans.", subject=f"group {self.name}", remedy="Give at least one scan."
            )
        for name in ("dies", "seated"):
            _refuse_other_number(self, name)
        _freeze(self, "facts")

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle the facts, since a read-only mapping cannot be."""
        values = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return _make_group, ({**values, "facts": dict(self.facts)},)


@dataclass(frozen=True)
class AnalysisPlan:
    """How groups are compared, chosen before the data are seen.

    Attributes
    ----------
    lead : {"welch", "ranks"}
        Which test decides: Welch's (of means) or the one of ranks (Mann–Whitney; Kruskal–Wallis
        for more than two groups). The other one is reported beside it.
    alpha : float
        Chance of calling equal groups different, 0 to 1.
    confidence : float
        Level of all intervals, 0 to 1.
    primary_area, primary_measure : str
        The one comparison that the study was made for, and that is not corrected for the number
        of comparisons.
    equivalence_um : mapping of area name to float
        Largest difference between groups that does not matter, µm; the key ``default`` stands
        for all areas that are not named. Without a limit there is no test of equivalence.
    next_crown_content : float
        Share of future crowns that the one-sided tolerance interval is to hold.
    resamples : int
        Permutations and bootstrap samples where they cannot be enumerated.
    seed : int
        Start of all random numbers.
    odd_false_alarm : float
        Chance of flagging a crown of a group in which none is odd.
    sample_size_rationale : str
        Why so many crowns, in free words for the methods text; empty if not stated.

    Examples
    --------
    >>> import cuspwise
    >>> analysis = cuspwise.AnalysisPlan(lead="ranks", equivalence_um={"default": 5.0})
    >>> analysis.equivalence_of("margin"), analysis.alpha
    (5.0, 0.05)
    """

    lead: Lead = setting(
        "welch",
        Choice(get_args(Lead)),
        "Which test decides, on difference and equivalence: of means (welch) or of ranks. Both are "
        "shown. Choose by what is known beforehand: a choice by the data spoils alpha.",
    )
    alpha: float = setting(0.05, _BETWEEN, "Chance of calling equal groups different.")
    confidence: float = setting(0.95, _BETWEEN, "Level of all intervals.")
    primary_area: str = setting(
        "margin",
        Text(filled=True),
        "Area of the one comparison that the study was made for.",
        title="Main Area",
        more="It is not corrected for the number of comparisons. Choose it before the crowns are "
        "measured.",
    )
    primary_measure: str = setting(
        "mean_abs_um",
        Choice((*MEASURES, *FIT_MEASURES)),
        "Measure of that comparison, which is not corrected; all others are (Holm).",
        title="Main Measure",
    )
    equivalence_um: Mapping[str, float] = setting(
        MappingProxyType({}),
        PerArea(Number()),
        "Largest difference between groups that does not matter in the mouth, per area, µm; "
        "default stands for all areas not named.",
        title="Equivalence Limit",
        more="Choose it before the crowns are measured; no source gives one for all uses.",
        plausible=(0.1, 2000.0),
    )
    next_crown_content: float = setting(
        0.95, _BETWEEN, "Share of future crowns that the tolerance interval is to hold."
    )
    resamples: int = setting(
        10_000,
        Number(100, 10_000_000, low_open=False, whole=True),
        "Permutations and bootstrap samples, where not all can be tried.",
    )
    seed: int = setting(
        2026, Number(0, 2**32 - 1, low_open=False, whole=True), "Start of all random numbers."
    )
    odd_false_alarm: float = setting(
        0.01, _BETWEEN, "Chance of flagging a crown of a group without an odd one."
    )
    sample_size_rationale: str = setting(
        "",
        Text(),
        "Why so many crowns: the reasoning or calculation behind their number, in free words.",
        more="The methods text of the report quotes it, or says that none was stated.",
    )

    def __post_init__(self) -> None:
        """Refuse what cannot be meant; keep the limits from change."""
        check_fields(self)

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle the limits, since a read-only mapping cannot be."""
        values = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return _make_analysis, ({**values, "equivalence_um": dict(self.equivalence_um)},)

    def equivalence_of(self, area: str) -> float:
        """Return the equivalence limit of an area, µm; NaN if it has none."""
        every = self.equivalence_um.get(EVERY_AREA, float("nan"))
        return float(self.equivalence_um.get(area, every))


@dataclass(frozen=True)
class ScoreScale:
    """How examiners score: 0 is best, each further number a worse category.

    Attributes
    ----------
    words : mapping of str to tuple of str
        For each item that is scored, the words for its categories, best first.
    acceptable : int
        The worst score with which a crown can still be placed.
    """

    words: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: SCORES)
    acceptable: int = setting(
        1,
        Number(0, low_open=False, whole=True),
        "The worst score with which a crown can still be placed.",
    )

    def __post_init__(self) -> None:
        """Refuse what is no score; keep the words from change."""
        check_fields(self, _SCORE_RULES)
        _freeze(self, "words")

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle the words, since a read-only mapping cannot be."""
        return type(self), (dict(self.words), self.acceptable)


def _beyond_words(scale: ScoreScale) -> str:
    counts = {item: len(words) for item, words in scale.words.items()}
    fewest = min(counts, key=lambda item: counts[item])
    if scale.acceptable < counts[fewest]:
        return ""
    return f"{scale.acceptable} is not a score of {fewest}, which has 0 to {counts[fewest] - 1}."


_SCORE_RULES = (
    Rule(("acceptable",), _beyond_words, f"Give a score that all of {listed(tuple(SCORES))} have."),
)


@dataclass(frozen=True)
class StudyPlan:
    """A whole study.

    Attributes
    ----------
    path : pathlib.Path or None
        The study file; None for a plan made in memory.
    title, question : str
        For readers.
    design : pathlib.Path
        The design that all crowns were produced from.
    groups : tuple of GroupPlan
        In the order of the file; no scan in two of them.
    check : CheckSettings
        How each crown is measured and judged.
    areas : tuple of str
        The areas to report and compare; all that are found if empty.
    measures : tuple of str
        What is compared, of :data:`MEASURES`.
    analysis : AnalysisPlan
        How it is compared.
    examiners, repeats : pathlib.Path or None
        CSV files of examiners' scores and of repeated scans.
    scores : ScoreScale
        What the examiners' numbers mean.
    fit : FitPlan or None
        How crowns are seated on their dies; None if they are not.
    notes : tuple of str
        What the reader should know about the plan, such as what one group alone cannot show.

    Examples
    --------
    A plan made in memory, and run without a study file:

    >>> import cuspwise
    >>> home = cuspwise.demo_study("trial").parent
    >>> groups = [
    ...     cuspwise.GroupPlan(name, name.title(), tuple(sorted((home / name).glob("*.stl"))))
    ...     for name in ("milled", "printed")
    ... ]
    >>> plan = cuspwise.StudyPlan(
    ...     None, "Two ways", "Which is truer?", home / "design.stl", tuple(groups)
    ... )
    >>> sorted(plan.crown_names().values())
    ['m1', 'm2', 'p1', 'p2']
    """

    path: Path | None
    title: str
    question: str
    design: Path
    groups: tuple[GroupPlan, ...]
    check: CheckSettings = field(default_factory=CheckSettings)
    areas: tuple[str, ...] = setting(
        (),
        Names(thing="area"),
        "Areas to report and compare; an empty list means all that are found.",
    )
    measures: tuple[str, ...] = setting(
        USUAL_MEASURES, Names(MEASURES, empty=False, thing="measure"), "What is compared."
    )
    analysis: AnalysisPlan = field(default_factory=AnalysisPlan)
    examiners: Path | None = None
    repeats: Path | None = None
    scores: ScoreScale = field(default_factory=ScoreScale)
    fit: FitPlan | None = None
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what cannot be meant, and what hardly is."""
        check_fields(self)
        if not self.check.force:
            refuse_implausible(self)

    @property
    def folder(self) -> Path:
        """The folder that paths of the study start from."""
        return self.design.parent if self.path is None else self.path.parent

    @property
    def scans(self) -> tuple[Path, ...]:
        """All scans, group by group."""
        return tuple(scan for group in self.groups for scan in group.scans)

    def group(self, name: str) -> GroupPlan:
        """Return a group by name.

        Raises
        ------
        SettingError
            There is no such group.
        """
        for group in self.groups:
            if group.name == name:
                return group
        raise SettingError(
            f"There is no group called {name!r}.",
            subject="group",
            remedy=f"Choose from {', '.join(group.name for group in self.groups)}.",
        )

    def crown_names(self) -> dict[Path, str]:
        """Return a name per scan: its file's stem, with ``group/`` before it where needed.

        Scans of one group whose files differ by folder or format only are told apart by the
        part of their path that does differ.
        """
        return crown_names(self.groups)


def _refuse_other_number(group: GroupPlan, name: str) -> None:
    given = len(getattr(group, name))
    if given not in (0, len(group.scans)):
        raise SettingError(
            f"{name} lists {given} files for {len(group.scans)} scans.",
            subject=f"group {group.name}",
            remedy="Give one for each scan, in the order of the scans.",
        )


def _make_group(values: dict[str, object]) -> GroupPlan:
    return GroupPlan(**values)  # type: ignore[arg-type]


def _make_analysis(values: dict[str, object]) -> AnalysisPlan:
    return AnalysisPlan(**values)  # type: ignore[arg-type]


def _freeze(owner: object, name: str) -> None:
    object.__setattr__(owner, name, MappingProxyType(dict(getattr(owner, name))))
