"""Pictures of the colour map, drawn by Blender's module in a process of its own."""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Generator, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np

from ..mesh.triangle_mesh import TriangleMesh
from ..progress import Progress, Steps
from .colour import ColourArray, hex_colour
from .legend import Legend
from .views import View

SCRIPT = Path(__file__).resolve().parents[2] / "addon" / "pictures.py"

# Workbench is twice as fast, but ends the process where the machine has no EGL; Cycles needs none.
ENGINES = ("BLENDER_WORKBENCH", "CYCLES")
WIDTH_PX, HEIGHT_PX = 1200, 1000
LONGEST_WAIT_S = 120.0  # without a finished view
POLL_S = 0.1
LEGEND_COLOURS = 257

NOT_INSTALLED = "Blender's Python module (bpy) is not installed."


@dataclass(frozen=True)
class Picture:
    """One finished picture: the view it shows and the PNG file's bytes."""

    view: View
    png: bytes = field(repr=False)


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
    """Tell whether Blender's module is installed, without loading it."""
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
    try:
        with tempfile.TemporaryDirectory(prefix="cuspwise-") as name:
            folder = Path(name)
            _write_surface(folder, mesh, colours)
            reason = ""
            for engine in ENGINES:
                _write_job(folder, engine, views, legend, caption)
                code = yield from _run(script, folder, len(views))
                if code == 0:
                    return Pictures(_collect(folder, views), engine=engine)
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


def _collect(folder: Path, views: Sequence[View]) -> tuple[Picture, ...]:
    return tuple(Picture(view, (folder / f"{view.name}.png").read_bytes()) for view in views)


def _write_job(
    folder: Path, engine: str, views: Sequence[View], legend: Legend, caption: str
) -> None:
    positions = np.linspace(-1.0, 1.0, LEGEND_COLOURS).tolist()
    job = {
        "engine": engine,
        "width": WIDTH_PX,
        "height": HEIGHT_PX,
        "caption": caption,
        "views": [asdict(view) for view in views],
        "legend": {
            "colours": [hex_colour(position) for position in positions],
            "ticks": [asdict(tick) for tick in legend.ticks],
            "band": legend.band,
            "tolerance_text": legend.tolerance_text,
            "clipped_text": legend.clipped_text,
            "unmeasured_text": legend.unmeasured_text,
            "unmeasured_colour": legend.unmeasured_colour,
        },
    }
    (folder / "job.json").write_text(json.dumps(job), encoding="utf-8")


def _run(script: Path, folder: Path, views: int) -> Generator[Progress, None, int | None]:
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
                yield Progress(f"Drawing picture {drawn + 1} of {views}", min(drawn / views, 0.99))
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
