"""Every choice of a scene either makes results out of date (or has them judged anew) or changes none."""

from __future__ import annotations

import json
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest
from calls import call

HARMLESS: set[str] = set()
REFUSED_ONLY = "force"


def leaves(owner: Any, path: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Every choice of a group and of those in it: its path, its owner, its property."""
    for prop in owner.bl_rna.properties:
        if prop.identifier in ("rna_type", "name") or prop.is_hidden or prop.is_readonly:
            if prop.type != "POINTER" or prop.identifier == "rna_type":
                continue
        value = getattr(owner, prop.identifier)
        where = f"{path}{prop.identifier}"
        if prop.type == "POINTER":
            if hasattr(value, "bl_rna") and not hasattr(value, "users"):
                yield from leaves(value, f"{where}.")
        elif prop.type != "COLLECTION":
            yield where, owner, prop


def other(owner: Any, prop: Any) -> Any:
    """Another value than the present one; the present one where there is none."""
    now = getattr(owner, prop.identifier)
    if prop.type == "BOOLEAN":
        return not now
    if prop.type in ("INT", "FLOAT"):
        if prop.array_length:
            return [0.0, 1.0, 0.0]
        step = 1 if prop.type == "INT" else 0.25 * min(abs(now), prop.hard_max - now) or 1.0
        return now + step if now + step <= prop.hard_max else now - abs(step)
    if prop.type == "ENUM":
        names = [item.identifier for item in prop.enum_items]
        if prop.is_enum_flag:
            return set(names) - now or {names[0]}
        return next((name for name in names if name != now), now)
    return f"{now}x"


def chosen(case: SimpleNamespace) -> dict[str, Any]:
    """What each kind of result is made with, by kind."""
    part, settings = case.part, case.settings
    made = {
        "check": part("addon.check.scene_choices").choices_of(settings),
        "study": part("addon.study.study_scene").choices_of(settings),
        "fit": part("addon.fit.fit_settings").choices_of(settings),
        "walls": part("addon.fit.walls").choices_of(settings),
        "contacts": part("addon.fit.contacts").choices_of(settings),
        "causes": part("addon.causes.production").choices_of(case.scene, case.scan),
    }
    return {kind: json.loads(json.dumps(choices)) for kind, choices in made.items()}


def test_x(checked: SimpleNamespace) -> None:
    for path, owner, prop in leaves(checked.settings):
        before, value = chosen(checked), getattr(owner, prop.identifier)
        value = set(value) if isinstance(value, set) else value
        try:
            setattr(owner, prop.identifier, other(owner, prop))
        except Exception as e:
            print(path, "ERR", e, prop.type); continue
        after = chosen(checked)
        kinds = [k for k in before if before[k] != after[k]]
        keys = [k for k in after["check"] if before["check"].get(k) != after["check"][k]]
        print(path, prop.type, kinds, keys, checked.scan.cuspwise.state, checked.scan.cuspwise.state_reason)
        setattr(owner, prop.identifier, value)
        if checked.scan.cuspwise.state != "CURRENT": print("   STUCK", checked.scan.cuspwise.state)
