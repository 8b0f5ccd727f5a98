"""The command line: all commands by name; their modules are imported when they are called."""

from __future__ import annotations

import os
import sys

import click

from ..version import VERSION
from .late_group import LateGroup, Told

LEAST_WIDTH = 80  # a narrower terminal wraps the lines itself, so that no column is lost

COMMANDS = {
    "areas": Told(
        "surfaces",
        "Find the areas of DESIGN: margin line, intaglio, external, occlusal, axial, margin, …",
    ),
    "causes": Told(
        "check",
        "Say why SCAN, the scan of a produced crown, deviates from DESIGN, and what to change.",
    ),
    "check": Told("check", "Measure how far the scan of a produced crown is from DESIGN, and why."),
    "demo": Told(
        "demo",
        "Make an invented crown three ways with known errors, and study 24 produced crowns.",
    ),
    "fit": Told("fit", "Seat CROWN, a scan or a design, on DIE, and measure how it fits."),
    "inspect": Told(
        "surfaces",
        "Report the health of a mesh FILE: size, unit, pieces, borders, faulty faces, overlaps.",
    ),
    "new": Told(
        "study", "Write a study file for FOLDER, whose subfolders hold the scans of one group each."
    ),
    "plan": Told(
        "plan",
        "Compute how many crowns per group are needed, for a difference or for equivalence.",
    ),
    "study": Told(
        "study",
        "Measure every crown of the study file STUDY against the design and against its group.",
    ),
    "tidy": Told(
        "study",
        "Drop what a study keeps for its next run; its report, tables and figures stay.",
    ),
    "walls": Told("fit", "Measure how thick the walls of CROWN are, a design or a scan."),
}


@click.group(
    cls=LateGroup,
    told=COMMANDS,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(VERSION, prog_name="cuspwise")
def main() -> None:
    """How far is a produced dental crown from its design, where, and is that good enough?

    Not a medical device: it supports, and never replaces, the judgement of a licensed
    professional and local rules. Patient names do not belong in file names.
    """
    from .base import screen

    # All matrix products here are small or thin: a BLAS library's own threads would only wait,
    # and waiting costs processor time. Read when numpy is loaded, which comes later; unless
    # somebody said otherwise.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a terminal without the sign ✓ shows ? instead
            stream.reconfigure(errors="replace")
    screen.width = max(screen.width, LEAST_WIDTH)
