"""Causes of the made-up check's deviations, made up too: known numbers of every kind."""

from __future__ import annotations

import math

import numpy as np
from cuspwise.standalone_core.causes.filled_places import FilledPlace
from cuspwise.standalone_core.causes.found_marks import FoundMark
from cuspwise.standalone_core.causes.mark_likelihood import Likelihood
from cuspwise.standalone_core.causes.result import (
    Cause,
    CausesResult,
    Correction,
    PredictedArea,
    Remaining,
)
from cuspwise.standalone_core.causes.settings import CausesSettings, ProductionFacts
from cuspwise.standalone_core.causes.words import CAUTION, CHANGES
from cuspwise.standalone_core.check_result import CheckResult

BUILD = (-0.6, 0.0, 0.8)
SCALE = Cause(
    *("scale_along_build", "scale", True, 0.999, 4.0, "‰", 3.0, 6.0, 8.0, 0.5, BUILD),
    sentence="Scale along the build direction: +0.40 % (0.30 to 0.60).",
    change=CHANGES["scale"],
)
GROWTH = Cause(
    *("", "growth", True, 0.96, -6.0, "µm", -9.0, 1.5, 3.0, 0.125, None),
    sentence="Uniform growth or growth of the outside: these data cannot tell which.",
    instead="scale",
    change=CHANGES["growth"],
)
LAYERS = Cause(
    *("layer_steps", "layers", True, 0.9999, 0.1, "mm", 0.0999, 0.1002, 2.0, 0.01, BUILD),
    sentence="Layer steps of 0.100 mm.",
    change=CHANGES["layers"],
)
OVAL = Cause(
    *("oval_margin", "margin", False, 0.003, math.nan, "µm", math.nan, math.nan, 0.0, 0.0, None),
    sentence="A deformed margin: not shown by these data.",
)
STUB = FoundMark(
    *((-4.0, 1.0, 2.0), (-1.0, 0.0, 0.0), 0.55, 105.6, 0.02, "stub", 0.97),
    *(Likelihood(0.97, 1.0, 1.0, 1.0), 20.0, 0.01, 0.05, 90),
)
GOUGE = FoundMark(
    *((4.0, 1.0, 2.0), (1.0, 0.0, 0.0), 0.4, -48.0, -0.01, "gouge", 0.31),
    *(Likelihood(0.62, 1.0, 0.5, 1.0), 9.0, 0.01, 0.01, 50),
)
PREDICTED = (
    PredictedArea("scale_along_build", "occlusal", 25.0, 12.0, 20.0),
    PredictedArea("scale_along_build", "margin", 16.0, 15.5, 15.0),
    PredictedArea("growth", "occlusal", 25.0, 21.0, 20.0),
    PredictedArea("all", "occlusal", 25.0, 7.0, 20.0),
)


def make_causes(result: CheckResult, said: str = "") -> CausesResult:
    """Return two explaining causes, layer steps, one that is not shown, and all that goes with it.

    Parameters
    ----------
    result : CheckResult
        Whose points the fields belong to.
    said : str
        One more sentence, and one more note: a name that somebody chose.
    """
    points = result.evaluation.points
    fields = {"scale_along_build": 2e-3 * points[:, 2], "growth": np.full(len(points), -0.006)}
    return CausesResult(
        causes=(SCALE, GROWTH, LAYERS, OVAL),
        sentences=(SCALE.sentence, GROWTH.sentence, LAYERS.sentence, said or "No more.", CAUTION),
        corrections=(
            Correction("along", BUILD, 1.245, 1.24, 1.2375, 1.2413, "or the scanner's own scale"),
        ),
        remaining=Remaining(4.0, 2.6, math.nan),
        share_together=0.6,
        predicted=PREDICTED,
        filled=(FilledPlace(94.0, (1.0, -2.0, 3.0), 1.25, 0.05, math.nan, np.arange(3)),),
        marks=(GOUGE, STUB),
        layers=None,
        notes=("Without a margin line no deformation of the margin is looked for.", said or "End."),
        facts=ProductionFacts("printed", BUILD, 1.245),
        settings=CausesSettings(),
        fields_mm=fields,
        left_mm=result.design_to_scan.deviation_mm - sum(fields.values()),
        build_direction=BUILD,
    )
