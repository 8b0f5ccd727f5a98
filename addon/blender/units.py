"""How long one of the scene's units is, in millimetres. Needs no Blender."""

from __future__ import annotations

from ...standalone_core.errors import SettingError
from ...standalone_core.length_units import MM_PER_UNIT, UNIT_NAMES
from ...standalone_core.mesh.units import PLAUSIBLE_SIZE_MM

AUTO = "AUTO"
UNIT_CHOICES = (
    (AUTO, "Automatic", "What the scene's units say, if that makes a crown; else millimetres"),
    ("mm", "Millimetres", "One unit of the scene is one millimetre"),
    ("cm", "Centimetres", "One unit of the scene is one centimetre"),
    ("m", "Metres", "One unit of the scene is one metre"),
    ("inch", "Inches", "One unit of the scene is one inch"),
    ("um", "Micrometres", "One unit of the scene is one micrometre"),
)


def mm_per_unit(choice: str, system: str, scale_length: float, longest_side: float) -> float:
    """Return the millimetres in one of the scene's units.

    Automatic takes the scene's own unit (metres times the unit scale), unless the size of the
    design is then not that of anything in a mouth: Blender's factory settings say metres, while
    files of crowns come in millimetres. Then, and in a scene without units, one unit is one
    millimetre if that is plausible.

    Parameters
    ----------
    choice : str
        One of ``UNIT_CHOICES``.
    system : str
        The scene's unit system: "NONE", "METRIC" or "IMPERIAL".
    scale_length : float
        The scene's unit scale, metres per unit.
    longest_side : float
        Of the design, in the scene's units.

    Raises
    ------
    SettingError
        No unit makes a plausible size and none was chosen.
    """
    if choice != AUTO:
        return MM_PER_UNIT[choice]
    # float32: a unit scale of 0.001 arrives as 0.0010000000475.
    own = float(f"{1000.0 * scale_length:.6g}")
    for scale in (1.0,) if system == "NONE" else (own, 1.0):
        if PLAUSIBLE_SIZE_MM[0] <= scale * longest_side <= PLAUSIBLE_SIZE_MM[1]:
            return scale
    raise SettingError(
        f"Its longest side is {longest_side:.4g} units, which is neither a crown nor a row of "
        f"teeth in the scene's units or in millimetres.",
        subject="unit",
        remedy="Choose the length of a unit under Design and Scans, or correct the size.",
    )


def unit_words(scale_mm: float) -> str:
    """Say how long a unit is."""
    for name, scale in MM_PER_UNIT.items():
        if abs(scale - scale_mm) <= 1e-6 * scale:
            return f"1 unit = 1 {name} ({UNIT_NAMES[name]})"
    return f"1 unit = {scale_mm:.6g} mm"
