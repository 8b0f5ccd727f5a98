"""What a scene chooses about a fit, as plain data to be kept and as the core's settings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from ...standalone_core.areas.settings import AreaSettings
from ...standalone_core.fit.settings import FitSettings, GapSettings, SeatSettings
from ...standalone_core.setting import refuse_implausible
from ..check.scene_choices import SWITCH

NOT_KNOWN = "NONE"
AXES = {
    "POS_X": (1.0, 0.0, 0.0),
    "NEG_X": (-1.0, 0.0, 0.0),
    "POS_Y": (0.0, 1.0, 0.0),
    "NEG_Y": (0.0, -1.0, 0.0),
    "POS_Z": (0.0, 0.0, 1.0),
    "NEG_Z": (0.0, 0.0, -1.0),
}
NUMBERS = ("marginal_limit_um", "cement_space_um", "margin_space_um")
NONE_AT_ZERO = NUMBERS[1:]
"""Numbers of which 0 says that they are not given."""


def choices_of(settings: Any) -> dict[str, Any]:
    """Return the scene's choices about a fit as plain data, to be kept with its result."""
    fit = settings.fit
    return {
        "crown": str(fit.crown),
        "lies_on_die": bool(fit.lies_on_die),
        "contact": str(fit.contact),
        "mesial": str(fit.mesial),
        "buccal": str(fit.buccal),
        "spacing_mm": _rounded(settings.spacing_mm),
        **{name: _rounded(getattr(fit, name)) for name in NUMBERS},
    }


def fit_settings(choices: Mapping[str, Any], *, force: bool = False) -> FitSettings:
    """Return the core's settings.

    Parameters
    ----------
    choices : mapping of str
        Of :func:`choices_of`.
    force : bool
        Whether the scene takes numbers that are hardly meant.

    Raises
    ------
    SettingError
        A number is not allowed, or hardly meant.
    """
    numbers: dict[str, Any] = {name: choices[name] for name in NUMBERS}
    numbers |= {name: None for name in NONE_AT_ZERO if choices[name] == 0}
    settings = FitSettings(
        spacing_mm=choices["spacing_mm"],
        areas=AreaSettings(
            mesial_direction=AXES.get(choices["mesial"]),
            buccal_direction=AXES.get(choices["buccal"]),
        ),
        seat=SeatSettings(contact=choices["contact"]),
        gap=GapSettings(**numbers),
        force=True,
    )
    if not force:
        refuse_implausible(settings, SWITCH, by_label=True)
    return replace(settings, force=force)


def _rounded(number: float) -> float:
    """Return a number of Blender's without its noise: 0.1 comes back as 0.10000000149."""
    return float(f"{number:.6g}")
