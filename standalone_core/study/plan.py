"""What a study asks and how it is answered: all of it fixed before any crown is measured."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import get_args

from ..allowed import Choice, Names, Number, PerArea, Places, Text
from ..causes.settings import ProductionFacts
from ..check_settings import CheckSettings
from ..errors import SettingError
from ..setting import check_fields, refuse_implausible, setting
from ..statistics.planned_test import PlannedTest
from .crown_names import crown_names
from .fit_plan import FIT_MEASURES, FitPlan
from .score_scale import ScoreScale

Lead = PlannedTest

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

SECONDARY: tuple[str, ...] = (
    "margin half_p90_p10_um",
    "occlusal mean_abs_um",
    "occlusal half_p90_p10_um",
    "whole mean_abs_um",
)
"""What is compared after the primary comparison, in this order, if nothing else is asked."""

EVERY_AREA = "default"
"""Key of ``equivalence_um`` that stands for every area without a limit of its own."""

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
        One file per crown, in the order in which tables list them; at least one, none twice.
    facts : mapping of str to str
        How the crowns were produced, in free words: machine, material, …
    production : ProductionFacts
        What the search for causes is told of it.
    dies : tuple of pathlib.Path
        Each crown's own die, in the order of the scans; empty where all sit on the plan's one die.
    seated : tuple of pathlib.Path
        A scan of each crown seated on its die, in the same order; empty if there are none.
    crowns : tuple of str
        Each crown's name, in the same order; empty where crowns are called by their files.
    crown_facts : tuple of mapping of str to str
        What is known of each crown and differs within the group, in the same order; or empty.

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
    crowns: tuple[str, ...] = ()
    crown_facts: tuple[Mapping[str, str], ...] = ()

    def __post_init__(self) -> None:
        """Refuse a group without crowns, or with another number of dies; keep the facts."""
        if not self.scans:
            raise SettingError(
                "It has no scans.", subject=f"group {self.name}", remedy="Give at least one scan."
            )
        for name in ("dies", "seated", "crowns", "crown_facts"):
            _refuse_other_number(self, name)
        _freeze(self, "facts")
        object.__setattr__(self, "crown_facts", tuple(map(_frozen, self.crown_facts)))

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle the facts, since a read-only mapping cannot be."""
        values = {name: getattr(self, name) for name in self.__dataclass_fields__}
        facts = {"facts": dict(self.facts), "crown_facts": tuple(map(dict, self.crown_facts))}
        return _make_group, ({**values, **facts},)


@dataclass(frozen=True)
class AnalysisPlan:
    """How groups are compared, chosen before the data are seen.

    Attributes
    ----------
    lead : {"welch", "ranks", "trimmed"}
        Which test decides: Welch's (of means), the one of ranks (Mann–Whitney), or Yuen's (of
        means without the fifth at either end). The others are reported beside it.
    alpha : float
        Chance of calling equal groups different, 0 to 1.
    confidence : float
        Level of all intervals, 0 to 1.
    primary_area, primary_measure : str
        The one comparison that the study was made for.
    secondary : tuple of str
        Further comparisons that may make a claim, each "area measure": tested in this order
        after the primary one, as long as all before were decided. All others are exploratory.
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
        "Which test decides, on difference and equivalence: of means (welch), of ranks, or of "
        "means without the fifth of the crowns at either end (trimmed), which one odd crown does "
        "not move. All are shown. Choose by what is known beforehand: a choice by the data spoils "
        "alpha.",
    )
    alpha: float = setting(0.05, _BETWEEN, "Chance of calling equal groups different.")
    confidence: float = setting(0.95, _BETWEEN, "Level of all intervals.")
    primary_area: str = setting(
        "margin",
        Text(filled=True),
        "Area of the one comparison that the study was made for.",
        title="Main Area",
        more="It is tested first, before all others. Choose it before the crowns are measured.",
    )
    primary_measure: str = setting(
        "mean_abs_um",
        Choice((*MEASURES, *FIT_MEASURES)),
        "Measure of that comparison, which is tested first.",
        title="Main Measure",
    )
    secondary: tuple[str, ...] = setting(
        SECONDARY,
        Places(measures=(*MEASURES, *FIT_MEASURES)),
        "Comparisons that come after it, each an area and a measure, in the order in which they "
        "share alpha: each is tested only if all before it were decided. All others are "
        "exploratory. An empty list means none.",
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

    @property
    def order(self) -> tuple[tuple[str, str], ...]:
        """Areas and measures whose comparisons may make a claim, the primary one first."""
        primary = (self.primary_area, self.primary_measure)
        after = map(area_and_measure, self.secondary)
        return (primary, *(place for place in after if place != primary))

    def equivalence_of(self, area: str) -> float:
        """Return the equivalence limit of an area, µm; NaN if it has none."""
        every = self.equivalence_um.get(EVERY_AREA, float("nan"))
        return float(self.equivalence_um.get(area, every))


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
    crowns, examiners, repeats : pathlib.Path or None
        CSV files: the list of crowns, examiners' scores, repeated scans.
    scores : ScoreScale
        What the examiners' numbers mean.
    fit : FitPlan or None
        How crowns are seated on their dies; None if they are not.
    earlier : pathlib.Path or None
        The ``study.json`` of an earlier study to compare with.
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
    crowns: Path | None = None
    examiners: Path | None = None
    repeats: Path | None = None
    scores: ScoreScale = field(default_factory=ScoreScale)
    fit: FitPlan | None = None
    earlier: Path | None = None
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

    def equivalence_of(self, area: str, measure: str) -> float:
        """Return the equivalence limit of a measure, of form or fit, µm; NaN if it has none."""
        if measure not in FIT_MEASURES:
            return self.analysis.equivalence_of(area)
        limits = {} if self.fit is None else self.fit.equivalence_um
        return float(limits.get(measure, float("nan")))

    def orders_per_pair(self, places: Iterable[tuple[str, str]]) -> int:
        """Return how many orders two groups have: one each for differences and equivalence, where
        both are tested and more than one comparison is planned.
        """
        planned = tuple(places)
        limited = any(self.equivalence_of(*place) > 0 for place in planned)
        return 2 if limited and len(planned) > 1 else 1

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
        """Return a name per scan: the one listed or its file's stem, after ``group/`` if need be.

        Scans of one group whose files differ by folder or format only are told apart by the
        part of their path that does differ.
        """
        return crown_names(self.groups)


def area_and_measure(comparison: str) -> tuple[str, str]:
    """Split "margin mean_abs_um" into its two names."""
    *area, measure = comparison.split()
    return " ".join(area), measure


def _refuse_other_number(group: GroupPlan, name: str) -> None:
    given = len(getattr(group, name))
    if given not in (0, len(group.scans)):
        raise SettingError(
            f"{name} has {given} entries for {len(group.scans)} scans.",
            subject=f"group {group.name}",
            remedy="Give one for each scan, in the order of the scans.",
        )


def _make_group(values: dict[str, object]) -> GroupPlan:
    return GroupPlan(**values)  # type: ignore[arg-type]


def _make_analysis(values: dict[str, object]) -> AnalysisPlan:
    return AnalysisPlan(**values)  # type: ignore[arg-type]


def _freeze(owner: object, name: str) -> None:
    object.__setattr__(owner, name, _frozen(getattr(owner, name)))


def _frozen(values: Mapping[str, object]) -> Mapping[str, object]:
    return MappingProxyType(dict(values))
