"""A zip with libraries for another Python: say so and name the right one; needs no Blender."""

from __future__ import annotations

import json
import sys
from pathlib import Path

ZIPS = Path(__file__).resolve().parents[1] / "zips.json"  # in a zip only; its builder writes it


def refuse_wrong_zip(listed: Path = ZIPS) -> None:
    """Refuse to start with libraries that this Python cannot load.

    Raises
    ------
    ImportError
        Its message begins as Blender wants it to show the message alone.
    """
    if not listed.is_file():
        return
    found = json.loads(listed.read_text(encoding="utf-8"))
    here = f"{sys.version_info.major}.{sys.version_info.minor}"
    if found["python"] == here:
        return
    right = found["zips"].get(here)
    remedy = (
        f"Install {right} instead, whatever the version of this Blender is."
        if right
        else f"It runs with Python {' and '.join(found['zips'])}, which official Blenders have."
    )
    raise ImportError(
        f"Add-on not started: this is the zip of Cuspwise for Python {found['python']}, and this "
        f"Blender has Python {here}. {remedy}"
    )
