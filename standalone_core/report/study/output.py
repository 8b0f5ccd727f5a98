"""Write everything about a study to a folder: all files or, if something fails, none."""

from __future__ import annotations

import json
import re
from concurrent.futures import Executor
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Any

from ...atomic import atomic_write
from ...errors import ReportError
from ...mesh.write import write_mesh
from ...progress import Progress, Steps, run, scaled
from ...records import plain
from ...staging import put_in_place, staging
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.document_file import DOCUMENT
from ...study.measuring.results import StudyRun
from ..check.output import GET_PICTURES, PictureChoice
from ..drawing.matplotlib_figure import NO_MATPLOTLIB, Figure, can_plot
from ..drawing.pictures import Pictures, draw_colourings_steps
from ..tables.dictionary import write_tables
from .analysis_tables import analysis_tables
from .figures import study_figures
from .maps import StudyMaps, study_maps
from .methods import methods_text
from .page import StudyArt, study_page
from .sheets import map_sheets
from .tables import study_document, study_tables
from .workbook import can_write_workbook, study_workbook

PAGE, METHODS = "report.html", "methods.txt"
WORKBOOK = "study.xlsx"  # where openpyxl is installed
TABLES, FIGURES, MAPS = "tables", "figures", "maps"
FOLDERS = (TABLES, FIGURES, MAPS)
ENDINGS = (".csv", ".svg", ".pdf", ".png", ".ply")


def write_study(
    study: StudyRun,
    analysis: StudyAnalysis,
    out: str | Path,
    *,
    pictures: PictureChoice = "auto",
    executor: Executor | None = None,
) -> tuple[Path, ...]:
    """Write the report of a study with its tables, figures and coloured surfaces.

    Everything is written to a hidden folder inside ``out`` first and then put in place at once.
    All but the page's date is the same, byte for byte, for the same study and versions.

    Parameters
    ----------
    study : StudyRun
        As :func:`~cuspwise.run_study` returns it.
    analysis : StudyAnalysis
        Of that run, by :func:`~cuspwise.analyse_study`.
    out : str or pathlib.Path
        Made if it does not exist. Files of an earlier report in it are replaced.
    pictures : {"auto", "no", "yes"}
        Whether to draw the maps: "auto" where matplotlib is there, "yes" fails without it.
    executor : concurrent.futures.Executor, optional
        Who draws the figures; this process alone by default.

    Returns
    -------
    tuple of pathlib.Path
        ``report.html``, ``methods.txt``, where openpyxl is installed ``study.xlsx``,
        ``tables/*.csv``, ``figures/*`` (SVG, PDF and PNG of 600 dpi; sheets of map pictures as
        PDF, and as PNG of the pictures' own resolution),
        ``maps/*.ply`` and ``study.json``.

    Raises
    ------
    ReportError
        The folder cannot be written to, the disk is full, or pictures were demanded and there is
        no matplotlib.

    Examples
    --------
    >>> import cuspwise
    >>> study = cuspwise.read_study(cuspwise.demo_study("trial"))
    >>> run = cuspwise.run_study(study, "trial/results")
    >>> analysis = cuspwise.analyse_study(run)
    >>> files = cuspwise.write_study(run, analysis, "trial/results", pictures="no")
    >>> [file.name for file in files if file.suffix in (".html", ".json")]
    ['report.html', 'study.json']
    """
    return run(write_study_steps(study, analysis, out, pictures=pictures, executor=executor))


def write_study_steps(
    study: StudyRun,
    analysis: StudyAnalysis,
    out: str | Path,
    *,
    pictures: PictureChoice = "auto",
    executor: Executor | None = None,
) -> Steps[tuple[Path, ...]]:
    """Write a study's files as :func:`write_study` does, step by step."""
    if pictures == "yes" and not can_plot():
        raise ReportError(NO_MATPLOTLIB, subject="pictures", remedy=GET_PICTURES)
    folder = Path(out)
    with staging(folder) as stage:
        for name in FOLDERS:
            (stage / name).mkdir()
        yield Progress("Writing the tables", 0.0)
        tables = study_tables(study) | analysis_tables(study, analysis)
        write_tables("study", stage / TABLES, {name: one.text for name, one in tables.items()})
        if can_write_workbook():
            yield Progress("Writing the workbook", 0.01)
            atomic_write(stage / WORKBOOK, study_workbook(study, analysis, tables))
        atomic_write(stage / METHODS, methods_text(study, analysis).text)
        yield Progress("Colouring the maps", 0.02)
        maps = study_maps(study, analysis)
        _write_surfaces(study, maps, stage / MAPS)
        drawn = yield from scaled(_draw_steps(study, maps, pictures), 0.1, 0.6)
        figures = yield from scaled(
            _figure_steps(study, analysis, maps, drawn, stage, executor), 0.6, 0.95
        )
        yield Progress("Writing the page", 0.95)
        reason = "" if can_plot() else NO_MATPLOTLIB
        art = StudyArt(figures, reason, maps, drawn)
        atomic_write(stage / PAGE, study_page(study, analysis, art, written=_now()))
        names = _written(stage)
        atomic_write(stage / DOCUMENT, _json(_document(study, analysis, maps, names)))
        # The document comes last: the next run reads in it what this one has written.
        outdated = (WORKBOOK, *_earlier(folder))
        written = put_in_place(stage, folder, (*names, DOCUMENT), outdated=outdated)
    return written


def file_name(name: str) -> str:
    """Return a name as part of a file's name: letters, digits, dots, dashes, underscores."""
    return re.sub(r"[^\w.-]+", "_", name).strip(".") or "_"


def _write_surfaces(study: StudyRun, maps: StudyMaps, folder: Path) -> None:
    """Write the design once per group, with the group's maps, coloured by the mean."""
    for (group, found), picture in zip(study.maps.items(), maps.of("mean"), strict=True):
        values = {
            "mean_um": found.mean_um,
            "sd_um": found.sd_um,
            "worst_um": found.worst_um,
            "share_outside": found.share_outside,
            "counted": found.counted,
        }
        mesh = study.area_set.evaluation.mesh
        write_mesh(folder / f"{file_name(group)}.ply", mesh, values, picture.colours)


def _draw_steps(study: StudyRun, maps: StudyMaps, choice: PictureChoice) -> Steps[Pictures]:
    if choice == "no":
        return Pictures(reason="they were not asked for.")
    if not can_plot():
        return Pictures(reason=NO_MATPLOTLIB)
    if not maps.maps:
        return Pictures(reason="there is no crown to show.")
    return (yield from draw_colourings_steps(study.area_set.evaluation.mesh, maps.colourings))


def _figure_steps(
    study: StudyRun,
    analysis: StudyAnalysis,
    maps: StudyMaps,
    drawn: Pictures,
    stage: Path,
    executor: Executor | None,
) -> Steps[tuple[Figure, ...]]:
    """Draw the figures and the sheets of maps; return the figures, for the page."""
    for picture in drawn.pictures:
        name = f"{file_name(picture.colouring)}_{picture.view.name}.png"
        atomic_write(stage / MAPS / name, picture.png)
    if not can_plot():
        return ()
    figures = []
    expected = 2 * len(analysis.areas) + len(analysis.measures) + 4
    for figure in study_figures(analysis, executor, run=study):
        figures.append(figure)
        for ending, content in figure.files.items():
            atomic_write(stage / FIGURES / f"{file_name(figure.name)}.{ending}", content)
        yield Progress("Drawing the figures", min(0.8, 0.8 * len(figures) / expected))
    if drawn.pictures:
        for sheet in map_sheets(maps, drawn.pictures):
            yield Progress("Drawing the sheets of maps", 0.9)
            for ending, content in (("pdf", sheet.pdf), ("png", sheet.png)):
                atomic_write(stage / FIGURES / f"map_{file_name(sheet.name)}.{ending}", content)
    return tuple(figures)


def _document(
    study: StudyRun, analysis: StudyAnalysis, maps: StudyMaps, names: list[str]
) -> dict[str, Any]:
    colours = {
        kind: {"limit": scale.limit, "unit": scale.unit, "symmetric": scale.signed}
        for kind, scale in maps.scales.items()
    }
    shares = {found.name: plain((found.clipped, found.unmeasured)) for found in maps.maps}
    return {
        **study_document(study, analysis),
        "map_scales": colours,
        "map_shares_clipped_unmeasured": shares,
        "files": [*names, DOCUMENT],
    }


def _written(stage: Path) -> list[str]:
    files = [file for folder in FOLDERS for file in sorted((stage / folder).iterdir())]
    beside = [PAGE, METHODS, *([WORKBOOK] if (stage / WORKBOOK).is_file() else [])]
    return [*beside, *(file.relative_to(stage).as_posix() for file in files)]


def _earlier(folder: Path) -> tuple[str, ...]:
    """Return what an earlier report wrote here, as its document lists it; only our own places."""
    try:
        listed = json.loads((folder / DOCUMENT).read_text(encoding="utf-8"))["files"]
        names = [PurePosixPath(str(name)) for name in listed]
    except (OSError, ValueError, KeyError, TypeError):
        return ()
    return tuple(
        name.as_posix()
        for name in names
        if len(name.parts) == 2 and name.parts[0] in FOLDERS and name.suffix in ENDINGS
    )


def _json(document: dict[str, Any]) -> str:
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _now() -> datetime:
    return datetime.now(UTC).replace(microsecond=0)
