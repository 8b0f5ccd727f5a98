"""Single things that somebody waits for, ours alone: a crown's causes, the help, Blender.

Blender's rows need a Python with bpy and scipy, which ``CUSPWISE_BPY`` names; without, they say so.
"""

from __future__ import annotations

import json
import math
import os
import sys
import tempfile
from pathlib import Path
from statistics import median

from bench_check import EDGES_MM, SMALL, make_pair
from processes import Done, call
from ratios import NO_PEER, Row

BPY = "CUSPWISE_BPY"
IN_BLENDER = Path(__file__).with_name("in_blender.py")
ROUNDS = 5
OURS = [sys.executable, "-m", "cuspwise.standalone_core"]


def causes(short: bool) -> list[Row]:
    """``cuspwise causes`` of one crown: the whole check, and what it deviates from."""
    del short  # there is one form
    with tempfile.TemporaryDirectory() as folder:
        pair = make_pair(Path(folder), EDGES_MM[SMALL])
        plain = [str(pair.design), str(pair.scan), "--no-pictures", "--out", f"{folder}/out"]
        checks = [call([*OURS, "check", *plain, "--no-causes"]) for _ in range(ROUNDS)]
        found = [call([*OURS, "check", *plain]) for _ in range(ROUNDS)]
    more_s = min(one.cpu_s for one in found) - min(one.cpu_s for one in checks)
    note = f"CPU {more_s:.2f} s more than without causes"
    return [_alone(f"check with causes, {SMALL} each", found, note, "Ours alone: check and causes")]


def start(short: bool) -> list[Row]:
    """``cuspwise --help``: what every command costs before it begins."""
    del short
    done = [call([*OURS, "--help"]) for _ in range(ROUNDS + 1)][1:]
    note = f"CPU {min(one.cpu_s for one in done):.2f} s"
    return [_alone("cuspwise --help", done, note, "Ours alone: start, and print the help")]


def blender(short: bool) -> list[Row]:
    """Registering the add-on and recolouring a crown, in a Blender without a window."""
    del short
    does = {
        "register": "Ours alone: load and register the add-on",
        "recolour": "Ours alone: a crown's deviations to colours and onto its mesh, as on a click",
    }
    nan = math.nan
    if BPY not in os.environ:
        note = f"absent: {BPY} names no Python with bpy"
        return [Row(name, NO_PEER, nan, nan, nan, None, note, text) for name, text in does.items()]
    done = call([os.environ[BPY], str(IN_BLENDER)])
    found = json.loads(done.output.splitlines()[-1])
    return [
        Row(name, NO_PEER, found[name], nan, nan, None, found["note"], text, done.memory_mb)
        for name, text in does.items()
    ]


def _alone(what: str, done: list[Done], note: str, does: str) -> Row:
    wall_s, peak_mb = median(one.wall_s for one in done), max(one.memory_mb for one in done)
    return Row(what, NO_PEER, wall_s, math.nan, math.nan, None, note, does, peak_mb)


ROWS = {"causes": causes, "help": start, "blender": blender}
SHORT = ()
