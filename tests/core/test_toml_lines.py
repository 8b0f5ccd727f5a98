"""On which line of a TOML text each key stands, checked against tomllib on random documents."""

from __future__ import annotations

import random
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from cuspwise.standalone_core.study.file.toml_lines import KeyPath, key_lines


def paths_of(value: Any, path: KeyPath = ()) -> Iterator[KeyPath]:
    """Every key path of a parsed document."""
    items = value.items() if isinstance(value, dict) else enumerate(value)
    for key, item in items:
        yield (*path, key)
        if isinstance(item, (dict, list)):
            yield from paths_of(item, (*path, key))


def test_lines_of_every_kind_of_key():
    text = '''# remark with "quotes" and [brackets]
title = "a # [x] \\" = b" # remark
'q.uo ted'."b\\u00e9".c = 3
x = [ # remark
  1, "]", # ]
  [2,
   3], {a = 1, b.c = [1, 2]},
]
m = """
[no]
k = 1 \\""" x
"""""
n = \'\'\'a
\'b\' [[z]]\'\'\'\'
d = 1979-05-27 07:32:00
[ groups . milled ]
scans=["a"]
[[arr]]
z=1
[arr.sub]
y=2
[[arr]]
z=2
[[arr.n]]
w=1
[arr.n.o]
p=1'''
    lines = key_lines(text)
    assert set(lines) == set(paths_of(tomllib.loads(text)))
    for path, line in {
        ("title",): 2,
        ("q.uo ted", "bé", "c"): 3,
        ("x",): 4,
        ("x", 1): 5,
        ("x", 2, 1): 7,
        ("x", 3, "b", "c", 1): 7,
        ("m",): 9,
        ("n",): 13,
        ("d",): 15,
        ("groups", "milled"): 16,
        ("groups", "milled", "scans", 0): 17,
        ("arr", 0, "sub", "y"): 21,
        ("arr", 1, "z"): 23,
        ("arr", 1, "n", 0, "o", "p"): 27,
    }.items():
        assert lines[path] == line, path


class RandomToml:
    """Writes random TOML, and remembers the line of each key as it writes it."""

    def __init__(self, seed: int) -> None:
        self.rng = random.Random(seed)
        self.text = ""
        self.lines: dict[KeyPath, int] = {}
        self.count = 0
        self.statements((), depth=0)
        for _ in range(self.rng.randrange(4)):
            self.table()

    def note(self, path: KeyPath) -> None:
        self.lines[path] = self.text.count("\n") + 1

    def fresh(self) -> tuple[str, str]:
        """A new key as parsed and as written."""
        self.count += 1
        n = self.count
        return self.rng.choice(
            [
                (f"k{n}", f"k{n}"),
                (f"{n}-_", f"{n}-_"),
                (f"a.b # {n}", f'"a.b # {n}"'),
                (f'"[{n}', f"'\"[{n}'"),
                (f"ü\\{n}", f'"\\u00fc\\\\{n}"'),
            ]
        )

    def gap(self) -> None:
        """Space, remarks and empty lines, as they may stand between list items."""
        self.text += self.rng.choice(["", " ", "\t", "\n", " # x ] } \" '\n", "\n\n  "])

    def statements(self, path: KeyPath, depth: int) -> None:
        for _ in range(self.rng.randrange(4)):
            self.text += self.rng.choice(["", "\n", "# [remark] = 'x\n", "  "])
            self.pair(path, depth)
            self.text += self.rng.choice(["\n", " # end ]\n", "  \n"])

    def pair(self, path: KeyPath, depth: int) -> None:
        for index in range(self.rng.choice([1, 1, 1, 2, 3])):
            parsed, written = self.fresh()
            path = (*path, parsed)
            self.note(path)
            self.text += ("" if index == 0 else self.rng.choice([".", " . "])) + written
        self.text += self.rng.choice(["=", " = "])
        self.value(path, depth)

    def value(self, path: KeyPath, depth: int) -> None:
        kind = self.rng.randrange(8 if depth < 3 else 6)
        if kind == 6:
            self.text += "["
            for index in range(self.rng.randrange(4)):
                self.gap()
                self.note((*path, index))
                self.value((*path, index), depth + 1)
                self.gap()
                self.text += ","
            self.gap()
            self.text += "]"
        elif kind == 7:
            self.text += "{"
            for index in range(self.rng.randrange(3)):
                self.text += ", " if index else " "
                self.pair(path, depth + 1)
            self.text += "}"
        else:
            self.text += self.rng.choice(
                [
                    "1",
                    "-1_000.5e-3",
                    "true",
                    "nan",
                    "1979-05-27 07:32:00.5-07:00",
                    "07:32:00",
                    '"a ] \\" # = \\\\"',
                    "'a ] # = \\'",
                    '""',
                    "''",
                    '"""\n[x]\ny = "" 1 \\\n   z\\""""""',
                    "'''\n[x] ' '' = # ''''",
                    '""""q" """',
                ]
            )

    def table(self) -> None:
        parsed, written = self.fresh()
        several = self.rng.random() < 0.4
        for index in range(self.rng.randrange(1, 4) if several else 1):
            path: KeyPath = (parsed, index) if several else (parsed,)
            if index == 0:
                self.note((parsed,))
            self.note(path)
            self.text += f"[[ {written} ]]\n" if several else f"[{written}] # [no]\n"
            self.statements(path, depth=0)
            if self.rng.random() < 0.5:
                inner, inside = self.fresh()
                self.note((*path, inner))
                self.text += f"[{written}.{inside}]\n"
                self.statements((*path, inner), depth=0)


@pytest.mark.parametrize("seed", range(400))
def test_lines_of_random_documents(seed: int):
    made = RandomToml(seed)
    parsed = tomllib.loads(made.text)
    assert set(made.lines) == set(paths_of(parsed))  # the maker itself is right
    assert key_lines(made.text) == made.lines
    assert key_lines(made.text.replace("\n", "\r\n")) == made.lines
