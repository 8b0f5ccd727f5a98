"""What can be chosen about a check."""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from .allowed import Choice, Flag, Names, Number
from .areas.settings import AreaSettings
from .causes.settings import CausesSettings, ProductionFacts
from .deviation.direction import DESIGN_TO_SCAN, DIRECTIONS, Direction
from .deviation.settings import DeviationSettings, MarkSettings, PatchSettings
from .deviation.tolerances import Tolerances
from .length_units import UNIT
from .setting import check_fields, refuse_implausible, setting
from .superimpose.settings import SuperimposeSettings

if TYPE_CHECKING:
    from .areas.support_marks import SupportMark


@dataclass(frozen=True)
class CheckSettings:
    """Everything that can be chosen about a check.

    Attributes
    ----------
    design_unit, scan_unit : str
        Unit of the files' coordinates: ``auto`` (guessed from the size), ``mm``, ``cm``, ``m``,
        ``inch``, ``foot`` or ``um``.
    spacing_mm : float
        Longest edge of the evaluation meshes of design and scan, mm.
    ignore_loose_pieces : bool
        Leave out small pieces that float beside the crown.
    areas : AreaSettings
        Thresholds of the automatic areas.
    areas_file : pathlib.Path or None
        Areas saved for this very design, instead of the automatic ones.
    superimpose : SuperimposeSettings
        How the scan is laid on the design.
    fit_areas : tuple of str
        The areas that the superimposition runs on; the whole crown if empty.
    deviation : DeviationSettings
        Which points count.
    patches : PatchSettings
        Which patches are listed.
    tolerances : Tolerances
        What is good enough.
    weighted : bool
        Whether measures are weighted by area.
    direction : {"design_to_scan", "scan_to_design"}
        Which direction is judged first, described and compared in a study; both are always
        measured, and a verdict asks the other one too. A fossa filled in and an edge missing are
        seen in full from design to scan, and less from scan to design; flash, and all that stands
        beside the crown, is seen from scan to design alone.
    marks : tuple of SupportMark
        Support marks beside those of the areas file.
    mark : MarkSettings
        When a support mark counts as a stub or a gouge.
    causes : CausesSettings
        How causes are looked for, by the command line, a study and Blender; see
        :func:`~cuspwise.explain`.
    production : ProductionFacts
        What is known of the crown's production.
    force : bool
        Take numbers that are hardly meant (a tolerance a thousand times too small) as they are.

    Raises
    ------
    ImplausibleError
        A number here or in any of the parts is hardly meant, and ``force`` is not set.

    Examples
    --------
    >>> import cuspwise
    >>> tolerances = cuspwise.Tolerances().changed({"margin": 12.0})
    >>> settings = cuspwise.CheckSettings(spacing_mm=0.2, tolerances=tolerances)
    >>> settings.tolerances.limit_um("margin"), settings.design_unit
    (12.0, 'auto')
    """

    design_unit: str = setting("auto", UNIT, "Unit of the design; auto guesses.")
    scan_unit: str = setting("auto", UNIT, "Unit of the scans; auto guesses.")
    spacing_mm: float = setting(
        0.1,
        Number(0.01, 5, low_open=False),
        "Largest distance between measuring points, mm.",
        more="Half of it takes about four times as long.",
        plausible=(0.01, 5.0),
    )
    ignore_loose_pieces: bool = setting(False, Flag(), "Leave out small floating pieces.")
    areas: AreaSettings = field(default_factory=AreaSettings)
    areas_file: Path | None = None
    superimpose: SuperimposeSettings = field(default_factory=SuperimposeSettings)
    fit_areas: tuple[str, ...] = setting(
        (),
        Names(thing="area"),
        "Areas that the best fit runs on; an empty list means the whole crown.",
        title="Fit On",
    )
    deviation: DeviationSettings = field(default_factory=DeviationSettings)
    patches: PatchSettings = field(default_factory=PatchSettings)
    tolerances: Tolerances = field(default_factory=Tolerances)
    weighted: bool = setting(
        True, Flag(), "Weigh points by area, not all alike.", title="Weigh by Area"
    )
    direction: Direction = setting(
        DESIGN_TO_SCAN,
        Choice(DIRECTIONS),
        "Direction that is judged, described and compared; choose it before anything is measured.",
        more="Both are measured, and both must keep a tolerance. From design to scan shows missing "
        "edges and filled fossae in full; from scan to design shows what stands beside the crown.",
    )
    marks: tuple[SupportMark, ...] = ()
    mark: MarkSettings = field(default_factory=MarkSettings)
    causes: CausesSettings = field(default_factory=CausesSettings)
    production: ProductionFacts = field(default_factory=ProductionFacts)
    force: bool = setting(
        False,
        Flag(),
        "Take numbers that are hardly meant, such as a tolerance of 0.015 µm, as they are.",
        title="Take Unusual Numbers",
    )

    def __post_init__(self) -> None:
        """Refuse what cannot be meant, and what hardly is."""
        check_fields(self)
        if not self.force:
            refuse_implausible(self)

    def with_areas(self, areas: AreaSettings) -> CheckSettings:
        """Return the settings with the thresholds that areas at hand were made with.

        Whoever made them took them as they are, so that they are not judged anew.
        """
        made = copy(self)
        object.__setattr__(made, "areas", areas)
        return made
