"""Write a tray's page and tables to a folder: all files or, if something fails, none."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from ...atomic import atomic_write
from ...staging import put_in_place, staging
from ..tables.dictionary import write_tables
from .document import tray_document
from .tables import tray_csv

if TYPE_CHECKING:
    from ...tray.result import TrayResult

TRAY_FILES = ("tray.html", "tray.csv", "README.csv", "tray.json")
CROWN_PAGE = "check.html"
_LONGEST = 80  # letters of a folder's name


def write_tray(
    result: TrayResult, out_dir: str | Path, *, folders: Mapping[str, str] | None = None
) -> tuple[Path, ...]:
    """Write the page and the tables of a tray.

    Parameters
    ----------
    result : TrayResult
        As :func:`~cuspwise.check_tray` returns it.
    out_dir : str or pathlib.Path
        Made if it does not exist. Files of an earlier tray in it are replaced.
    folders : mapping of str to str, optional
        The folder below ``out_dir`` that each crown's own check was written to, by the crown's
        name: the page links to it where it is there.

    Returns
    -------
    tuple of pathlib.Path
        ``tray.html``, ``tray.csv``, ``README.csv`` (what its columns mean) and ``tray.json``.

    Raises
    ------
    ReportError
        The folder cannot be written to, or the disk is full.

    Examples
    --------
    >>> import cuspwise
    >>> design = cuspwise.demo_crown(edge_mm=0.5)
    >>> scan = cuspwise.produce(design, cuspwise.ProductionErrors(), edge_mm=0.5)
    >>> pair = (
    ...     cuspwise.write_mesh("design.stl", design.mesh),
    ...     cuspwise.write_mesh("crown_07.stl", scan.mesh),
    ... )
    >>> settings = cuspwise.CheckSettings(
    ...     spacing_mm=0.5, causes=cuspwise.CausesSettings(find_causes=False)
    ... )
    >>> tray = cuspwise.check_tray(
    ...     [pair],
    ...     settings,
    ...     keep=lambda name, check: cuspwise.write_check(check, f"tray/{name}", pictures="no"),
    ... )
    >>> files = cuspwise.write_tray(tray, "tray", folders={"crown_07": "crown_07"})
    >>> [file.name for file in files]
    ['tray.html', 'tray.csv', 'README.csv', 'tray.json']
    """
    from .page import tray_page

    folder = Path(out_dir)
    written = datetime.now(UTC).replace(microsecond=0)
    document = {**tray_document(result), "written": written.isoformat()}
    own = folders or {}
    checked = [crown.name for crown in result.crowns if crown.error is None and crown.name in own]
    pages = {
        name: f"{own[name]}/{CROWN_PAGE}"
        for name in checked
        if (folder / own[name] / CROWN_PAGE).is_file()
    }
    with staging(folder) as stage:
        write_tables("tray", stage, {"tray": tray_csv(result)})
        text = json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False)
        atomic_write(stage / "tray.json", f"{text}\n")
        atomic_write(stage / "tray.html", tray_page(result, pages=pages, written=written))
        return put_in_place(stage, folder, TRAY_FILES, outdated=())


def crown_folders(names: Iterable[str]) -> dict[str, str]:
    """Return a folder's name for each crown: its own name, as far as every system can hold it.

    Examples
    --------
    >>> crown_folders(["a/crown 1", "a_crown 1", "../x", "tray.csv"])
    {'a/crown 1': 'a_crown 1', 'a_crown 1': 'a_crown 1_2', '../x': '_x', 'tray.csv': 'tray.csv_2'}
    """
    taken = {name.casefold() for name in TRAY_FILES}
    found = {}
    for name in names:
        safe = "".join(c if c.isalnum() or c in " ._-" else "_" for c in name)
        own = free = safe[:_LONGEST].strip(" .") or "crown"
        number = 1
        while free.casefold() in taken:
            number += 1
            free = f"{own}_{number}"
        taken.add(free.casefold())
        found[name] = free
    return found
