"""Which of the core's settings a scene holds in groups of their own. Needs no Blender.

Each group is a panel's, and holds settings of one or more of the core's dataclasses. What a scene
chose is kept as what differs from the defaults, so that a new setting changes no result of old.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from ...standalone_core.areas.settings import AreaSettings
from ...standalone_core.check_settings import CheckSettings
from ...standalone_core.deviation.settings import DeviationSettings, PatchSettings
from ...standalone_core.deviation.tolerances import Tolerances
from ...standalone_core.setting import Setting, declared_in
from ...standalone_core.superimpose.settings import SuperimposeSettings

DIRECTIONS = ("mesial_direction", "buccal_direction", "insertion")
"""What is kept on the design itself, in its own frame."""


@dataclass(frozen=True)
class SettingGroup:
    """A group of settings that a panel shows together.

    Attributes
    ----------
    title : str
        Of the panel.
    kinds : tuple of type
        The dataclasses that declare them.
    names : tuple of str
    """

    title: str
    kinds: tuple[type, ...]
    names: tuple[str, ...]

    @property
    def settings(self) -> dict[str, Setting]:
        """The declarations, in the panel's order."""
        known = {name: one for kind in self.kinds for name, one in declared_in(kind).items()}
        return {name: known[name] for name in self.names}

    def changed(self, owner: Any) -> dict[str, Any]:
        """Return what an owner of these properties holds, where it is not the default."""
        return dict(self._changed(owner))

    def _changed(self, owner: Any) -> Iterator[tuple[str, Any]]:
        for name, declared in self.settings.items():
            value = plain(declared, getattr(owner, name))
            if value != declared.default:
                yield name, value


def plain(declared: Setting, value: Any) -> Any:
    """Return a property's value as the core takes it; 0 for a number not given is None."""
    if declared.number is None or isinstance(value, int):
        return value
    number = rounded(value)
    return None if declared.default is None and not number else number


def rounded(number: float) -> float:
    """Return a number of Blender's without its noise: 0.1 comes back as 0.10000000149."""
    return float(f"{number:.6g}")


def _all_but(kind: type, *names: str) -> tuple[str, ...]:
    return tuple(name for name in declared_in(kind) if name not in names)


BAND = "margin_band_mm"
GROUPS: Mapping[str, SettingGroup] = {
    "areas": SettingGroup("Thresholds", (AreaSettings,), _all_but(AreaSettings, *DIRECTIONS)),
    "superimpose": SettingGroup(
        "Best Fit",
        (SuperimposeSettings,),
        ("fit_weighting", "keep_share", "robust_tuning", "robust_floor_mm", "max_distance_mm"),
    ),
    "doubt": SettingGroup(
        "When to Doubt",
        (SuperimposeSettings,),
        (
            *("least_overlap", "doubt_mm", "wrong_part_mm", "close_mm", "least_close"),
            *("size_tolerance", "other_size", "weak_share", "rival_ratio", "rival_floor_mm"),
            *("mirror_check_share", "mirror_ratio"),
        ),
    ),
    "points": SettingGroup(
        "Measuring Points",
        (DeviationSettings, CheckSettings),
        ("max_normal_angle_deg", "ignore_loose_pieces"),
    ),
    "verdicts": SettingGroup(
        "Verdicts",
        (CheckSettings, Tolerances, PatchSettings),
        (
            *("direction", "weighted", "min_coverage", "max_unsettled_share"),
            *("patch_um", "min_patch_mm2", "min_patch_share"),
        ),
    ),
}
"""By the name of the scene's property and of what is kept of it."""
