"""JSON Schemas of result objects: from their types, and the texts of their docstrings."""

from __future__ import annotations

import ast
import inspect
import re
import sys
import typing
from collections.abc import Mapping, Sequence
from dataclasses import Field, fields, is_dataclass
from functools import cache
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, TypeAlias

import numpy as np
from cuspwise.standalone_core.setting import declared_in

Schema: TypeAlias = dict[str, Any]

TEXT: Schema = {"type": "string"}
TEXTS: Schema = {"type": "array", "items": TEXT}
YES_OR_NO: Schema = {"type": "boolean"}
COUNT: Schema = {"type": "integer", "minimum": 0}
NUMBER: Schema = {"type": "number"}
NUMBER_OR_NULL: Schema = {"type": ["number", "null"]}
PLACE: Schema = {"type": "array", "items": NUMBER, "minItems": 3, "maxItems": 3}
MATRIX: Schema = {
    "type": "array",
    "items": {"type": "array", "items": NUMBER, "minItems": 4, "maxItems": 4},
    "minItems": 4,
    "maxItems": 4,
}

_UNITS = {"mm": "mm", "mm2": "mm²", "mm3": "mm³", "um": "µm", "deg": "degrees"}

NUMBERS: Schema = {
    "description": "Numbers, in as many dimensions as the array has.",
    "type": "array",
    "items": {"anyOf": [NUMBER_OR_NULL, YES_OR_NO, {"$ref": "#/$defs/numbers"}]},
}

_SIMPLE: Mapping[Any, Schema] = {
    str: TEXT,
    Path: TEXT,
    bool: YES_OR_NO,
    int: {"type": "integer"},
    float: NUMBER_OR_NULL,  # what is not a finite number is null
    NoneType: {"type": "null"},
    Any: {},
}


def described(schema: Schema, text: str) -> Schema:
    """Return a schema with what it means."""
    return {"description": text, **schema}


def or_null(schema: Schema) -> Schema:
    """Return a schema that also takes null."""
    return {"anyOf": [schema, {"type": "null"}]}


def array_of(schema: Schema) -> Schema:
    """Return the schema of a list."""
    return {"type": "array", "items": schema}


def map_of(schema: Schema) -> Schema:
    """Return the schema of an object whose keys are names, such as those of areas."""
    return {"type": "object", "additionalProperties": schema}


def record(properties: Mapping[str, Schema], optional: Sequence[str] = ()) -> Schema:
    """Return the schema of an object with exactly these keys; all but the optional ones needed."""
    return {
        "type": "object",
        "properties": dict(properties),
        "required": [name for name in properties if name not in optional],
        "additionalProperties": False,
    }


class Definitions:
    """Schemas of types; those of dataclasses are kept as definitions that others refer to."""

    def __init__(self) -> None:
        self.found: dict[str, Schema] = {}
        self.written: Mapping[type, Schema] = {}  # what has names of its own in files
        self._kinds: dict[str, type] = {}

    def of(self, kind: Any) -> Schema:
        """Return the schema of a type as it is written by ``records.plain``."""
        if kind in _SIMPLE:
            return dict(_SIMPLE[kind])
        if inspect.isclass(kind) and is_dataclass(kind):
            return self.reference(kind)
        origin, parts = typing.get_origin(kind), typing.get_args(kind)
        if origin is typing.Literal:
            return {"enum": list(parts)}
        if origin in (typing.Union, UnionType):
            return self._union(parts)
        return self._holding(kind, origin, parts)

    def _holding(self, kind: Any, origin: Any, parts: Sequence[Any]) -> Schema:
        """Return the schema of what holds several values."""
        if origin is np.ndarray:
            self.found["numbers"] = NUMBERS
            return {"$ref": "#/$defs/numbers"}
        if origin is tuple and parts[-1] is not Ellipsis:
            items = [self.of(part) for part in parts]
            exactly = {"items": False, "minItems": len(items)}
            return {"type": "array", "prefixItems": items, **exactly}
        if inspect.isclass(origin) and issubclass(origin, Mapping):
            return map_of(self.of(parts[1]))
        if inspect.isclass(origin) and issubclass(origin, Sequence):
            return array_of(self.of(parts[0]))
        raise TypeError(f"no schema of {kind}")

    def reference(self, kind: type) -> Schema:
        """Return a reference to a dataclass, which becomes a definition."""
        name = kind.__name__
        if self._kinds.setdefault(name, kind) is not kind:
            raise TypeError(f"two classes are called {name}")
        if name not in self.found:
            self.found[name] = {}  # before its parts, which may refer to it
            text = inspect.cleandoc(kind.__doc__ or "").split("\n\n")[0]
            own = self.written.get(kind) or record(self.properties(kind))
            self.found[name] = described(own, _one_line(text))
        return {"$ref": f"#/$defs/{name}"}

    def properties(self, kind: type, *but: str) -> dict[str, Schema]:
        """Return the schemas of a dataclass's fields, by name, without some."""
        texts, hints = _texts(kind), _hints(kind)
        return {
            one.name: described(self.of(hints[one.name]), _text(kind, one, texts))
            for one in fields(kind)
            if one.name not in but
        }

    def _union(self, parts: Sequence[Any]) -> Schema:
        some = [self.of(part) for part in parts]
        if len(some) == 2 and {"type": "null"} in some and NUMBER_OR_NULL in some:
            return dict(NUMBER_OR_NULL)
        return {"anyOf": some}


def _text(kind: type, one: Field[Any], texts: Mapping[str, str]) -> str:
    declared = declared_in(kind).get(one.name)
    text = texts.get(one.name) or (declared.meaning if declared else "")
    if not text:
        raise TypeError(f"{kind.__name__}.{one.name} has no description")
    return text


@cache
def _texts(kind: type) -> dict[str, str]:
    """Return what a NumPy docstring says of each attribute; its name in words if nothing."""
    doc = inspect.cleandoc(kind.__doc__ or "")
    sections = re.split(r"^(\w+)\n-+\n", doc, flags=re.MULTILINE)
    named = dict(zip(sections[1::2], sections[2::2], strict=True))
    part = named.get("Attributes", "") + "\n" + named.get("Parameters", "")
    found = {}
    for head, text in re.findall(r"^(\S[^\n]*)\n?((?:[ \t]+[^\n]*\n?|\n(?=[ \t]))*)", part, re.M):
        names = head.partition(" : ")[0]
        for name in names.split(", "):
            found[name] = _one_line(text) or f"{_words(name)}."
    return found


def _words(name: str) -> str:
    """Return a name as words, its unit behind a comma."""
    stem, _, last = name.rpartition("_")
    words = f"{stem}, {_UNITS[last]}" if last in _UNITS else name
    words = words.replace("_", " ")
    return words[0].upper() + words[1:]


def _one_line(text: str) -> str:
    """Return a docstring's text without its line breaks and roles."""
    plain = re.sub(r":\w+:`~?(?:[\w.]*\.)?(\w+)`", r"\1", " ".join(text.split()))
    return plain.replace("``", "")


def _hints(kind: type) -> dict[str, Any]:
    """Return the types of a dataclass's fields, also those imported for type checkers alone."""
    names: dict[str, Any] = {}
    for base in kind.__mro__[:-1]:
        module = sys.modules[base.__module__]
        for node in ast.parse(inspect.getsource(module)).body:
            if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
                code = compile(ast.Module(node.body, []), module.__name__, "exec")
                exec(code, dict(vars(module)), names)
    return typing.get_type_hints(kind, localns=names)
