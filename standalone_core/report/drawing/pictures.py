"""Pictures of a coloured surface from several sides, as PNG."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from ...mesh.triangle_mesh import TriangleMesh
from ...progress import Progress, Steps
from .deviation_colours import ColourArray
from .legend import Legend
from .picture_frame import BARE, FULL, Frame
from .shaded_surface import pixels_per_mm, see_surface
from .views import View


@dataclass(frozen=True, eq=False)
class Colouring:
    """One colouring of a surface.

    Attributes
    ----------
    name : str
        Distinguishes it from the others.
    colours : (n, 3) uint8
        sRGB at the vertices.
    views : tuple of View
        The sides to draw it from.
    """

    name: str
    colours: ColourArray
    views: tuple[View, ...]


@dataclass(frozen=True)
class Picture:
    """One finished picture: view, PNG file's bytes, and the colouring's name if it has one."""

    view: View
    png: bytes = field(repr=False)
    colouring: str = ""


@dataclass(frozen=True)
class Pictures:
    """What came of drawing.

    Attributes
    ----------
    pictures : tuple of Picture
        In the order of the views.
    reason : str
        Why there are none; empty otherwise.
    """

    pictures: tuple[Picture, ...] = ()
    reason: str = ""


def draw_pictures_steps(
    mesh: TriangleMesh,
    colours: ColourArray,
    views: Sequence[View],
    legend: Legend,
    *,
    caption: str = "",
) -> Steps[Pictures]:
    """Draw a coloured surface from several sides.

    Parameters
    ----------
    mesh : TriangleMesh
    colours : (n, 3) uint8
        sRGB at the vertices.
    views : sequence of View
    legend : Legend
        Drawn into every picture, with its numbers.
    caption : str
        What is shown, in a few words.

    Returns
    -------
    Pictures
    """
    scale = pixels_per_mm(mesh, views, FULL)
    frame = Frame(FULL, scale, legend, caption)
    drawn = []
    for number, view in enumerate(views):
        yield Progress(f"Drawing picture {number + 1} of {len(views)}", number / len(views))
        surface = see_surface(mesh, view, scale, FULL).painted(colours)
        drawn.append(Picture(view, frame.png(surface, view.title)))
    return Pictures(tuple(drawn))


def draw_colourings_steps(mesh: TriangleMesh, colourings: Sequence[Colouring]) -> Steps[Pictures]:
    """Draw several colourings of one surface: bare pictures, all at one scale.

    They carry a scale bar, but no title and no legend: those belong to the page around them.
    They are smaller and drawn more quickly than those of :func:`draw_pictures_steps`.

    Parameters
    ----------
    mesh : TriangleMesh
    colourings : sequence of Colouring
        At least one, with at least one view each.

    Returns
    -------
    Pictures
        Colouring by colouring.
    """
    views = {view.name: view for one in colourings for view in one.views}
    scale = pixels_per_mm(mesh, tuple(views.values()), BARE)
    frame = Frame(BARE, scale)
    total = sum(len(one.views) for one in colourings)
    drawn: dict[tuple[str, str], Picture] = {}
    for view in views.values():
        seen = see_surface(mesh, view, scale, BARE)
        for one in colourings:
            if view in one.views:
                yield Progress(f"Drawing picture {len(drawn) + 1} of {total}", len(drawn) / total)
                png = frame.png(seen.painted(one.colours))
                drawn[one.name, view.name] = Picture(view, png, one.name)
    return Pictures(tuple(drawn[one.name, view.name] for one in colourings for view in one.views))
