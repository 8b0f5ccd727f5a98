"""Which points count, which patches are listed, what a stub is, and how a margin is followed."""

from __future__ import annotations

from dataclasses import dataclass

from ..allowed import Number
from ..setting import check_fields, setting

_SHARE = Number(0, 1)
_SHARE_OR_NONE = Number(0, 1, low_open=False)
_LENGTH = Number()
_LENGTH_OR_NONE = Number(low_open=False)


@dataclass(frozen=True)
class DeviationSettings:
    """Which points count.

    Attributes
    ----------
    search_mm : float
        A point counts only if the other surface lies within this distance, mm. Far above any
        deviation worth measuring, far below the distance to a neighbouring part.
    max_normal_angle_deg : float
        A point counts only if its normal and the normal at its foot differ by at most this
        angle, degrees: keeps the outer side of a thin wall from being measured to the inner.

    Examples
    --------
    >>> import cuspwise
    >>> cuspwise.DeviationSettings(search_mm=0.5)
    DeviationSettings(search_mm=0.5, max_normal_angle_deg=60.0)
    """

    search_mm: float = setting(
        1.0,
        _LENGTH,
        "Deviations beyond this distance do not count, mm.",
        title="Search Distance",
        more="It must be larger than the deviations to be found.",
        plausible=(0.02, 50.0),
    )
    max_normal_angle_deg: float = setting(
        60.0,
        Number(0, 180),
        "Largest angle between the normals of a point and its foot, degrees.",
    )

    def __post_init__(self) -> None:
        """Refuse what cannot be searched with."""
        check_fields(self)


@dataclass(frozen=True)
class PatchSettings:
    """Which patches are listed, and what areas they lie in.

    Attributes
    ----------
    patch_um : float or None
        Deviations beyond ± this are outside, µm; None takes the whole crown's tolerance.
    min_patch_mm2 : float
        Smaller patches are left out (single noisy points), mm².
    min_patch_share : float
        A patch is said to lie in an area that holds at least this share of it, 0 to 1.

    Examples
    --------
    >>> import cuspwise
    >>> cuspwise.PatchSettings(patch_um=50)
    PatchSettings(patch_um=50.0, min_patch_mm2=0.02, min_patch_share=0.1)
    """

    patch_um: float | None = setting(
        None,
        _LENGTH,
        "Limit of patches, µm; the whole crown's tolerance if left out.",
        title="Patches Beyond",
        plausible=(0.5, 2000.0),
    )
    min_patch_mm2: float = setting(
        0.02, _LENGTH_OR_NONE, "Smaller patches are left out, mm².", title="Smallest Patch"
    )
    min_patch_share: float = setting(
        0.1,
        _SHARE_OR_NONE,
        "Share of a patch that must lie in an area for the patch to be listed there.",
    )

    def __post_init__(self) -> None:
        """Refuse negative numbers."""
        check_fields(self)


@dataclass(frozen=True)
class MarkSettings:
    """When a support mark counts as a stub or a gouge; every default is common practice, no source.

    Attributes
    ----------
    limit_um : float
        A spot is a stub if it stands at least this far above its surroundings, a gouge if it
        lies at least this far below, µm.
    least_band_um : float
        Half width of the band about the level of the surroundings that still counts as level, µm:
        at least this,
    band_factor : float
        and at least this many times the spread of the surroundings. Nothing within it is a
        stub or gouge.
    seam_mm : float
        Width of the seam about a spot that belongs to neither spot nor surroundings: the foot of
        a stub is wider than its mark, mm.
    ring_mm : float
        Width of the surroundings beyond the seam, mm.
    min_coverage : float
        Least share of a spot that must have counted to call it clean, 0 to 1.
    min_ring_coverage : float
        Least share of the surroundings that must have counted for a level, 0 to 1.

    Examples
    --------
    >>> import cuspwise
    >>> cuspwise.MarkSettings(limit_um=40.0).limit_um
    40.0
    """

    limit_um: float = setting(
        25.0,
        _LENGTH_OR_NONE,
        "Height of a stub, or depth of a gouge, from which a support mark has one, µm.",
        title="Stub or Gouge From",
        plausible=(0.5, 2000.0),
    )
    least_band_um: float = setting(
        10.0,
        _LENGTH_OR_NONE,
        "Half width, at least, of the band about the surroundings that counts as level, µm.",
        title="Level Within",
        plausible=(0.2, 1000.0),
    )
    band_factor: float = setting(
        3.0,
        _LENGTH_OR_NONE,
        "The same as a multiple of the surroundings' own spread; the wider one is taken.",
        title="Level Within Spreads",
    )
    seam_mm: float = setting(
        0.15,
        _LENGTH_OR_NONE,
        "Width of the seam between a mark and its surroundings, which belongs to neither, mm.",
        title="Seam",
        plausible=(0.005, 5.0),
    )
    ring_mm: float = setting(
        0.5, _LENGTH, "Width of the surroundings, mm.", title="Ring", plausible=(0.02, 20.0)
    )
    min_coverage: float = setting(
        0.9, _SHARE_OR_NONE, "Share of a mark that must have been measured to call it clean."
    )
    min_ring_coverage: float = setting(
        0.5, _SHARE_OR_NONE, "Share of the surroundings that must have been measured for a level."
    )

    def __post_init__(self) -> None:
        """Refuse negative numbers, shares above 1 and a ring without width."""
        check_fields(self)


@dataclass(frozen=True)
class MarginProfileSettings:
    """How the profile of a margin is taken; all values ours, no source.

    Attributes
    ----------
    step_mm : float
        Distance between places along the margin line, mm; as near to it as divides the line
        evenly.
    reach_mm : float
        Points of the surface within this distance of a place belong to it, mm.
    min_share : float
        Least share of that surface that must have counted for the place to count, 0 to 1.
    gap_mm : float
        Places that do not count break a run beyond the tolerance only where they are more than
        this long together, mm.
    search_mm : float
        The scan's edge is sought within this distance of a place, mm.
    band_mm : float
        How large a crown is at its margin is read from the lowest band of this height, mm.
    edge_limit_um : float
        A place is beyond, whatever its tolerance, where the edge is longer or shorter than the
        design's by more than this or flash is higher, µm.
    """

    step_mm: float = setting(
        0.1, _LENGTH, "Distance between places along the margin line, mm.", plausible=(0.005, 10.0)
    )
    reach_mm: float = setting(
        0.25,
        _LENGTH,
        "Surface within this distance belongs to a place, mm.",
        plausible=(0.01, 10.0),
    )
    min_share: float = setting(
        0.5, _SHARE, "Share of that surface that must have been measured for the place to count."
    )
    gap_mm: float = setting(
        0.25,
        _LENGTH,
        "A longer stretch that was not measured breaks a run beyond the tolerance, mm.",
        plausible=(0.01, 10.0),
    )
    search_mm: float = setting(
        1.0,
        _LENGTH,
        "The scan's edge is sought within this distance of a place, mm.",
        plausible=(0.02, 50.0),
    )
    band_mm: float = setting(
        0.1,
        _LENGTH,
        "Height of the lowest band that a crown's size at its margin is read from, mm.",
        plausible=(0.005, 10.0),
    )
    edge_limit_um: float = setting(
        100.0,
        _LENGTH,
        "An edge that is off, or flash that is high, by more than this is beyond, µm.",
        plausible=(1.0, 10_000.0),
    )

    def __post_init__(self) -> None:
        """Refuse what no profile can be taken with."""
        check_fields(self)
