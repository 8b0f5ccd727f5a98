"""In which order patches are listed, and which of them. Needs no Blender."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ...standalone_core.words.names import area_words

WORST, PEAK, SIZE, AREA = "WORST", "PEAK", "SIZE", "AREA"
BOTH, EXCESS, MISSING = "BOTH", "EXCESS", "MISSING"
EVERYWHERE = "everywhere"
COARSE = ("whole", "external")  # said of a patch only where nothing finer can be


@dataclass(frozen=True)
class ListedPatch:
    """A row of the list.

    Attributes
    ----------
    peak_um, area_mm2 : float
        Largest deviation, signed, and how much surface.
    areas : tuple of str
        That it lies in, the largest share first.
    unmatched : bool
        Whether it is scan surface without a counterpart on the design.
    """

    peak_um: float
    area_mm2: float
    areas: tuple[str, ...]
    unmatched: bool = False

    @property
    def place(self) -> str:
        """Where most of it lies, in words that have room in a list."""
        if self.unmatched:
            return "unmatched"
        finer = [name for name in self.areas if name not in COARSE] or list(self.areas)
        return area_words(finer[0])


def is_listed(patch: ListedPatch, sign: str, area: str, least_mm2: float) -> bool:
    """Tell whether a patch is one of those that are asked for.

    Examples
    --------
    >>> from cuspwise.addon.check.patch_order import ListedPatch, is_listed
    >>> patch = ListedPatch(-80.0, 0.4, ("axial", "margin"))
    >>> is_listed(patch, "MISSING", "margin", 0.4), is_listed(patch, "EXCESS", "everywhere", 0.0)
    (True, False)
    """
    of_sign = sign == BOTH or (patch.peak_um > 0.0) == (sign == EXCESS)
    return of_sign and area in (EVERYWHERE, *patch.areas) and patch.area_mm2 >= least_mm2


def places_in_list(patches: Sequence[ListedPatch], sort: str) -> list[int]:
    """Return the place of each patch in the list; equal ones the worst first.

    Examples
    --------
    >>> from cuspwise.addon.check.patch_order import ListedPatch, places_in_list
    >>> patches = [ListedPatch(-90.0, 0.1, ("margin",)), ListedPatch(70.0, 2.0, ("axial",))]
    >>> [places_in_list(patches, sort) for sort in ("WORST", "PEAK", "SIZE")]
    [[0, 1], [1, 0], [1, 0]]
    """

    def key(number: int) -> tuple[object, ...]:
        patch = patches[number]
        worst = -abs(patch.peak_um)
        first = {PEAK: -patch.peak_um, SIZE: -patch.area_mm2, AREA: patch.place}.get(sort, worst)
        return first, worst, number

    places = [0] * len(patches)
    for place, number in enumerate(sorted(range(len(patches)), key=key)):
        places[number] = place
    return places
