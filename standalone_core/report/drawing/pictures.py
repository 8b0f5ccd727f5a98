"""Pictures of the colour map, drawn by Blender's module in a process of its own."""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Generator, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from ...mesh.triangle_mesh import TriangleMesh
from ...progress import Progress, Steps
from .deviation_colours import ColourArray, hex_colour
from .legend import Legend
from .views import View

SCRIPT = Path(__file__).resolve().parents[3] / "addon" / "drawing" / "pictures.py"

# Workbench is twice as fast, but ends the process where the machine has no EGL; Cycles needs none.
ENGINES = ("BLENDER_WORKBENCH", "CYCLES")
WIDTH_PX, HEIGHT_PX = 1200, 1000
MAP_WIDTH_PX, MAP_HEIGHT_PX = 720, 600
LONGEST_WAIT_S = 120.0  # without a finished view
POLL_S = 0.1
LEGEND_COLOURS = 257

NOT_INSTALLED = "Blender's Python module (bpy) is not installed."


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
class _Shot:
    """A picture to draw: its file's stem, the indices of its view and colouring."""

    file: str
    view: int
    colours: int


@dataclass(frozen=True)
class Pictures:
    """What came of drawing.

    Attributes
    ----------
    pictures : tuple of Picture
        In the order of the views; all of them or none.
    reason : str
        Why there are none; empty otherwise.
    engine : str
        Which of :data:`ENGINES` drew them.
    """

    pictures: tuple[Picture, ...] = ()
    reason: str = ""
    engine: str = ""


def can_draw() -> bool:
    """Return whether Blender's module is installed, without loading it."""
    return importlib.util.find_spec("bpy") is not None


def draw_pictures_steps(
    mesh: TriangleMesh,
    colours: ColourArray,
    views: Sequence[View],
    legend: Legend,
    *,
    caption: str = "",
    script: Path = SCRIPT,
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
    script : pathlib.Path
        The program that draws, run by this very Python.

    Returns
    -------
    Pictures
        Without any, and a reason, where drawing failed.
    """
    wanted = [Picture(view, b"") for view in views]
    shots = [_Shot(view.name, k, 0) for k, view in enumerate(views)]

    def write_job(folder: Path, engine: str) -> None:
        _write_job(folder, engine, views, legend, caption)

    return (yield from _draw_steps(mesh, colours[None], wanted, shots, write_job, script=script))


def draw_colourings_steps(
    mesh: TriangleMesh, colourings: Sequence[Colouring], *, script: Path = SCRIPT
) -> Steps[Pictures]:
    """Draw several colourings of one surface in one process: bare pictures, all at one scale.

    They carry a scale bar, but no title and no legend: those belong to the page around them.
    They are smaller and drawn more quickly than those of :func:`draw_pictures_steps`.

    Parameters
    ----------
    mesh : TriangleMesh
    colourings : sequence of Colouring
        At least one, with at least one view each.
    script : pathlib.Path

    Returns
    -------
    Pictures
        Colouring by colouring; without any, and a reason, where drawing failed.
    """
    views = list({view.name: view for part in colourings for view in part.views}.values())
    wanted = [Picture(view, b"", part.name) for part in colourings for view in part.views]
    place = {view.name: k for k, view in enumerate(views)}
    shots = [
        _Shot(f"{k}_{view.name}", place[view.name], k)
        for k, part in enumerate(colourings)
        for view in part.views
    ]
    colours = np.stack([part.colours for part in colourings])

    def write_job(folder: Path, engine: str) -> None:
        size = {"width": MAP_WIDTH_PX, "height": MAP_HEIGHT_PX}
        quality = {"smoothing": "FXAA", "samples": 3}
        job = {"engine": engine, "caption": "", "legend": None, **size, **quality}
        _save_job(folder, {**job, **_views_and_shots(views, shots)})

    return (yield from _draw_steps(mesh, colours, wanted, shots, write_job, script=script))


def _draw_steps(
    mesh: TriangleMesh,
    colours: ColourArray,
    wanted: Sequence[Picture],
    shots: Sequence[_Shot],
    write_job: Callable[[Path, str], None],
    *,
    script: Path,
) -> Steps[Pictures]:
    """Run the drawing program, with one engine after the other until one has drawn all."""
    try:
        with tempfile.TemporaryDirectory(prefix="cuspwise-") as name:
            folder = Path(name)
            _write_surface(folder, mesh, colours)
            reason = ""
            for engine in ENGINES:
                write_job(folder, engine)
                code = yield from _run(script, folder, len(shots))
                if code == 0:
                    return Pictures(_collect(folder, wanted, shots), engine=engine)
                reason = _why(code, folder)
            return Pictures(reason=f"Blender could not draw them ({reason}).")
    except OSError as error:
        return Pictures(reason=f"Drawing them failed ({error.strerror or error}).")


def _write_surface(folder: Path, mesh: TriangleMesh, colours: ColourArray) -> None:
    np.savez(
        folder / "job.npz",
        points=mesh.vertices,
        normals=mesh.vertex_normals,
        colours=colours,
        faces=mesh.faces.astype(np.int32),
    )


def _collect(
    folder: Path, wanted: Sequence[Picture], shots: Sequence[_Shot]
) -> tuple[Picture, ...]:
    return tuple(
        replace(picture, png=(folder / f"{shot.file}.png").read_bytes())
        for picture, shot in zip(wanted, shots, strict=True)
    )


def _write_job(
    folder: Path, engine: str, views: Sequence[View], legend: Legend, caption: str
) -> None:
    positions = np.linspace(-1.0, 1.0, LEGEND_COLOURS).tolist()
    job = {
        "engine": engine,
        "width": WIDTH_PX,
        "height": HEIGHT_PX,
        "smoothing": "5",
        "samples": 8,
        "caption": caption,
        **_views_and_shots(views, [_Shot(view.name, k, 0) for k, view in enumerate(views)]),
        "legend": {
            "colours": [hex_colour(position, legend.palette) for position in positions],
            "ticks": [asdict(tick) for tick in legend.ticks],
            "band": legend.band,
            "tolerance_text": legend.tolerance_text,
            "clipped_text": legend.clipped_text,
            "unmeasured_text": ", ".join(
                filter(None, (legend.unmeasured_text, legend.refused_text))
            ),
            "unmeasured_colour": legend.unmeasured_colour,
        },
    }
    _save_job(folder, job)


def _views_and_shots(views: Sequence[View], shots: Sequence[_Shot]) -> dict[str, Any]:
    return {
        "views": [asdict(view) for view in views],
        "shots": [asdict(shot) for shot in shots],
    }


def _save_job(folder: Path, job: dict[str, Any]) -> None:
    (folder / "job.json").write_text(json.dumps(job), encoding="utf-8")


def _run(script: Path, folder: Path, shots: int) -> Generator[Progress, None, int | None]:
    """Run the drawing program; return its exit code, None if it hung. Ends it when closed."""
    with open(folder / "log.txt", "wb") as log:
        child = subprocess.Popen(
            [sys.executable, str(script), str(folder)],
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=subprocess.STDOUT,
        )
        try:
            drawn, waiting_since = 0, time.monotonic()
            while True:
                try:
                    return child.wait(timeout=POLL_S)
                except subprocess.TimeoutExpired:
                    pass
                now_drawn = _log(folder).count("\ndrawn ")
                if now_drawn > drawn:
                    drawn, waiting_since = now_drawn, time.monotonic()
                if time.monotonic() - waiting_since > LONGEST_WAIT_S:
                    return None
                share = min(drawn / shots, 0.99)
                yield Progress(f"Drawing picture {min(drawn + 1, shots)} of {shots}", share)
        finally:
            if child.poll() is None:
                child.kill()
            child.wait()


def _log(folder: Path) -> str:
    return "\n" + (folder / "log.txt").read_text(encoding="utf-8", errors="replace")


def _why(code: int | None, folder: Path) -> str:
    if code is None:
        return f"no picture within {LONGEST_WAIT_S:g} s"
    if code < 0:
        return f"ended by signal {-code}"
    lines = [line.strip() for line in _log(folder).splitlines() if line.strip()]
    return lines[-1][:200] if lines and code else f"exit code {code}"
