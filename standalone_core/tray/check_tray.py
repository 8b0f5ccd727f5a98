"""Many crowns from files: a table, or pairs of design and scan."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from ..check_result import CheckResult
from ..check_settings import CheckSettings
from ..checked_mesh import read_design, read_scan
from ..progress import Progress, Steps, run
from ..readable import readable
from .check_crowns import CrownToCheck, check_crowns_steps
from .entries import TrayEntry, named, read_tray
from .result import TrayResult
from .shared_design import SharedDesign


def check_tray_steps(
    tray: str | Path | Iterable[tuple[str | Path, str | Path]],
    settings: CheckSettings | None = None,
    keep: Callable[[str, CheckResult], object] | None = None,
) -> Steps[TrayResult]:
    """Check many crowns as :func:`check_tray` does, step by step."""
    if isinstance(tray, str | Path):
        entries = read_tray(tray)
    else:
        entries = named(TrayEntry(Path(design), Path(scan)) for design, scan in tray)

    def kept(crown: CrownToCheck, result: CheckResult) -> Steps[None]:
        yield Progress("Keeping the result", 0.0)
        if keep is not None:
            keep(crown.name, result)

    return (yield from check_crowns_steps(crowns_of(entries, settings), keep and kept))


def check_tray(
    tray: str | Path | Iterable[tuple[str | Path, str | Path]],
    settings: CheckSettings | None = None,
    keep: Callable[[str, CheckResult], object] | None = None,
) -> TrayResult:
    """Check many crowns, of one design or several, as :func:`~cuspwise.check` does each.

    Each design is made ready only once. A crown that cannot be checked stops no other.

    Parameters
    ----------
    tray : str, pathlib.Path or iterable of (design, scan)
        A CSV file with the columns ``design``, ``scan`` and, if wanted, ``name``, whose paths
        start from its folder; or pairs of mesh files.
    settings : CheckSettings, optional
        For all crowns. Causes are looked for where they say so, as they do by default.
    keep : function, optional
        Called with each crown's name and its whole CheckResult, which is let go afterwards:
        writes it, or draws from it what is wanted.

    Returns
    -------
    TrayResult
        The crowns in the order given, with their verdicts, or why they could not be checked.

    Raises
    ------
    CuspwiseError
        A table that cannot be used, with every mistake in it.

    Examples
    --------
    Two crowns of one design, and a scan that does not exist:

    >>> import cuspwise
    >>> design = cuspwise.demo_crown(edge_mm=0.4)
    >>> design_file = cuspwise.write_mesh("design.stl", design.mesh)
    >>> for name, offset_um in (("fine", 0), ("thick", 100)):
    ...     errors = cuspwise.ProductionErrors(offset_um=offset_um)
    ...     scan = cuspwise.produce(design, errors, edge_mm=0.4)
    ...     _ = cuspwise.write_mesh(f"{name}.stl", scan.mesh)
    >>> settings = cuspwise.CheckSettings(
    ...     spacing_mm=0.4,
    ...     tolerances=cuspwise.Tolerances().changed({"margin": 40.0}),
    ...     causes=cuspwise.CausesSettings(find_causes=False),
    ... )
    >>> scans = ["fine.stl", "thick.stl", "lost.stl"]
    >>> tray = cuspwise.check_tray([(design_file, scan) for scan in scans], settings)
    >>> {crown.name: crown.verdict for crown in tray.crowns}
    {'fine': 'within', 'thick': 'outside', 'lost': 'not_checked'}
    >>> tray.crowns[2].error.reason
    'It cannot be read (No such file or directory).'
    """
    return run(check_tray_steps(tray, settings, keep))


def crowns_of(
    entries: Sequence[TrayEntry], settings: CheckSettings | None = None
) -> list[CrownToCheck]:
    """Return the crowns to check of a tray's entries, those of one design sharing it."""
    chosen = settings or CheckSettings()
    shared: dict[str, SharedDesign] = {}
    crowns = []
    for entry in entries:
        place = os.path.realpath(entry.design)
        if place not in shared:
            shared[place] = shared_design(entry.design, chosen)
        crowns.append(crown_of(entry, shared[place], chosen))
    return crowns


def shared_design(design: Path, settings: CheckSettings) -> SharedDesign:
    """Return a design that is read from its file when a crown needs it."""
    return SharedDesign(readable(design.name), lambda: read_design(design, settings), settings)


def crown_of(entry: TrayEntry, design: SharedDesign, settings: CheckSettings) -> CrownToCheck:
    """Return a crown of a design, whose scan is read from its file."""
    scan = entry.scan
    return design.crown(entry.name, readable(scan.name), lambda: read_scan(scan, settings))
