"""Write docs/schemas/*.schema.json, what is in every JSON file, from the types of what they hold.

Run it after a key was added: ``python tools/write_schemas.py``. Tests say when the schemas are out
of date, and when a file that Cuspwise writes does not keep them.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path

from schema_documents import areas, areas_summary, causes, check, fit, health, tray, walls
from schema_of_types import Definitions, Schema
from schema_study import study

FOLDER = Path(__file__).resolve().parents[1] / "docs" / "schemas"
DIALECT = "https://json-schema.org/draft/2020-12/schema"

DOCUMENTS: Mapping[str, tuple[str, Callable[[Definitions], Schema]]] = {
    "check": ("One crown against its design: check.json, and `cuspwise check --json`.", check),
    "causes": ("Why a crown deviates: `cuspwise causes --json`.", causes),
    "tray": ("Many crowns at once: tray.json, and `cuspwise check --json` of many.", tray),
    "study": (
        "Groups of crowns compared: study.json, and `cuspwise study --json`.",
        study,
    ),
    "fit": ("A crown on its die: fit.json, and `cuspwise fit --json`.", fit),
    "walls": ("A crown's walls: walls.json, and `cuspwise walls --json`.", walls),
    "health": ("Is a mesh file fit to be measured: `cuspwise inspect --json`.", health),
    "areas_summary": (
        "The areas of a design and their sizes: `cuspwise areas --json`.",
        areas_summary,
    ),
    "areas": ("The areas of one design, to be used again: the file of `cuspwise areas`.", areas),
}


def schema_of(name: str) -> Schema:
    """Return the schema of a document."""
    about, make = DOCUMENTS[name]
    definitions = Definitions()
    body = make(definitions)
    found = dict(sorted(definitions.found.items()))
    return {"$schema": DIALECT, "title": name, "description": about, **body, "$defs": found}


def text_of(name: str) -> str:
    """Return the text of a schema's file."""
    return json.dumps(schema_of(name), indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name in DOCUMENTS:
        (FOLDER / f"{name}.schema.json").write_text(text_of(name), encoding="utf-8")
        print(f"Written: {FOLDER / name}.schema.json")
