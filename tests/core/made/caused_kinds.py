"""The kinds of crowns that the search for causes is held to, by name."""

from __future__ import annotations

from collections.abc import Mapping

from cuspwise.standalone_core.causes.settings import ProductionFacts
from made.caused_trials import Kind
from made.caused_truths import INSERTION, TILTED, TRUTHS

BUILT = ProductionFacts(way="printed", build_direction=INSERTION, enlargement=1.245)
MILLED = ProductionFacts(way="milled")
_FACTS = {"axial": BUILT, "bur outside": MILLED, "bur inside": MILLED}


def _kind(truth: str, **given: object) -> Kind:
    facts = given.pop("facts", _FACTS.get(truth, ProductionFacts()))
    return Kind(truth, facts=facts, **given)  # type: ignore[arg-type]  # as of Kind


KINDS: Mapping[str, Kind] = {
    **{f"{name}": _kind(name) for name in TRUTHS},
    "axial tilted, direction known": _kind(
        "axial tilted", facts=ProductionFacts(build_direction=TILTED)
    ),
    **{
        f"{name}, 1 µm": _kind(name, form_um=1.0)
        for name in ("iso", "axial", "oval", "opened", "fossae", "bur inside", "uniform", "mixed")
    },
    **{
        f"{name}, {form}": _kind(name, form=form)
        for form in ("rough", "bumpy")
        for name in ("none", "iso", "oval", "opened", "fossae")
    },
    **{
        f"{name}, premolar": _kind(name, design="premolar")
        for name in ("none", "iso", "oval", "opened", "fossae", "mixed")
    },
    **{
        f"{name}, open rim": _kind(name, design="open rim")
        for name in ("none", "iso", "oval", "opened", "fossae")
    },
    **{
        f"{name}, outside only": _kind(name, outside_only=True)
        for name in ("none", "iso", "axial", "fossae", "outside")
    },
    **{
        f"{name}, whole scans": _kind(name, whole_scans=True)
        for name in (
            "none",
            "iso",
            "axial",
            "opened",
            "oval",
            "fossae",
            "bur inside",
            "bur outside",
            "mixed",
            "opened, reach 1.5",
            "fossae, smoothed",
        )
    },
}
"""First-order crowns of a molar with 4 µm of smooth form error and scanner noise, if not said."""
