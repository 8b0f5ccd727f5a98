"""How steps of a layer-wise process are sought; all values ours, no source."""

from __future__ import annotations

from dataclasses import dataclass

from ..allowed import Number
from ..setting import check_fields, not_above, setting


@dataclass(frozen=True)
class LayerSettings:
    """How steps of a layer-wise process are sought.

    Attributes
    ----------
    thinnest_mm, thickest_mm : float
        Layers of this thickness are sought, mm. What is left of form error looks like layers
        thicker than the default.
    false_share : float
        Share of crowns without layers on which steps may be found, 0 to 1.
    least_flatness : float
        Steps are sought where the normal's part along the build direction is at least this, 0 to
        1: on steeper walls they are too fine for a scanner.
    clip_um : float
        Farther from the surface around than this is no step, but a stub or a chip, µm.
    """

    thinnest_mm: float = setting(
        0.025, Number(), "Thinnest layer that is sought, mm.", plausible=(0.005, 1.0)
    )
    thickest_mm: float = setting(
        0.2, Number(), "Thickest layer that is sought, mm.", plausible=(0.01, 2.0)
    )
    false_share: float = setting(
        0.001, Number(0, 1), "Share of crowns without layers on which steps may be found."
    )
    least_flatness: float = setting(
        0.5,
        Number(0, 1, low_open=False),
        "Least part of the normal along the build direction where steps are sought.",
    )
    clip_um: float = setting(
        30.0,
        Number(),
        "Farther from the surface around than this is no step, µm.",
        plausible=(2.0, 1000.0),
    )

    def __post_init__(self) -> None:
        """Refuse what no layer can be found with."""
        check_fields(self, (not_above("thinnest_mm", "thickest_mm"),))
