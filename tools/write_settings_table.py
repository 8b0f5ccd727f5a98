"""Write docs/settings.md, the table of all settings, from their declarations.

Run it after a setting was changed: ``python tools/write_settings_table.py``. A test says when the
table is out of date.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from pathlib import Path
from typing import Any

from cuspwise.standalone_core.cli.fit_settings import FIT_OPTIONS, FIT_TABLES
from cuspwise.standalone_core.cli.setting_options import option_name
from cuspwise.standalone_core.cli.settings import CHECK_KEYS
from cuspwise.standalone_core.setting import Setting
from cuspwise.standalone_core.study.file.check_sections import PRODUCTION
from cuspwise.standalone_core.study.file.fit_sections import FIT_EQUIVALENCE, FIT_PARTS
from cuspwise.standalone_core.study.file.keys import Key, Section
from cuspwise.standalone_core.study.file.new_text import toml_text
from cuspwise.standalone_core.study.file.study_sections import MARK, SETTINGS, TOP

FILE = Path(__file__).resolve().parents[1] / "docs" / "settings.md"

_HEAD = """\
<!-- Written by tools/write_settings_table.py from the declarations: change those. -->
# All settings

Each setting has one name: of the key in a study file, of the attribute in Python, of the property
in Blender where there is one, and of the option, which leaves the unit out. Options that are
empty here are given as `--set NAME=VALUE`, with the table before the name where two tables share
it: `--set verdicts.min_coverage=0.8`. The same values are refused everywhere.

A number beyond what is *plausible* is hardly meant (mm typed for µm, or the reverse): it is refused
with the number that was probably meant, and taken as it is with `--force`, with `force = true`
above the first table of a study file, with `CheckSettings(force=True)` in Python, or with *Take
Unusual Numbers* in Blender. A 0 that is allowed switches something off and is always plausible.

Where nothing else is said, defaults are our own or common practice, no source.
"""
_GROUP = Section(
    "groups.NAME",
    "What is known of how a group's crowns were produced, beside their title and scans: the more "
    "is known, the more causes can be told.",
    PRODUCTION,
)
_FIT_HEAD = """\
## Fit

The settings of `cuspwise fit`, and of `FitSettings` in Python. Options that are empty here are
given as `--set NAME=VALUE`, with the table before the name where two tables share it:
`--set walls.places=10`. `cuspwise walls` takes those of `fit` and `walls`. All settings of
`[areas]` above can be given too, directions in the frame of the die. In a study file they stand
in tables whose names start with `fit_`; those of reading and measuring are the study's own, but
for `die_unit`, which stands below `[fit]`.
"""
_COLUMNS = ("setting", "default", "allowed", "plausible", "option", "meaning")
_FREE = {"tolerances_um": "--tolerance AREA=UM", "scanner_um": "--scanner [AREA=]UM"}


def settings_table() -> str:
    """Return the text of the file."""
    blocks = [_HEAD]
    told_with_fit = {f"fit_{part}" for part in FIT_PARTS}
    for section in (TOP, *SETTINGS, MARK, _GROUP):
        if section.name in told_with_fit:
            continue
        name = f"`[{section.name}]`" if section.name else "Above the first table"
        blocks += _block(f"## {name}", section, CHECK_KEYS)
    blocks.append(_FIT_HEAD)
    for section in FIT_TABLES:
        if section.name != "areas":  # those of a check
            in_file = f", in a study file `[fit_{section.name}]`"
            heading = f"### `{section.name}`{in_file if section.name in FIT_PARTS else ''}"
            blocks += _block(heading, section, FIT_OPTIONS)
    return "\n".join(blocks)


def _block(heading: str, section: Section, own: Collection[Key]) -> list[str]:
    """The table of a section, if it holds settings; ``own``: those with options of their own."""
    rows = list(_rows(section, own))
    if not rows:
        return []
    lines = [heading, "", " ".join(section.help.split()), ""]
    lines += [_line(_COLUMNS), _line(["---"] * len(_COLUMNS)), *map(_line, rows)]
    return ["\n".join(lines) + "\n"]


def _rows(section: Section, own: Collection[Key]) -> Iterator[tuple[str, ...]]:
    if section.free is not None and section.free.setting is not None:
        setting = section.free.setting
        option = _FREE.get(section.name, "")
        what = "a measure" if section is FIT_EQUIVALENCE else "an area"
        yield _row(what, section.free, setting, f"`{option}`" if option else "")
    for key in section.keys:
        if key.setting is not None:
            option = f"`{_option(key.setting)}`" if key in own else ""
            yield _row(f"`{key.name}`", key, key.setting, option)


def _row(name: str, key: Key, setting: Setting, option: str) -> tuple[str, ...]:
    default = _default(key) if name.startswith("`") and not key.required else ""
    plausible = ""
    if setting.plausible is not None:
        low, high = setting.plausible
        plausible = f"{low:g} to {high:g} {setting.unit}"
    meaning = f"{setting.meaning} {setting.more}".strip()
    return name, default, key.kind.allowed, plausible, option, meaning


def _default(key: Key) -> str:
    value: Any = key.default if key.setting is None else key.setting.default
    return "" if value is None else f"`{toml_text(value)}`"


def _option(setting: Setting) -> str:
    option = option_name(setting)
    return f"--no-{option.removeprefix('--')}" if setting.default is True else option


def _line(cells: Iterator[str] | tuple[str, ...] | list[str]) -> str:
    return f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"


if __name__ == "__main__":
    FILE.write_text(settings_table(), encoding="utf-8")
    print(f"Written: {FILE}")
