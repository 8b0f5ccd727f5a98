"""What readers call areas, measures and other keys; a name of the user's own stays as it is."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from .text import capital

AREA_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "whole": "whole crown",
        "external": "external",
        "intaglio": "intaglio",
        "occlusal": "occlusal",
        "axial": "axial walls",
        "margin": "margin",
        "fossae": "fossae",
        "contact_mesial": "mesial contact",
        "contact_distal": "distal contact",
        "contact_occlusal": "occlusal contact",
        "supports": "supports",
    }
)
MARK_KIND_WORDS: Mapping[str, str] = MappingProxyType(
    {"support": "printing support", "sprue": "sprue or holding bar"}
)
DIRECTION_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "design_to_scan": "from design to scan",
        "scan_to_design": "from scan to design",
    }
)
MEASURE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "mean_abs_um": "mean absolute deviation",
        "rms_um": "root mean square deviation",
        "half_p90_p10_um": "(P90−P10)/2",
        "mean_um": "mean deviation",
        "sd_um": "standard deviation within the area",
        "median_um": "median deviation",
        "p10_um": "10th percentile",
        "p90_um": "90th percentile",
        "mean_positive_um": "mean excess",
        "mean_negative_um": "mean deficit",
        "min_um": "largest deficit",
        "max_um": "largest excess",
        "hausdorff_um": "largest deviation",
        "hausdorff_both_um": "largest deviation of both directions",
        "within_tolerance": "share of the surface within tolerance",
        "marginal_gap_um": "mean marginal gap",
        "marginal_gap_most_um": "largest marginal gap",
        "absolute_discrepancy_um": "mean absolute marginal discrepancy",
        "cement_space_um": "mean gap inside",
        "above_intended_um": "height above the intended seat",
        "least_wall_um": "thinnest wall",
        "contact_gap_um": "gap to the tooth beside or against it",
    }
)
ITEM_WORDS: Mapping[str, str] = MappingProxyType(
    {"gap": "marginal gap felt", "contact": "contacts", "seating": "seating"}
)
"""What examiners score."""


# Verdicts on an area.
WITHIN, OUTSIDE, NOT_DECIDABLE = "within", "outside", "not_decidable"
NO_TOLERANCE = "no_tolerance"
VERDICT_WORDS: Mapping[str, str] = MappingProxyType(
    {
        WITHIN: "within tolerance",
        OUTSIDE: "outside tolerance",
        NOT_DECIDABLE: "not decidable",
        NO_TOLERANCE: "no tolerance set",
    }
)

DOUBT_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "ambiguous": "The scan fits its design in more than one position.",
        "mirrored": "The scan looks like the mirror image of its design.",
        "wrong_part": "The scan does not look like this design.",
        "doubtful": "The scan may show another part than this design.",
        "not_converged": "The superimposition did not settle.",
    }
)
"""What is doubtful about a superimposition."""


def area_words(name: str) -> str:
    """Return what people call an area; a name of the user's own stays as it is."""
    return AREA_WORDS.get(name, name)


def the_area(area: str) -> str:
    """Name an area within a sentence.

    Examples
    --------
    >>> the_area("margin"), the_area("occlusal"), the_area("my_spot")
    ('the margin', 'the occlusal surface', 'the area my_spot')
    """
    words = area_words(area)
    if area in {"external", "occlusal"}:
        return f"the {words} surface"
    return f"the {words}" if area in AREA_WORDS else f"the area {words}"


def measure_words(measure: str) -> str:
    """Return what a measure is called in full."""
    return MEASURE_WORDS.get(measure, measure)


def measured_in(area: str, measure: str) -> str:
    """Name area and measure as the start of a sentence.

    Examples
    --------
    >>> measured_in("margin", "mean_abs_um")
    'Margin, mean absolute deviation'
    """
    return capital(f"{area_words(area)}, {measure_words(measure)}")


def other_than_usual(direction: str) -> str:
    """Return a direction's words, a space before them; empty for the usual one.

    Examples
    --------
    >>> other_than_usual("scan_to_design"), other_than_usual("design_to_scan")
    (' from scan to design', '')
    """
    return "" if direction == "design_to_scan" else f" {DIRECTION_WORDS[direction]}"


def item_words(item: str) -> str:
    """Name what examiners scored as the start of a sentence.

    Examples
    --------
    >>> item_words("gap")
    'Marginal gap felt'
    """
    return capital(ITEM_WORDS.get(item, item))
