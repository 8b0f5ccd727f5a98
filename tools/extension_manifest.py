"""The rules of an extension's manifest, as Blender's manual states them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from pathlib import PurePosixPath
from typing import Any

SCHEMA = "1.0.0"
TYPES = ("add-on", "theme")
PLATFORMS = ("windows-x64", "windows-arm64", "macos-x64", "macos-arm64", "linux-x64")
PERMISSIONS = ("files", "network", "clipboard", "camera", "microphone")
MAX_LETTERS = 64
OLDEST = (4, 2, 0)

_ID = re.compile(r"[A-Za-z][A-Za-z0-9]*(?:_[A-Za-z0-9]+)*")
_NUMBER = r"(?:0|[1-9]\d*)"
_VERSION = re.compile(rf"{_NUMBER}\.{_NUMBER}\.{_NUMBER}(?:-[0-9A-Za-z.-]+)?(?:\+[0-9A-Za-z.-]+)?")
_BLENDER = re.compile(r"\d+\.\d+\.\d+")
_LICENCE = re.compile(r"SPDX:[A-Za-z0-9.+-]+")
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f]")

Rule = Callable[[Any], str]
"""Says what is wrong with a value; nothing if it is right."""


def problems_of(manifest: dict[str, Any], names: Iterable[str]) -> list[str]:
    """Return what is wrong with a manifest for an archive of these names, each in one sentence."""
    found = [f"{key} is missing." for key in REQUIRED if key not in manifest]
    for key, value in manifest.items():
        rule = {**REQUIRED, **OPTIONAL}.get(key)
        problem = rule(value) if rule else "there is no such key."
        if problem:
            found.append(f"{key}: {problem}")
    return found or _lacking(manifest, set(names))


def _lacking(manifest: dict[str, Any], names: set[str]) -> list[str]:
    """Return what the archive lacks, or holds unnamed."""
    listed = {wheel.removeprefix("./") for wheel in manifest.get("wheels", [])}
    held = {name for name in names if name.endswith(".whl")}
    found = [f"wheels: {name} is not there." for name in sorted(listed - held)]
    found += [f"wheels: {name} is not listed." for name in sorted(held - listed)]
    if manifest["type"] == "add-on" and "__init__.py" not in names:
        found.append("__init__.py is missing beside it.")
    return found


def _text(value: Any) -> str:
    if not isinstance(value, str) or not value.strip():
        return "a text is expected."
    if value != value.strip() or _CONTROL.search(value):
        return "no blanks at its ends and no control characters are allowed."
    return ""


def _short(value: Any) -> str:
    if problem := _text(value):
        return problem
    if len(value) > MAX_LETTERS:
        return f"it has {len(value)} letters; {MAX_LETTERS} are allowed."
    if not (value[-1].isalnum() or value[-1] in ")]}"):
        return "it must not end with a mark of punctuation."
    return ""


def _like(pattern: re.Pattern[str], example: str) -> Rule:
    def rule(value: Any) -> str:
        fits = isinstance(value, str) and pattern.fullmatch(value)
        return "" if fits else f"something like {example} is expected."

    return rule


def _one_of(allowed: tuple[str, ...]) -> Rule:
    return lambda value: "" if value in allowed else f"one of {', '.join(allowed)} is expected."


def _list_of(rule: Rule) -> Rule:
    def each(value: Any) -> str:
        if not isinstance(value, list) or not value:
            return "a list that is not empty is expected."
        if len(set(map(str, value))) < len(value):
            return "it lists something twice."
        return next((f"{one}: {problem}" for one in value if (problem := rule(one))), "")

    return each


def _blender(value: Any) -> str:
    if problem := _like(_BLENDER, "4.2.0")(value):
        return problem
    old = tuple(map(int, value.split("."))) < OLDEST
    return "extensions begin with Blender 4.2.0." if old else ""


def _copyright(value: Any) -> str:
    return _like(re.compile(r"\d+(?:-\d+)? \S.*"), "2026 A Name")(value)


def _permissions(value: Any) -> str:
    if not isinstance(value, dict):
        return "a table is expected."
    for key, reason in value.items():
        if problem := _one_of(PERMISSIONS)(key) or _short(reason):
            return f"{key}: {problem}"
    return ""


def _wheel(value: Any) -> str:
    if problem := _text(value):
        return problem
    if "\\" in value or '"' in value or not value.startswith("./"):
        return "a path with / is expected that begins with ./."
    parts = PurePosixPath(value).name.removesuffix(".whl").split("-")
    named = value.endswith(".whl") and len(parts) in (5, 6)
    return "" if named else "the name of a wheel is expected."


def _build(value: Any) -> str:
    if not isinstance(value, dict):
        return "a table is expected."
    if others := set(value) - {"paths_exclude_pattern"}:
        return f"{', '.join(sorted(others))}: not used here."
    return _list_of(_text)(value.get("paths_exclude_pattern", ["/.*"]))


REQUIRED: dict[str, Rule] = {
    "schema_version": _one_of((SCHEMA,)),
    "id": _like(_ID, "my_extension"),
    "version": _like(_VERSION, "1.2.3"),
    "name": _text,
    "tagline": _short,
    "maintainer": _text,
    "type": _one_of(TYPES),
    "blender_version_min": _blender,
    "license": _list_of(_like(_LICENCE, "SPDX:GPL-3.0-or-later")),
}
OPTIONAL: dict[str, Rule] = {
    "blender_version_max": _blender,
    "website": _text,
    "copyright": _list_of(_copyright),
    "tags": _list_of(_text),
    "platforms": _list_of(_one_of(PLATFORMS)),
    "wheels": _list_of(_wheel),
    "permissions": _permissions,
    "build": _build,
}
