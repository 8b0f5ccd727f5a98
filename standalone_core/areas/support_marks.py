"""Support marks: spots where a printing support, a sprue or a holding bar touched the crown.

Each is an area of its own, named by its kind and its name (``support: lingual``,
``sprue: 1``), so that areas files carry it like any other area. All together are the area
``supports``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, get_args

from ..allowed import Choice, Number, Spot
from ..errors import SettingError
from ..setting import REQUIRED, check_fields, setting

MarkKind = Literal["support", "sprue"]
MARK_KINDS: tuple[MarkKind, ...] = get_args(MarkKind)
OLD_KINDS: Mapping[str, MarkKind] = MappingProxyType({"connector": "sprue"})
"""What files of earlier versions call a kind, and what it is called."""
SUPPORTS = "supports"
"""The area that all support marks make up together."""

_BETWEEN = ": "


@dataclass(frozen=True)
class SupportMark:
    """A round spot on the design where something touched the crown.

    Attributes
    ----------
    name : str
        The reader's own name of it.
    centre_mm : (3,) tuple of float
        Its middle, mm, in the design's frame; the nearest place of the surface is taken, which
        must not be farther off than the radius.
    radius_mm : float
        How far it reaches along the surface, mm.
    kind : {"support", "sprue"}
        A printing support, or a sprue or a holding bar of a milling blank.

    Examples
    --------
    >>> import cuspwise
    >>> mark = cuspwise.SupportMark("1", centre_mm=(4.2, 0.5, 3.0), radius_mm=0.5)
    >>> mark.area_name, cuspwise.CheckSettings(marks=(mark,)).marks == (mark,)
    ('support: 1', True)
    """

    name: str
    centre_mm: tuple[float, float, float] = setting(
        REQUIRED, Spot(), "Its middle on the design, in the design's frame."
    )
    radius_mm: float = setting(
        REQUIRED,
        Number(),
        "How far it reaches along the surface, mm.",
        title="Radius",
        plausible=(0.02, 20.0),
    )
    kind: MarkKind = setting(
        "support",
        Choice(MARK_KINDS),
        "What touched the crown: a support, or a sprue or holding bar; support if left out.",
    )

    def __post_init__(self) -> None:
        """Refuse what is not a spot."""
        if not self.name.strip():
            raise SettingError(
                "A support mark has no name.",
                subject="support mark",
                remedy="Give every support mark a name, such as 1.",
            )
        check_fields(self, of=self.name)

    def __str__(self) -> str:
        """Say in a line what it is."""
        x, y, z = self.centre_mm
        return f"{self.area_name}, radius {self.radius_mm:g} mm at ({x:g}, {y:g}, {z:g}) mm"

    @property
    def area_name(self) -> str:
        """Name of the area that it makes."""
        return mark_area_name(self.kind, self.name)


def mark_area_name(kind: MarkKind, name: str) -> str:
    """Return the name of the area that a support mark makes."""
    return f"{kind}{_BETWEEN}{name}"


def mark_of(area: str) -> tuple[MarkKind, str] | None:
    """Return kind and name of the support mark that an area is; None if it is not one."""
    for kind in MARK_KINDS:
        name = area.removeprefix(kind + _BETWEEN)
        if name != area and name.strip():
            return kind, name
    return None


def new_area_name(name: str) -> str:
    """Return what an area is called that a file of an earlier version may name.

    >>> new_area_name("connector: 1"), new_area_name("support: 1"), new_area_name("margin")
    ('sprue: 1', 'support: 1', 'margin')
    """
    for old, kind in OLD_KINDS.items():
        own = name.removeprefix(old + _BETWEEN)
        if own != name and own.strip():
            return mark_area_name(kind, own)
    return name


def is_support(area: str) -> bool:
    """Return whether an area is a support mark, or all of them together."""
    return area == SUPPORTS or mark_of(area) is not None
