"""Write everything about a fit to a folder: all files or, if something fails, none."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ...arrays import FloatArray
from ...atomic import atomic_write
from ...errors import ReportError
from ...mesh.write import write_mesh
from ...progress import Progress, Steps, run, scaled
from ...staging import put_in_place, staging
from ..check.output import GET_PICTURES, PictureChoice
from ..drawing.matplotlib_figure import NO_MATPLOTLIB, can_plot
from ..drawing.pictures import Pictures
from ..drawing.views import VIEW_NAMES
from ..tables.dictionary import write_tables
from .colours import Coloured, contacts_coloured, gap_coloured, required_of, walls_coloured
from .document import fit_document, walls_document
from .frame import own_frame, seated_frame
from .pictures import COLOURINGS, draw_fit_steps
from .tables import contacts_csv, fit_csv, marginal_gap_csv, seat_spots_csv, walls_csv

if TYPE_CHECKING:
    from ...fit.crown import FitCrown
    from ...fit.result import FitResult
    from ...fit.walls.result import Walls
    from .frame import SeatedFrame

FILES = ("fit.html", "fit.json", "fit.csv", "README.csv")
PARTS = {
    "seat": ("seat_spots.csv",),
    "gap": ("gap.ply",),
    "margin": ("marginal_gap.csv",),
    "walls": ("walls.csv", "walls.ply"),
    "contacts": ("proximal_contacts.csv", "contacts.ply"),
}
"""Files that are written where a part was measured."""
WALL_FILES = ("walls.html", "walls.json", "README.csv", *PARTS["walls"])
PICTURE_FOLDER = "pictures"


def write_fit_steps(
    result: FitResult, out_dir: str | Path, *, pictures: PictureChoice = "auto"
) -> Steps[tuple[Path, ...]]:
    """Write a fit's files as :func:`write_fit` does, step by step."""
    if pictures == "yes" and not can_plot():
        raise ReportError(NO_MATPLOTLIB, subject="pictures", remedy=GET_PICTURES)
    folder = Path(out_dir)
    frame = seated_frame(result)
    with staging(folder) as stage:
        yield Progress("Writing the tables", 0.0)
        _write_tables(result, stage)
        yield Progress("Writing the coloured surfaces", 0.1)
        _write_surfaces(result, frame, stage)
        drawn = yield from scaled(draw_fit_steps(result, frame, pictures), 0.2, 0.8)
        yield Progress("Writing the page", 0.8)
        _write_page(result, stage, drawn)
        _write_pictures(drawn, stage)
        names = _names()
        written = put_in_place(stage, folder, names, outdated=names[len(FILES) :])
    return written


def write_fit(
    result: FitResult, out_dir: str | Path, *, pictures: PictureChoice = "auto"
) -> tuple[Path, ...]:
    """Write tables, coloured surfaces and the page of a fit.

    Everything is written to a hidden folder inside ``out_dir`` first and then put in place at
    once, so that an error or an interrupt leaves the folder as it was.

    Parameters
    ----------
    result : FitResult
        As :func:`~cuspwise.check_fit` returns it.
    out_dir : str or pathlib.Path
        Made if it does not exist. Files of an earlier fit in it are replaced.
    pictures : {"auto", "no", "yes"}
        Whether to draw views of gap, walls and contacts: "auto" where matplotlib is there, "yes"
        fails without it. The maps on the page need none.

    Returns
    -------
    tuple of pathlib.Path
        ``fit.html``, ``fit.json``, ``fit.csv`` and ``README.csv`` (what the columns of all
        tables mean); where these were measured
        ``seat_spots.csv``, ``gap.ply``, ``marginal_gap.csv``, ``walls.csv``, ``walls.ply``,
        ``proximal_contacts.csv`` and ``contacts.ply``; and, where drawn, ``pictures/*.png``.
        The surfaces are those of the crown in the die's frame.

    Raises
    ------
    ReportError
        The folder cannot be written to, the disk is full, or pictures were demanded and there is
        no matplotlib.

    Examples
    --------
    >>> import cuspwise
    >>> crown = cuspwise.demo_crown(edge_mm=0.6)
    >>> die = cuspwise.demo_die(crown, edge_mm=0.6)
    >>> files = cuspwise.FitFiles(
    ...     cuspwise.write_mesh("crown.stl", crown.mesh),
    ...     cuspwise.write_mesh("die.stl", die.mesh),
    ... )
    >>> fit = cuspwise.check_fit(files, cuspwise.FitSettings(spacing_mm=0.6))
    >>> written = cuspwise.write_fit(fit, "crown_fit", pictures="no")
    >>> [file.name for file in written if file.suffix == ".html"]
    ['fit.html']
    """
    return run(write_fit_steps(result, out_dir, pictures=pictures))


def write_walls(crown: FitCrown, walls: Walls, out_dir: str | Path) -> tuple[Path, ...]:
    """Write table, coloured surface and page of a crown's walls alone; see :func:`write_fit`.

    Parameters
    ----------
    crown : FitCrown
    walls : Walls
        Of that crown.
    out_dir : str or pathlib.Path

    Returns
    -------
    tuple of pathlib.Path
        ``walls.html``, ``walls.json``, ``walls.csv``, ``README.csv`` and ``walls.ply``, in
        the crown's frame.

    Raises
    ------
    ReportError
        The folder cannot be written to, or the disk is full.
    """
    from .page import walls_page

    folder = Path(out_dir)
    written = _now()
    with staging(folder) as stage:
        write_tables("fit", stage, {"walls": walls_csv(walls)})
        document = {**walls_document(crown, walls), "written": written.isoformat()}
        atomic_write(stage / "walls.json", _json(document))
        values, coloured = _walls_surface(crown, walls)
        write_mesh(stage / "walls.ply", crown.evaluation.mesh, values, coloured.colours)
        page = walls_page(crown, walls, frame=own_frame(crown), written=written)
        atomic_write(stage / "walls.html", page)
        return put_in_place(stage, folder, WALL_FILES, outdated=())


def _write_tables(result: FitResult, stage: Path) -> None:
    tables = {"fit": fit_csv(result)}
    if result.seat is not None:
        tables["seat_spots"] = seat_spots_csv(result.seat)
    if result.margin is not None:
        tables["marginal_gap"] = marginal_gap_csv(result.margin)
    if result.walls is not None:
        tables["walls"] = walls_csv(result.walls)
    if result.contacts is not None:
        tables["proximal_contacts"] = contacts_csv(result.contacts)
    write_tables("fit", stage, tables)
    document = {**fit_document(result), "written": _now().isoformat()}
    atomic_write(stage / "fit.json", _json(document))


def _write_surfaces(result: FitResult, frame: SeatedFrame, stage: Path) -> None:
    """Write the crown where it was measured, coloured once for each part."""
    for name, values, coloured in _surfaces(result):
        write_mesh(stage / name, frame.crown, values, coloured.colours)


def _surfaces(result: FitResult) -> list[tuple[str, dict[str, FloatArray], Coloured]]:
    found = []
    if result.gap is not None:
        values = {"gap_um": result.gap.gap_um}
        if result.seat is not None and result.seat.relief is not None:
            values["relief_um"] = result.seat.relief.relief_um
        found.append(("gap.ply", values, gap_coloured(result.gap)))
    if result.walls is not None:
        found.append(("walls.ply", *_walls_surface(result.crown, result.walls)))
    if result.contacts is not None:
        values = {"contact_gap_um": result.contacts.gap_um}
        found.append(("contacts.ply", values, contacts_coloured(result.contacts)))
    return found


def _walls_surface(crown: FitCrown, walls: Walls) -> tuple[dict[str, FloatArray], Coloured]:
    required = required_of(walls, dict(crown.parts), len(crown.evaluation.points))
    values = {
        "thickness_mm": walls.thickness_mm,
        "ray_mm": walls.ray_mm,
        "ball_mm": walls.ball_mm,
        "change_um": walls.change_um,
    }
    return values, walls_coloured(walls, required)


def _write_page(result: FitResult, stage: Path, drawn: Pictures) -> None:
    from .page import fit_page

    atomic_write(stage / "fit.html", fit_page(result, pictures=drawn, written=_now()))


def _write_pictures(drawn: Pictures, stage: Path) -> None:
    if drawn.pictures:
        (stage / PICTURE_FOLDER).mkdir()
    for picture in drawn.pictures:
        name = f"{picture.colouring}_{picture.view.name}.png"
        atomic_write(stage / PICTURE_FOLDER / name, picture.png)


def _json(document: dict[str, Any]) -> str:
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _now() -> datetime:
    return datetime.now(UTC).replace(microsecond=0)


def _names() -> tuple[str, ...]:
    """All files that a fit can have written, by their path from its folder."""
    pictures = (f"{PICTURE_FOLDER}/{c}_{v}.png" for c in COLOURINGS for v in VIEW_NAMES)
    return (*FILES, *(name for names in PARTS.values() for name in names), *pictures)
