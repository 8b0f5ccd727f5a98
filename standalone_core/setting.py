"""A setting is declared once: name, default, limits, unit, meaning.

A dataclass of settings declares its fields with :func:`setting` and calls :func:`check_fields`
when one is made. The range check, the keys of a study file, the options of the command line,
Blender's properties and the table in the documentation all derive from the declaration::

    @dataclass(frozen=True)
    class BandSettings:
        band_mm: float = setting(1.0, Number(), "Width of the band, mm.", plausible=(0.05, 20.0))

        def __post_init__(self) -> None:
            check_fields(self)

The unit is the end of the name, as everywhere. A length that is mistyped a thousandfold (mm for
µm, or the reverse) lies beyond what is plausible: :func:`refuse_implausible`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from types import MappingProxyType
from typing import Any

from .allowed import Allowed, NotAllowed, Number, PerArea, shown
from .errors import SettingError

UNITS: Mapping[str, str] = MappingProxyType(
    {"_mm": "mm", "_um": "µm", "_mm2": "mm²", "_deg": "degrees", "_permille": "‰"}
)
"""Units by the end of a setting's name."""

THOUSAND = 1000.0
REQUIRED = object()
"""Stands for the default of a setting that must be given."""

_DECLARED = "setting"
_OTHER_LENGTH = {"mm": ("µm", THOUSAND), "µm": ("mm", 1.0 / THOUSAND)}


class ImplausibleError(SettingError):
    """A setting that is allowed and hardly meant."""


@dataclass(frozen=True)
class Setting:
    """What is declared of a setting.

    Attributes
    ----------
    name : str
        On its whole way: of the dataclass's field, the study file's key, Blender's property; the
        option's without its unit.
    default : object
    allowed : Allowed
        What its value can be; None too where that is the default.
    meaning : str
        A sentence or two, for study files, help and tooltips.
    more : str
        What a tooltip and the documentation say beyond that.
    title : str
        For a panel, without the unit.
    plausible : (2,) tuple of float, or None
        Least and greatest number that somebody would mean; beyond them only with ``force``.
    """

    name: str
    default: Any
    allowed: Allowed
    meaning: str
    more: str = ""
    title: str = ""
    plausible: tuple[float, float] | None = None

    @property
    def unit(self) -> str:
        """The unit of its number; empty if it has none."""
        return UNITS.get(f"_{self.name.rpartition('_')[2]}", "")

    @property
    def stem(self) -> str:
        """The name without its unit."""
        return self.name.rpartition("_")[0] if self.unit else self.name

    @property
    def label(self) -> str:
        """The name for a panel, with the unit."""
        words = self.title or self.stem.replace("_", " ").title()
        return f"{words} ({self.unit})" if self.unit else words

    @property
    def number(self) -> Number | None:
        """The limits of its number, or of that of each area; None if it is no number."""
        if isinstance(self.allowed, PerArea):
            return self.allowed.each
        return self.allowed if isinstance(self.allowed, Number) else None

    def checked(self, value: Any) -> Any:
        """Return a value as settings hold it.

        Raises
        ------
        NotAllowed
            It is not allowed; what was probably meant is said where it is known.
        """
        if value is None and self.default is None:
            return None
        return self._with_suggestion(self.allowed.checked, value)

    def of_text(self, text: str) -> Any:
        """Return the value that was typed, as :meth:`checked` does."""
        return self._with_suggestion(self.allowed.of_text, text)

    def implausible(self, value: Any) -> NotAllowed | None:
        """Say why an allowed value is hardly meant; None if it may be.

        Parameters
        ----------
        value : object
            A number, or a mapping with one per area. 0 switches off, and is always meant.
        """
        if self.plausible is None:
            return None
        if isinstance(value, Mapping):
            found = ((area, self.implausible(number)) for area, number in value.items())
            area, problem = next((pair for pair in found if pair[1]), ("", None))
            return problem and NotAllowed(problem.reason, problem.remedy, area)
        low, high = self.plausible
        if not _is_number(value) or value == 0 or low <= value <= high:
            return None
        unit = f" {self.unit}" if self.unit else ""
        return NotAllowed(
            f"{shown(value)}{unit} is hardly meant: {low:g} to {high:g}{unit} is plausible.",
            self._suggestion(value) or f"Give {low:g} to {high:g}.",
        )

    def _with_suggestion(self, read: Callable[[Any], Any], value: Any) -> Any:
        try:
            return read(value)
        except NotAllowed as problem:
            number = _as_number(value)
            hint = "" if number is None else self._suggestion(number)
            if not hint:
                raise
            raise NotAllowed(problem.reason, f"{hint} {problem.remedy}", problem.at) from None

    def _suggestion(self, value: float) -> str:
        """Ask for the number that a slip of a thousand makes plausible; empty if none does."""
        number = self.number
        if self.plausible is None or number is None:
            return ""
        low, high = self.plausible
        unit, factor = _OTHER_LENGTH.get(self.unit, ("", 0.0))
        for slip in (THOUSAND, 1.0 / THOUSAND):
            intended = float(f"{value * slip:.12g}")
            if low <= intended <= high and number.holds(intended):
                # 0.015 for a setting in µm is a number of mm; 15000 is no number of nm.
                told = f", which is {shown(value)} {unit}" if factor and slip == 1 / factor else ""
                return f"Did you mean {intended:g}{told}?"
        return ""


@dataclass(frozen=True)
class Rule:
    """What several settings of a dataclass must keep to together.

    Attributes
    ----------
    names : tuple of str
        The settings that it ties together; the first one is named.
    broken : callable
        From the settings to the reason if they break the rule, or to an empty text.
    remedy : str
    """

    names: tuple[str, ...]
    broken: Callable[[Any], str]
    remedy: str


def not_above(low: str, high: str) -> Rule:
    """Return the rule that one setting is at most another."""

    def broken(settings: Any) -> str:
        small, great = getattr(settings, low), getattr(settings, high)
        return "" if small <= great else f"{small:g} is above {high}, which is {great:g}."

    return Rule((low, high), broken, f"Give at most what {high} is.")


def setting(
    default: Any,
    allowed: Allowed,
    meaning: str,
    *,
    more: str = "",
    title: str = "",
    plausible: tuple[float, float] | None = None,
) -> Any:
    """Declare a field of a dataclass as a setting; see :class:`Setting` for what is what.

    A default that can be changed, such as a mapping, is copied by the check.
    """
    declared = Setting("", default, allowed, meaning, more, title, plausible)
    metadata = {_DECLARED: declared}
    if default is REQUIRED:
        return field(metadata=metadata)
    if default.__hash__ is None or isinstance(default, Mapping):
        return field(default_factory=lambda: default, metadata=metadata)
    return field(default=default, metadata=metadata)


def declared_in(kind: type) -> dict[str, Setting]:
    """Return the settings that a dataclass declares, by name, in their order."""
    return {
        one.name: replace(one.metadata[_DECLARED], name=one.name)
        for one in fields(kind)
        if _DECLARED in one.metadata
    }


def check_fields(settings: Any, rules: tuple[Rule, ...] = (), of: str = "") -> None:
    """Check all declared fields of a dataclass that was just made, and what ties them together.

    Parameters
    ----------
    settings : dataclass
    rules : tuple of Rule
    of : str
        The name of the thing that the settings are of, if there are several.

    Raises
    ------
    SettingError
        The first value that is not allowed.
    """
    declared = declared_in(type(settings))
    for name, one in declared.items():
        try:
            object.__setattr__(settings, name, one.checked(getattr(settings, name)))
        except NotAllowed as problem:
            raise setting_error(f"{name} of {of}" if of else name, problem) from None
    for rule in rules:
        reason = rule.broken(settings)
        if reason:
            # A slip of a thousand breaks rules too, and is then what must be told.
            for name in set(rule.names) & set(declared):
                doubt = declared[name].implausible(getattr(settings, name))
                if doubt is not None:
                    raise ImplausibleError(doubt.reason, subject=name, remedy=doubt.remedy)
            raise SettingError(reason, subject=rule.names[0], remedy=rule.remedy)


def refuse_implausible(
    settings: Any, switch: str = "force=True", *, by_label: bool = False
) -> None:
    """Refuse a declared value that is hardly meant, in a dataclass and in all that it holds.

    Parameters
    ----------
    settings : dataclass
    switch : str
        What makes the reader's way in take it all the same.
    by_label : bool
        Tell settings by their labels, for readers who see no names.

    Raises
    ------
    ImplausibleError
        With the value that was probably meant.
    """
    for name, declared, value in all_settings(settings):
        problem = declared.implausible(value)
        if problem is not None:
            remedy = f"{problem.remedy} {taken_with(switch)}"
            subject = _subject(declared.label if by_label else name, problem)
            raise ImplausibleError(problem.reason, subject=subject, remedy=remedy)


def taken_with(switch: str) -> str:
    """Say what takes an implausible value all the same."""
    return f"{switch} takes it as it is."


def all_settings(settings: Any) -> Iterator[tuple[str, Setting, Any]]:
    """Return name, declaration and value of every setting in a dataclass and in those it holds."""
    declared = declared_in(type(settings))
    for one in fields(settings):
        value = getattr(settings, one.name)
        if one.name in declared:
            yield one.name, declared[one.name], value
        for inner in value if isinstance(value, tuple) else (value,):
            if is_dataclass(inner) and not isinstance(inner, type):
                yield from all_settings(inner)


def setting_error(name: str, problem: NotAllowed) -> SettingError:
    """Return the error of a setting that has a value which is not allowed."""
    return SettingError(problem.reason, subject=_subject(name, problem), remedy=problem.remedy)


def changed(owner: Any, changes: Mapping[str, Any]) -> Any:
    """Return a copy of a dataclass or mapping with parts of it changed.

    Parameters
    ----------
    owner : dataclass or mapping
    changes : mapping of str to object
        New values by dotted attribute: ``superimpose.max_distance_mm``.
    """
    tree: dict[str, Any] = {}
    inner: dict[str, dict[str, Any]] = {}
    for target, value in changes.items():
        first, _, rest = target.partition(".")
        if rest:
            inner.setdefault(first, {})[rest] = value
        else:
            tree[first] = value
    whole = isinstance(owner, Mapping)
    for name, parts in inner.items():
        held = tree.get(name, owner[name] if whole else getattr(owner, name))
        tree[name] = changed(held, parts)
    return {**owner, **tree} if whole else replace(owner, **tree)


def _subject(name: str, problem: NotAllowed) -> str:
    return f"{name} of {problem.at}" if isinstance(problem.at, str) and problem.at else name


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _as_number(value: Any) -> float | None:
    """Return a number, also one that was typed; None if it is none."""
    try:
        number = float(value) if isinstance(value, (int, float, str)) else math.nan
    except (ValueError, OverflowError):
        return None
    return None if isinstance(value, bool) or not math.isfinite(number) else number
