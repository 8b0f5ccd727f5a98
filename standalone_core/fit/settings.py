"""What can be chosen about seating a crown on its die, and about judging how it fits."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..allowed import Choice, Flag, Number
from ..areas.settings import AreaSettings
from ..length_units import UNIT
from ..setting import check_fields, refuse_implausible, setting

CONTACT_KINDS = ("auto", "hard", "patches")
"""How crown and die hold each other off: at every point, or by the mean over patches."""


@dataclass(frozen=True)
class SeatSettings:
    """How a crown is seated on its die.

    Attributes
    ----------
    contact : "auto", "hard" or "patches"
        Whether no point may cut in (hard), or the mean over no patch may (patches); auto takes
        hard contacts for a design and patches for a scan, whose noise would hold it up.
    patch_mm : float
        Radius of the patches, mm.
    margin_left_out_mm : float
        With patches, the intaglio this near to the margin line holds nothing off, mm.
    most_above_um : float
        A crown that rests higher than this above its intended seat cannot go on, µm.

    Examples
    --------
    >>> import cuspwise
    >>> cuspwise.SeatSettings(contact="hard").patch_mm
    0.3
    """

    contact: str = setting(
        "auto",
        Choice(CONTACT_KINDS),
        "What holds crown and die apart: hard (every point), patches (means), or auto.",
        title="Contact",
    )
    patch_mm: float = setting(
        0.3,
        Number(0.05, 2.0, low_open=False),
        "Radius of the patches over which the contacts of a scan are averaged, mm.",
    )
    margin_left_out_mm: float = setting(
        0.12,
        Number(0.0, 1.0, low_open=False),
        "With patches, the intaglio this near to the margin line holds nothing off, mm.",
    )
    most_above_um: float = setting(
        500.0,
        Number(),
        "A crown that rests higher than this above its intended seat cannot go on, µm.",
        plausible=(20.0, 5000.0),
    )

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        check_fields(self)


@dataclass(frozen=True)
class GapSettings:
    """How the gap between crown and die is measured and judged.

    Attributes
    ----------
    marginal_limit_um : float
        Largest acceptable marginal gap, µm. 120 after McLean & von Fraunhofer, Br Dent J 1971;
        131: 107–111 (from memory).
    places : int
        Places around the margin.
    cement_space_um : float or None
        Cement space of the design, µm; not compared if None.
    margin_space_um : float or None
        The same at the margin.

    Examples
    --------
    >>> import cuspwise
    >>> cuspwise.GapSettings(cement_space_um=60).cement_space_um
    60.0
    """

    marginal_limit_um: float = setting(
        120.0,
        Number(),
        "Largest acceptable marginal gap, µm.",
        more="120 µm: McLean & von Fraunhofer 1971.",
        plausible=(5.0, 1000.0),
    )
    places: int = setting(
        360, Number(36, 3600, low_open=False, whole=True), "Places measured around the margin."
    )
    cement_space_um: float | None = setting(
        None, Number(low_open=False), "Cement space of the design, µm.", plausible=(1.0, 500.0)
    )
    margin_space_um: float | None = setting(
        None,
        Number(low_open=False),
        "Cement space of the design at the margin, µm.",
        plausible=(1.0, 500.0),
    )

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        check_fields(self)


@dataclass(frozen=True)
class WallSettings:
    """How walls are measured and judged.

    Attributes
    ----------
    least_axial_mm, least_occlusal_mm : float
        Least acceptable thickness, mm. For zirconia 0.5 and 1.0: common practice, no source.
    margin_left_out_mm : float
        The intaglio this near to the margin line is left out: a crown tapers to nothing there.
    least_angle_deg : float
        A contact of the inscribed ball that its centre sees within this angle of the place is
        the place's own facet or a neighbour's.
    places : int
        How many of the thinnest places are listed.
    apart_mm : float
        Listed places lie at least this far apart, mm.

    Examples
    --------
    >>> import cuspwise
    >>> cuspwise.WallSettings(least_axial_mm=0.6).least_occlusal_mm
    1.0
    """

    least_axial_mm: float = setting(
        0.5, Number(), "Least thickness of the axial walls, mm.", plausible=(0.05, 5.0)
    )
    least_occlusal_mm: float = setting(
        1.0, Number(), "Least thickness under the occlusal surface, mm.", plausible=(0.05, 5.0)
    )
    margin_left_out_mm: float = setting(
        0.75,
        Number(0.0, 3.0, low_open=False),
        "Walls are judged from this distance of the margin line on, mm.",
    )
    least_angle_deg: float = setting(
        30.0,
        Number(1.0, 89.0, low_open=False),
        "The inscribed ball's two contacts are at least this angle apart.",
    )
    places: int = setting(
        5, Number(1, 100, low_open=False, whole=True), "How many of the thinnest places are listed."
    )
    apart_mm: float = setting(
        0.3, Number(0.0, 10.0, low_open=False), "Least distance of listed places, mm."
    )

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        check_fields(self)


@dataclass(frozen=True)
class ContactSettings:
    """How contacts with neighbours and antagonist are measured and classed.

    The limits are ours, no source: what is felt depends on the film that is used.

    Attributes
    ----------
    search_mm : float
        Surfaces farther apart than this are not near, mm.
    open_um : float
        From this gap on a contact is open, µm.
    tight_um : float
        From this overlap on a contact is tight, µm.
    change_um : float
        A contact that differs from the designed one by at most this much is as designed, µm.

    Examples
    --------
    >>> import cuspwise
    >>> cuspwise.ContactSettings(tight_um=40).tight_um
    40.0
    """

    search_mm: float = setting(
        0.5, Number(0.05, 5.0, low_open=False), "How near a neighbour must be, mm."
    )
    open_um: float = setting(
        10.0, Number(low_open=False), "From this gap on a contact is open, µm."
    )
    tight_um: float = setting(
        30.0, Number(low_open=False), "From this overlap on a contact is tight, µm."
    )
    change_um: float = setting(
        10.0,
        Number(low_open=False),
        "Differences from the designed contact up to this are none, µm.",
    )

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        check_fields(self)


@dataclass(frozen=True)
class TripleScanSettings:
    """How crown and die are laid on a scan of the seated crown.

    Attributes
    ----------
    near_margin_mm : float
        The crown's outside and the die's root this near to the crown's edge take no part: a
        scanner bridges the gap there.
    reach_mm : float
        In the last fit, what is farther apart than this does not count, mm.
    least_area_mm2 : float
        Least area of the die that the scan must show, mm².

    Examples
    --------
    >>> import cuspwise
    >>> cuspwise.TripleScanSettings(reach_mm=0.1).near_margin_mm
    0.3
    """

    near_margin_mm: float = setting(
        0.3,
        Number(0.0, 3.0, low_open=False),
        "The seated scan this near to the crown's edge takes no part, mm.",
    )
    reach_mm: float = setting(
        0.2, Number(0.02, 1.0, low_open=False), "What is farther off does not count, mm."
    )
    least_area_mm2: float = setting(
        10.0, Number(low_open=False), "Least area of the die that a seated scan must show, mm²."
    )

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        check_fields(self)


@dataclass(frozen=True)
class FitSettings:
    """Everything that can be chosen about how a crown fits.

    Attributes
    ----------
    crown_unit, die_unit : str
        Unit of the files' coordinates; ``auto`` guesses.
    spacing_mm : float
        Longest edge of the crown's evaluation mesh, mm.
    areas : AreaSettings
        Path of insertion and directions, in the die's frame.
    seat : SeatSettings
    gap : GapSettings
    walls : WallSettings
    contacts : ContactSettings
    triple_scan : TripleScanSettings
    force : bool
        Take numbers that are hardly meant as they are.

    Raises
    ------
    ImplausibleError
        A number here or in any of the parts is hardly meant, and ``force`` is not set.

    Examples
    --------
    >>> import cuspwise
    >>> settings = cuspwise.FitSettings(gap=cuspwise.GapSettings(marginal_limit_um=100))
    >>> settings.seat.patch_mm
    0.3
    """

    crown_unit: str = setting("auto", UNIT, "Unit of the crown; auto guesses.")
    die_unit: str = setting("auto", UNIT, "Unit of die, neighbours and antagonist; auto guesses.")
    spacing_mm: float = setting(
        0.1, Number(0.01, 5, low_open=False), "Largest distance between measuring points, mm."
    )
    areas: AreaSettings = field(default_factory=AreaSettings)
    seat: SeatSettings = field(default_factory=SeatSettings)
    gap: GapSettings = field(default_factory=GapSettings)
    walls: WallSettings = field(default_factory=WallSettings)
    contacts: ContactSettings = field(default_factory=ContactSettings)
    triple_scan: TripleScanSettings = field(default_factory=TripleScanSettings)

    force: bool = setting(
        False,
        Flag(),
        "Take numbers that are hardly meant, such as a limit of 0.12 µm, as they are.",
        title="Take Unusual Numbers",
    )

    def __post_init__(self) -> None:
        """Refuse what cannot be meant, and what hardly is."""
        check_fields(self)
        if not self.force:
            refuse_implausible(self)
