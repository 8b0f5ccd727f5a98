"""Pictures of gap, walls and contacts from several sides."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ...mesh.triangle_mesh import TriangleMesh
from ...progress import Steps, scaled
from ..drawing.matplotlib_figure import NO_MATPLOTLIB, can_plot
from ..drawing.pictures import Colouring, Pictures, draw_colourings_steps
from ..drawing.views import View, standard_views
from .colours import contacts_coloured, gap_coloured, required_of, walls_coloured
from .frame import SeatedFrame

if TYPE_CHECKING:
    from ...arrays import BoolArray
    from ...fit.result import FitResult
    from ..check.output import PictureChoice
    from ..drawing.deviation_colours import ColourArray

GAP, WALLS, CONTACTS = "gap", "walls", "contacts"
COLOURINGS = (GAP, WALLS, CONTACTS)


def draw_fit_steps(result: FitResult, frame: SeatedFrame, choice: PictureChoice) -> Steps[Pictures]:
    """Draw gap and walls on the intaglio seen from outside, and contacts on the crown.

    Returns
    -------
    Pictures
        Each by the name of its colouring; without any, the reason.
    """
    if choice == "no":
        return Pictures(reason="they were not asked for.")
    if not can_plot():
        return Pictures(reason=NO_MATPLOTLIB)
    inside, outside = _inside(result, frame), _outside(result, frame)
    drawn: list[Pictures] = []
    for mesh, colourings, start in ((*inside, 0.0), (*outside, 0.6)):
        if colourings:
            steps = draw_colourings_steps(mesh, colourings)
            drawn.append((yield from scaled(steps, start, start + 0.4)))
    found = tuple(picture for one in drawn for picture in one.pictures)
    return Pictures(found, "" if found else "there is nothing to draw.")


def _inside(result: FitResult, frame: SeatedFrame) -> tuple[TriangleMesh, Sequence[Colouring]]:
    """The intaglio by itself, turned to be seen from outside, as the die would be."""
    crown = result.crown
    if not crown.can_be_seated:
        return frame.crown, ()
    colours: dict[str, ColourArray] = {}
    if result.gap is not None:
        colours[GAP] = gap_coloured(result.gap).colours
    if result.walls is not None:
        required = required_of(result.walls, dict(crown.parts), len(crown.evaluation.points))
        colours[WALLS] = walls_coloured(result.walls, required).colours
    mesh, used = _part(frame.crown, crown.intaglio)
    return mesh, [Colouring(name, some[used], _views(frame)) for name, some in colours.items()]


def _outside(result: FitResult, frame: SeatedFrame) -> tuple[TriangleMesh, Sequence[Colouring]]:
    if result.contacts is None:
        return frame.crown, ()
    colours = contacts_coloured(result.contacts).colours
    return frame.crown, [Colouring(CONTACTS, colours, _views(frame))]


def _views(frame: SeatedFrame) -> tuple[View, ...]:
    """From occlusal, and two sides that together show all around."""
    known = frame.directions.zero_name == "mesial"
    views = standard_views(frame.axis, frame.directions.zero if known else None)
    sides = [view for view in views if view.name not in ("occlusal", "cervical")]
    first, opposite = (sides[0], sides[1]) if known else (sides[0], sides[2])
    return (views[0], first, opposite)


def _part(mesh: TriangleMesh, inside: BoolArray) -> tuple[TriangleMesh, BoolArray]:
    """The faces with all corners inside, turned over, and which vertices they use."""
    whole = inside[mesh.faces].all(axis=1)
    used = np.zeros(len(inside), dtype=bool)
    used[mesh.faces[whole].ravel()] = True
    return mesh.kept(whole).flipped(), used
