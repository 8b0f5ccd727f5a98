"""How the keys and tables of a study file are declared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..plan import StudyPlan
from .value_types import Kind

NOT_SET = StudyPlan(path=None, title="", question="", design=Path(), groups=())
"""A plan of nothing, which holds the default of every setting."""


@dataclass(frozen=True)
class Key:
    """A key of a study file.

    Attributes
    ----------
    name : str
    kind : Kind
        What its value can be.
    target : str
        The attribute of a ``StudyPlan`` that it sets, dotted; empty if it takes more than that.
    help : str
        What it means, in a sentence.
    required : bool
    """

    name: str
    kind: Kind
    target: str
    help: str
    required: bool = False

    @property
    def default(self) -> Any:
        """The value without the key; None if there is none."""
        value: Any = NOT_SET if self.target else None
        for part in self.target.split(".") if self.target else ():
            value = value[part] if isinstance(value, Mapping) else getattr(value, part)
        return value


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
    free : Kind or None
        What the values of keys of the user's choice can be; None if there are none.
    target : str
        The mapping of a ``StudyPlan`` that such keys go to, dotted.
    """

    name: str
    help: str
    keys: tuple[Key, ...] = ()
    free: Kind | None = None
    target: str = ""

    def key(self, name: str) -> Key | None:
        """Return a key by name, if it is known."""
        return next((key for key in self.keys if key.name == name), None)
