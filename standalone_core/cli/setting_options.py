"""Options of the command line that set a setting: made from its declaration, read by it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, TypeVar

import click

from ..allowed import Choice, Direction, Flag, Names, NotAllowed, PerArea, no_such
from ..errors import SettingError
from ..setting import REQUIRED, Setting, taken_with
from ..study.file.check_sections import (
    AREAS,
    CAUSES,
    MARKS,
    MEASURING,
    SUPERIMPOSITION,
    VERDICTS,
)
from ..study.file.keys import Key, Section

Command = TypeVar("Command", bound=Callable[..., Any])

SWITCH = "--force"
_METAVARS = {"mm": "MM", "µm": "UM", "mm²": "MM2", "degrees": "DEGREES", "‰": "PERMILLE"}
_DIRECTION = "_direction"
_TABLES = (MEASURING, SUPERIMPOSITION, AREAS, VERDICTS, MARKS, CAUSES)
_OWN_NAMES = {"find_causes": "causes", "build_direction": "build_direction"}
"""Options that are not called as their settings' names alone would make them: --no-causes."""

OLD_OPTIONS = {
    "--align": "--start",
    "--area-setting": "--set",
    "--contact": "--support-mark",
    "--drop-debris": "--ignore-loose-pieces",
    "--fit-on": "--fit-areas",
    "--loss": "--fit-weighting",
    "--missing-margin": "--max-missing",
    "--no-fit": "--no-refine",
    "--scanner-uncertainty": "--scanner",
    "--unit": "--design-unit",
    "--unmatched-area": "--max-unmatched-mm2",
    "--unmatched-height": "--max-unmatched-um",
    "--unweighted": "--no-weighted",
}
"""New names of options by old ones, which are refused with them."""
_OLD_FLAGS = ("--drop-debris", "--no-fit", "--unweighted")


force_option = click.option(
    SWITCH, "force", is_flag=True, help="Take numbers that are hardly meant as they are."
)


def option_name(setting: Setting) -> str:
    """Return the option of a setting: its name, without unit where that leaves no doubt.

    Examples
    --------
    >>> from cuspwise.standalone_core.deviation.settings import DeviationSettings
    >>> from cuspwise.standalone_core.setting import declared_in
    >>> option_name(declared_in(DeviationSettings)["search_mm"])
    '--search'
    """
    if setting.name in _OWN_NAMES:
        return f"--{_OWN_NAMES[setting.name].replace('_', '-')}"
    alone = not any(
        key.setting is not None
        and key.setting.stem == setting.stem
        and key.setting.unit != setting.unit
        for table in _TABLES
        for key in table.keys
    )
    name = setting.stem.removesuffix(_DIRECTION) if alone else setting.name
    return f"--{name.replace('_', '-')}"


def setting_option(setting: Setting) -> Callable[[Command], Command]:
    """Return the click option of a setting; its text is read by :func:`read_option`."""
    option = option_name(setting)
    if isinstance(setting.allowed, Flag):
        if setting.default:
            both = f"{option}/--no-{option.removeprefix('--')}"
            return click.option(both, setting.name, default=None, help=setting.meaning)
        return click.option(option, setting.name, is_flag=True, default=None, help=setting.meaning)
    return click.option(
        option,
        setting.name,
        metavar=_metavar(setting),
        multiple=isinstance(setting.allowed, (PerArea, Names)),
        help=f"{setting.meaning}{_default_words(setting)}",
    )


def old_options(*names: str) -> Callable[[Command], Command]:
    """Return hidden options of old names, for :func:`refuse_old_options`."""

    def join(command: Command) -> Command:
        for name in names:
            flag = name in _OLD_FLAGS
            command = click.option(name, _old_dest(name), hidden=True, is_flag=flag, default=None)(
                command
            )
        return command

    return join


def refuse_old_options(given: Mapping[str, Any]) -> None:
    """Refuse options that have another name now.

    Raises
    ------
    SettingError
        With the new name.
    """
    for old, new in OLD_OPTIONS.items():
        if given.get(_old_dest(old)):
            raise SettingError("It has another name now.", subject=old, remedy=f"Write {new}.")


def read_option(setting: Setting, text: Any, *, force: bool, option: str = "") -> Any:
    """Return the value that an option gives, ready for the settings.

    Parameters
    ----------
    setting : Setting
    text : str or bool
        What was typed; a flag as it is.
    force : bool
        Take numbers that are hardly meant.
    option : str
        How it is called, if not by the setting's name.

    Raises
    ------
    SettingError
        Named by the option.
    """
    option = option or option_name(setting)
    try:
        value = text if isinstance(text, bool) else setting.of_text(text)
    except NotAllowed as problem:
        raise SettingError(problem.reason, subject=option, remedy=problem.remedy) from None
    doubt = None if force else setting.implausible(value)
    if doubt is not None:
        remedy = f"{doubt.remedy} {taken_with(SWITCH)}"
        raise SettingError(doubt.reason, subject=option, remedy=remedy)
    return value


def read_given(
    settings: Mapping[str, Setting], given: Mapping[str, Any], *, force: bool
) -> dict[str, Any]:
    """Return what options set, by name; those not given are left out."""
    return {
        name: read_option(setting, given[name], force=force)
        for name, setting in settings.items()
        if given[name] is not None
    }


def read_options(keys: Iterable[Key], given: Mapping[str, Any], *, force: bool) -> dict[str, Any]:
    """Return what options set, by the target of their keys; those not given are left out."""
    changes: dict[str, Any] = {}
    for key in keys:
        text = given[key.name]
        if key.setting is None or text is None or text == ():
            continue
        text = ",".join(text) if isinstance(text, tuple) else text
        changes[key.target] = read_option(key.setting, text, force=force)
    return changes


def read_set(texts: Sequence[str], tables: Sequence[Section], *, force: bool) -> dict[str, Any]:
    """Return what ``--set NAME=VALUE`` sets, by target.

    Parameters
    ----------
    texts : sequence of str
    tables : sequence of Section
        The tables of a study file whose keys can be set; ``TABLE.NAME`` tells two of one name
        apart.
    force : bool
        Take numbers that are hardly meant.
    """
    changes: dict[str, Any] = {}
    for text in texts:
        name, equals, value = (part.strip() for part in text.partition("="))
        if not equals:
            raise SettingError(
                f"{text!r} is not a setting.",
                subject="--set",
                remedy="Give a name and a value, such as '--set fossa_gap_mm=0.05'.",
            )
        key = _key(name, tables)
        assert key.setting is not None  # only such are looked up
        option = f"--set {name}"
        changes[key.target] = read_option(key.setting, value, force=force, option=option)
    return changes


def _key(name: str, tables: Sequence[Section]) -> Key:
    """Return the key of a name, with its table or without."""
    known = {
        f"{table.name}.{key.name}": key
        for table in tables
        for key in table.keys
        if key.setting is not None
    }
    found = [full for full in known if name in (full, full.partition(".")[2])]
    if len(found) > 1:
        raise SettingError(
            f"{name} is in several tables.",
            subject="--set",
            remedy=f"Write {' or '.join(found)}.",
        )
    if not found:
        bare = dict.fromkeys(full.partition(".")[2] for full in known)
        problem = no_such("setting", name, list(known if "." in name else bare))
        raise SettingError(problem.reason, subject="--set", remedy=problem.remedy)
    return known[found[0]]


def _metavar(setting: Setting) -> str:
    kind = setting.allowed
    if isinstance(kind, Choice):
        return f"[{'|'.join(word.replace('_', '-') for word in kind.words)}]"
    if isinstance(kind, PerArea):
        return f"AREA={_METAVARS[setting.unit]}"
    if isinstance(kind, Direction):
        return "X,Y,Z"
    if isinstance(kind, Names):
        return "AREA,…"
    return _METAVARS.get(setting.unit, "NUMBER")


def _default_words(setting: Setting) -> str:
    if setting.default in (None, REQUIRED, ()) or isinstance(setting.allowed, PerArea):
        return ""
    default = setting.default
    words = default.replace("_", "-") if isinstance(default, str) else f"{default:g}"
    return f"  [default: {words}]"


def _old_dest(option: str) -> str:
    return f"old{option.replace('-', '_')}"
