"""A study so small that it is measured in seconds: to try out what a study is, and for examples."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..atomic import atomic_write
from ..mesh.write import write_mesh
from .crown import demo_crown
from .production import produce
from .production_errors import ProductionErrors, Wave
from .study_files import make_folder

SCALES = {"milled": 1.0, "printed": 0.996}
"""Groups, and what their crowns are scaled by: the printed ones are 4 µm per mm too small."""

WAVE_UM = 6.0
"""Form error of each crown, in a direction of its own: its amplitude."""


def demo_study(folder: str | Path, *, crowns: int = 2, edge_mm: float = 0.5) -> Path:
    """Write a small invented study: a design, two groups of crowns and a study file.

    The meshes are coarse, so that trying things out takes seconds; what a coarse mesh cannot hold
    adds several µm to all deviations. ``cuspwise demo`` on the command line makes a study as real
    ones are.

    Parameters
    ----------
    folder : str or pathlib.Path
        Made if it is not there; files in it are replaced.
    crowns : int
        Crowns per group.
    edge_mm : float
        Mean edge length of design and scans, and spacing of the evaluation points, mm.

    Returns
    -------
    pathlib.Path
        The study file.

    Raises
    ------
    FileError
        The folder cannot be made or written to.
    SettingError
        Edge length out of range.

    Examples
    --------
    >>> import cuspwise
    >>> file = cuspwise.demo_study("trial")
    >>> sorted(path.as_posix() for path in file.parent.rglob("*.stl"))[:3]
    ['trial/design.stl', 'trial/milled/m1.stl', 'trial/milled/m2.stl']
    """
    home = Path(folder)
    design = demo_crown(edge_mm)
    make_folder(home)
    write_mesh(home / "design.stl", design.mesh)
    for group, scale in SCALES.items():
        make_folder(home / group)
        for number in range(1, crowns + 1):
            wave = Wave((0.2, 0.5, 1.0), 9.0, WAVE_UM, 75.0 * number)
            errors = ProductionErrors(waves=(wave,), scale=(scale,) * 3)
            rng = np.random.default_rng([ord(group[0]), number])
            scan = produce(design, errors, edge_mm=edge_mm, rng=rng)
            write_mesh(home / group / f"{group[0]}{number}.stl", scan.mesh)
    return atomic_write(home / "study.toml", _study_text(edge_mm))


def _study_text(edge_mm: float) -> str:
    groups = [f'[groups.{name}]\nscans = ["{name}/*.stl"]\n' for name in SCALES]
    return "\n".join(
        [
            'title = "Two ways of making a crown (invented)"\ndesign = "design.stl"\n',
            *groups,
            '[analysis]\nareas = ["whole", "margin"]\nmeasures = ["mean_abs_um"]\n',
            "[equivalence_um]\ndefault = 5\n",
            f"[measuring]\nspacing_mm = {edge_mm}\n",
        ]
    )
