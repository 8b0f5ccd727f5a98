"""Write everything about a check to a folder: all files or, if something fails, none."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from ...arrays import FloatArray
from ...atomic import atomic_write
from ...deviation.field import NOT_MUTUAL, DeviationField
from ...errors import ReportError
from ...mesh.files import write_mesh
from ...progress import Progress, Steps, run, scaled
from ...staging import put_in_place, staging
from ..drawing.deviation_colours import STANDARD, ColourArray, deviation_colours
from ..drawing.histogram import area_histograms
from ..drawing.legend import Legend, colour_limit_um, make_legend
from ..drawing.matplotlib_figure import NO_MATPLOTLIB, can_plot
from ..drawing.pictures import Pictures, draw_colourings_steps, draw_pictures_steps
from ..drawing.views import VIEW_NAMES, View, standard_views
from ..tables.dictionary import write_tables
from .causes_page import LEFT, cause_colourings
from .document import check_document
from .tables import causes_csv, margin_profile_csv, marks_csv, measures_csv, patches_csv

if TYPE_CHECKING:
    from ...check_result import CheckResult

__all__ = ["check_document", "write_check", "write_check_steps"]

PictureChoice = Literal["auto", "no", "yes"]

FILES = (
    "check.html",
    "measures.csv",
    "patches.csv",
    "README.csv",
    "check.json",
    "deviation_design.ply",
    "deviation_scan.ply",
)
CAUSES_FILE = "causes.csv"  # only where causes were looked for
MARKS_FILE = "marks.csv"  # only where there are support marks
MARGIN_FILE = "margin_profile.csv"  # only where there is a margin line
OLD_FILES = ("exceedances.csv", "contacts.csv")  # patches and marks of earlier versions
PICTURE_FOLDER = "pictures"
GET_PICTURES = "Install matplotlib, or do without pictures."


def write_check_steps(
    result: CheckResult,
    out_dir: str | Path,
    *,
    pictures: PictureChoice = "auto",
    limit_um: float | None = None,
    palette: str = STANDARD,
) -> Steps[tuple[Path, ...]]:
    """Write a check's files as :func:`write_check` does, step by step."""
    if pictures == "yes" and not can_plot():
        raise ReportError(NO_MATPLOTLIB, subject="pictures", remedy=GET_PICTURES)
    folder = Path(out_dir)
    legend = _legend(result, limit_um, palette)
    with staging(folder) as stage:
        yield Progress("Writing the tables", 0.0)
        _write_tables(result, stage)
        yield Progress("Writing the coloured surfaces", 0.1)
        _write_surfaces(result, stage, legend)
        drawn = yield from scaled(_draw_steps(result, legend, pictures), 0.2, 0.7)
        maps = yield from scaled(_draw_causes_steps(result, legend, drawn), 0.7, 0.9)
        yield Progress("Writing the page", 0.9)
        _write_page(result, stage, legend, drawn, maps)
        if drawn.pictures:
            (stage / PICTURE_FOLDER).mkdir()
        for picture in drawn.pictures:
            atomic_write(stage / PICTURE_FOLDER / f"{picture.view.name}.png", picture.png)
        # Pictures, marks and margin of an earlier check would belong to other numbers.
        earlier = (*_names()[len(FILES) :], *OLD_FILES)
        written = put_in_place(stage, folder, _names(), outdated=earlier)
    return written


def write_check(
    result: CheckResult,
    out_dir: str | Path,
    *,
    pictures: PictureChoice = "auto",
    limit_um: float | None = None,
    palette: str = STANDARD,
) -> tuple[Path, ...]:
    """Write tables, coloured surfaces and the page of a check.

    Everything is written to a hidden folder inside ``out_dir`` first and then put in place at
    once, so that an error or an interrupt leaves the folder as it was.

    Parameters
    ----------
    result : CheckResult
        As :func:`~cuspwise.check` returns it.
    out_dir : str or pathlib.Path
        Made if it does not exist. Files of an earlier check in it are replaced.
    pictures : {"auto", "no", "yes"}
        Whether to draw the six views: "auto" where matplotlib is there, "yes" fails without it.
    limit_um : float, optional
        Limit of the colours, µm; chosen from the deviations if not given.
    palette : {"standard", "strong", "grey"}
        The colours of surfaces, pictures and page.

    Returns
    -------
    tuple of pathlib.Path
        ``check.html``, ``measures.csv``, ``patches.csv``, ``README.csv`` (what the columns of
        all tables mean), ``check.json``,
        ``deviation_design.ply``, ``deviation_scan.ply``, where causes were looked for
        ``causes.csv``, where there are support marks ``marks.csv``, where there is a margin
        line ``margin_profile.csv`` and, where drawn, ``pictures/*.png``.

    Raises
    ------
    SettingError
        There is no such palette.
    ReportError
        The folder cannot be written to, the disk is full, or pictures were demanded and there is
        no matplotlib.

    Examples
    --------
    >>> import cuspwise
    >>> design = cuspwise.demo_crown(edge_mm=0.5)
    >>> scan = cuspwise.produce(design, cuspwise.ProductionErrors(offset_um=30), edge_mm=0.5)
    >>> result = cuspwise.check_meshes(
    ...     design.mesh, scan.mesh, cuspwise.CheckSettings(spacing_mm=0.5)
    ... )
    >>> files = cuspwise.write_check(result, "crown_07", pictures="no")
    >>> [file.name for file in files if file.suffix == ".html"]
    ['check.html']
    """
    steps = write_check_steps(
        result, out_dir, pictures=pictures, limit_um=limit_um, palette=palette
    )
    return run(steps)


def _legend(result: CheckResult, limit_um: float | None, palette: str) -> Legend:
    field = result.design_to_scan
    tolerance = result.settings.tolerances.tolerances_um.get("whole")
    if limit_um is None:
        limit_um = colour_limit_um(field.deviation_mm, field.weights_mm2, tolerance_um=tolerance)
    return make_legend(
        field.deviation_mm,
        field.weights_mm2,
        limit_um=limit_um,
        tolerance_um=tolerance,
        palette=palette,
        refused=field.status == NOT_MUTUAL,
    )


def _write_tables(result: CheckResult, stage: Path) -> None:
    tables = {"measures": measures_csv(result.measures), "patches": patches_csv(result.patches)}
    if result.causes is not None:
        tables["causes"] = causes_csv(result.causes.causes)
    if result.marks:
        tables["marks"] = marks_csv(result.marks)
    if result.margin_profile is not None:
        tables["margin_profile"] = margin_profile_csv(result.margin_profile)
    write_tables("check", stage, tables)
    document = {**check_document(result), "written": _now().isoformat()}
    atomic_write(stage / "check.json", _json(document))


def _write_surfaces(result: CheckResult, stage: Path, legend: Legend) -> None:
    """Write design and superimposed scan, in the design's frame, coloured by deviation."""
    for name, evaluated, field, more in (
        ("deviation_design.ply", result.evaluation, result.design_to_scan, _explained(result)),
        ("deviation_scan.ply", result.scan_in_place, result.scan_to_design, {}),
    ):
        values = {"deviation_um": 1e3 * field.deviation_mm, **more}
        write_mesh(stage / name, evaluated.mesh, values, _colours(field, legend))


def _explained(result: CheckResult) -> dict[str, FloatArray]:
    """Return what each stated cause makes at the design's points, and what is left, µm."""
    if result.causes is None or not result.causes.fields_mm:
        return {}
    fields = {**result.causes.fields_mm, LEFT: result.causes.left_mm}
    return {f"{name}_um": 1e3 * field for name, field in fields.items()}


def _colours(field: DeviationField, legend: Legend) -> ColourArray:
    return deviation_colours(
        field.deviation_mm, legend.limit_um / 1000.0, legend.palette, field.status == NOT_MUTUAL
    )


def _draw_steps(result: CheckResult, legend: Legend, choice: PictureChoice) -> Steps[Pictures]:
    if choice == "no":
        return Pictures(reason="they were not asked for.")
    if not can_plot():
        return Pictures(reason=NO_MATPLOTLIB)
    return (
        yield from draw_pictures_steps(
            result.evaluation.mesh,
            _colours(result.design_to_scan, legend),
            _views(result),
            legend,
            caption="from design to scan",
        )
    )


def _draw_causes_steps(result: CheckResult, legend: Legend, drawn: Pictures) -> Steps[Pictures]:
    """Draw what each cause makes, small, where the check's own pictures could be drawn."""
    occlusal, cervical, side = (_views(result)[k] for k in (0, 1, 4))
    colourings = cause_colourings(result, legend, (occlusal, cervical, side))
    if not drawn.pictures or not colourings:
        return Pictures()
    return (yield from draw_colourings_steps(result.evaluation.mesh, colourings))


def _views(result: CheckResult) -> tuple[View, ...]:
    areas = result.area_set
    return standard_views(
        areas.insertion,
        areas.settings.mesial_direction,
        has_intaglio="intaglio" in areas.areas,
    )


def _write_page(
    result: CheckResult, stage: Path, legend: Legend, drawn: Pictures, maps: Pictures
) -> None:
    from .page import check_page

    page = check_page(
        result,
        legend=legend,
        histograms=area_histograms(result.judged_field, result.area_set, legend.limit_um),
        pictures=drawn,
        cause_maps=maps,
        written=_now(),
    )
    atomic_write(stage / "check.html", page)


def _json(document: dict[str, Any]) -> str:
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _now() -> datetime:
    return datetime.now(UTC).replace(microsecond=0)


def _names() -> tuple[str, ...]:
    """All files that a check can have written, by their path from its folder."""
    pictures = (f"{PICTURE_FOLDER}/{name}.png" for name in VIEW_NAMES)
    return (*FILES, CAUSES_FILE, MARKS_FILE, MARGIN_FILE, *pictures)
