"""What can be chosen about the search for causes."""

from __future__ import annotations

from dataclasses import dataclass

from ..allowed import Number
from ..setting import Rule, check_fields, not_above, setting


@dataclass(frozen=True)
class FoundMarkSettings:
    """Which places are taken for support marks that nobody marked.

    Attributes
    ----------
    least_height_um : float
        Lower stubs and shallower gouges are not looked for, µm: the height from which a marked
        spot counts as a stub, as :class:`~cuspwise.MarkSettings` has it.
    least_signal : float
        Least height as a multiple of the scatter of the surroundings.
    least_width_mm, greatest_width_mm : float
        Diameter half-way up, mm. A pin of 0.3 mm that was cut off leaves about the lower, the
        foot of a holding bar the upper one; ours, no source.
    least_likelihood : float
        Less likely places are not offered, 0 to 1.

    Examples
    --------
    >>> from cuspwise.standalone_core.causes.mark_settings import FoundMarkSettings
    >>> FoundMarkSettings(least_height_um=40).least_width_mm
    0.2
    """

    least_height_um: float = setting(
        25.0,
        Number(),
        "Lower stubs and shallower gouges are not looked for, µm.",
        plausible=(1.0, 1000.0),
    )
    least_signal: float = setting(
        5.0, Number(), "Least height as a multiple of the scatter of the surroundings."
    )
    least_width_mm: float = setting(
        0.2, Number(), "Least diameter half-way up, mm.", plausible=(0.01, 5.0)
    )
    greatest_width_mm: float = setting(
        1.6, Number(), "Greatest diameter half-way up, mm.", plausible=(0.1, 10.0)
    )
    least_likelihood: float = setting(
        0.2, Number(0, 1, low_open=False), "Less likely places are not offered, 0 to 1."
    )

    def __post_init__(self) -> None:
        """Refuse what contradicts itself."""
        check_fields(self, _RULES)


_RULES: tuple[Rule, ...] = (not_above("least_width_mm", "greatest_width_mm"),)
