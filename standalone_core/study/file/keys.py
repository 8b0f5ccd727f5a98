"""How the keys and tables of a study file are declared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ...allowed import Allowed, NotAllowed, PerArea
from ...setting import REQUIRED, Setting, declared_in
from ..fit_plan import FitPlan
from ..plan import StudyPlan
from .value_types import Kind

NOT_SET = StudyPlan(path=None, title="", question="", design=Path(), groups=(), fit=FitPlan())
"""A plan of nothing, which holds the default of every setting."""


@dataclass(frozen=True)
class Key:
    """A key of a study file.

    Attributes
    ----------
    name : str
    kind : Kind or Allowed
        What its value can be.
    target : str
        The attribute of a ``StudyPlan`` that it sets, dotted; empty if it takes more than that.
    help : str
        What it means, in a sentence.
    required : bool
    setting : Setting or None
        The declaration that it derives from, if it is a setting; of one area, where it stands for
        all areas.
    """

    name: str
    kind: Kind | Allowed
    target: str
    help: str
    required: bool = False
    setting: Setting | None = None

    @property
    def default(self) -> Any:
        """The value without the key; None if there is none."""
        value: Any = NOT_SET if self.target else None
        for part in self.target.split(".") if self.target else ():
            value = value[part] if isinstance(value, Mapping) else getattr(value, part)
        return value

    def implausible(self, value: Any) -> NotAllowed | None:
        """Say why an allowed value is hardly meant; None if it may be."""
        return None if self.setting is None else self.setting.implausible(value)


@dataclass(frozen=True)
class Section:
    """A table of a study file.

    Attributes
    ----------
    name : str
        Its dotted name, in which NAME stands for a name of the user's choice; empty for what
        stands above the first table.
    help : str
        What it is about, in sentences.
    keys : tuple of Key
    free : Key or None
        What stands for keys of the user's choice; None if there are none.
    """

    name: str
    help: str
    keys: tuple[Key, ...] = ()
    free: Key | None = None

    def key(self, name: str) -> Key | None:
        """Return a key by name, if it is known."""
        return next((key for key in self.keys if key.name == name), None)


def keys_of(
    kind: type, owner: str | None, *names: str, but: tuple[str, ...] = ()
) -> tuple[Key, ...]:
    """Return the keys of settings that a dataclass declares.

    Parameters
    ----------
    kind : type
        The dataclass.
    owner : str
        Where the plan holds it, dotted; empty for the plan itself, None if it has no such place.
    names : str
        The settings that are wanted, in this order; all of them if none is named.
    but : tuple of str
        Settings to be left out.
    """
    declared = declared_in(kind)
    return tuple(key_of(declared[name], owner) for name in names or declared if name not in but)


def key_of(setting: Setting, owner: str | None) -> Key:
    """Return the key of a setting; see :func:`keys_of`."""
    target = "" if owner is None else f"{owner}.{setting.name}".lstrip(".")
    required = setting.default is REQUIRED
    return Key(setting.name, setting.allowed, target, setting.meaning, required, setting)


def free_key(kind: type, name: str, owner: str, words: Kind | None = None) -> Key:
    """Return what stands for every area in a table of its own, such as a tolerance.

    Parameters
    ----------
    kind, owner
        As of :func:`keys_of`.
    name : str
        The setting, with a number per area.
    words : Kind, optional
        What its values can be, where that is more than a number.
    """
    declared = declared_in(kind)[name]
    assert isinstance(declared.allowed, PerArea)
    of_one = replace(declared, allowed=declared.allowed.each)
    target = f"{owner}.{name}"
    return Key(name, words or of_one.allowed, target, declared.meaning, setting=of_one)
