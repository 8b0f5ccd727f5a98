"""British spelling, in code, texts and tests alike."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = (".ci", "addon", "docs", "examples", "standalone_core", "tests", "tools")
SUFFIXES = {
    *("", ".cff", ".css", ".html", ".js", ".json", ".md", ".py", ".sh", ".svg", ".toml", ".txt"),
    *(".yaml", ".yml"),
}
NOT_OURS = ("LICENSE",)

AMERICAN = re.compile(
    r"""
    color|neighbor|behavior|favor|(?<![a-z])honor(?!ar)|labor(?!at)|vapor|humor|rumor|harbor
    |center|caliber|theater|(?<![a-z])(?:fiber|luster|specter|(?:milli|centi|micro|kilo)?(?:lit|met)er)s?(?![a-z])
    |(?<![a-z])gray|artifact|aluminum|sulfur|(?<![a-z])(?:mold|plow|aging|jewelry)
    |judgment|acknowledgment|defense|offense|license(?!d)|(?<![a-z])gotten|skillful|fulfill(?!ed|ing)|enroll(?!ed)
    |(?:label|model|travel|cancel|signal|level|total|channel|tunnel|fuel|marvel)(?:ed|ing)(?![a-z])
    |(?<![a-z])(?:toward|catalog|analog|dialog)(?![a-z])
    |[a-z]+(?:iz|yz)(?:e|es|ed|er|ers|ing|ation|ations)(?![a-z])
    """,
    re.VERBOSE | re.IGNORECASE,
)
BRITISH = re.compile(
    r"(?:re|over|max|eff|fig|font|label|title|sample|viewport|marker)?siz(?:e|es|ed|ing)|prizes?|seized?",
    re.IGNORECASE,
)
"""What looks American and is spelt so in Britain too."""

ALLOWED = (
    # Style sheets.
    r"(?:prefers-|print-|-)*color(?:-scheme|-adjust)?(?=\s*:|\"\scontent)",
    r"currentColor",
    r"text-align: center",
    # The site of the pages.
    r"--md-[\w-]*color[\w-]*",
    r"data-md-color-scheme",
    r"\bunrecognized_links(?=: )",
    # matplotlib: arguments, settings, a module.
    r"\b(?:edge|face)?color(?==)",
    r"\"(?:\w+\.)*(?:label|title|edge|face)?color\"(?=: )",
    r"\b(?:va|ha|loc)=\"center\"",
    r"\"middle\": \"center\"",
    r"matplotlib\.colors",
    # Blender and its shaders.
    r"\b(?:active_color(?:_name)?|color_(?:attributes|mode|srgb|type))\b",
    r"\b(?:BYTE|FLAT|UNIFORM|POLYLINE_FLAT|POLYLINE_UNIFORM)_COLOR\b",
    r"\bblf\.color\b",
    r"\binvoke_props_dialog\b",
    r"\"color\"(?=[:,])",
    r"\[\"Color\"\]",
    r"ShaderNodeVertexColor",
    r"\.center\b",
    r"\.normalized\(\)",
    # Python, its packages, its tools.
    r"--no-color-output",
    r"\bcapitalize\b",
    r"\binitializer(?==)",
    r"\bparametrize\b",
    r"\bcolorspacious\b",
    r"\bvertex_colors\b",
    r"\binvoke_props_dialog\b",
    r"\bscipy\.optimize\b|\boptimize(?=\.brentq|, special)",
    r"\bminimize\b",
    r"image\.quantize\(",
    r"\boptimize=True\b",
    r"center=\"median\"",
    r"\bstudentized_range",
    r"^license(?= = |: GPL)",
    r"\"license\"(?=[:\]])",  # the manifest's key
    r"\bLICENSE\b",
    r"\bLicense(?= (?:::|v3 ))",
    # Units as files spell them, and titles as their authors did.
    r"\"(?:milli|centi)?meters?\"",
    r"The generalization of",
    r"for a generalized ESD",
    r"A perceptual color space",
    r"Numerical Optimization",
    r"simulation of color",
    r"Color Universal Design",
    r"koeln\.de/color",
    r"CSS Color Module",
)


@cache
def texts() -> dict[str, str]:
    """All our texts by their path."""
    files = [file for file in ROOT.iterdir() if file.is_file()]
    for folder in FOLDERS:
        files += [file for file in (ROOT / folder).rglob("*") if file.is_file()]
    return {
        str(file.relative_to(ROOT)): file.read_text(encoding="utf-8")
        for file in sorted(files)
        if file.suffix in SUFFIXES
        and file.name not in (*NOT_OURS, Path(__file__).name)
        and not {"__pycache__", ".git"} & set(file.parts)
        and file.name != ".git"
    }


def american(text: str) -> list[str]:
    """Lines with an American spelling, and the word."""
    return [
        f"{number}: {found[0]}: {line.strip()}"
        for number, line in enumerate(text.splitlines(), start=1)
        if AMERICAN.search(line)
        for found in AMERICAN.finditer(without_allowed(line))
        if not BRITISH.fullmatch(found[0])
    ]


def without_allowed(line: str) -> str:
    """What remains of a line to be judged."""
    for pattern in ALLOWED:
        line = re.sub(pattern, "", line)
    return line


def test_all_that_is_ours_is_spelt_as_in_britain() -> None:
    found = [f"{name}:{line}" for name, text in texts().items() for line in american(text)]
    assert not found, "\n".join(found)


def test_it_looks_at_everything() -> None:
    names = set(texts())
    assert {"README.md", "pyproject.toml", ".ci/run", "standalone_core/check.py"} <= names
    assert {name.split("/")[0] for name in names} >= {"addon", "tests", "tools"}
    assert any(name.endswith("study.html") for name in names)


@pytest.mark.parametrize("pattern", ALLOWED)
def test_every_exception_is_needed(pattern: str) -> None:
    assert any(re.search(pattern, text, re.MULTILINE) for text in texts().values())


@pytest.mark.parametrize(
    "text",
    [
        "the color of a neighbor",
        "its gray center",
        "def colorize(values):",
        "analyze_study",
        "optimizer",
        "# normalized",
        "It was canceled 3 millimeters off.",
        "COLORS = 3",
        "toward mesial",
        "judgment",
    ],
)
def test_american_spellings_are_seen(text: str) -> None:
    assert american(text)


def test_british_spellings_pass() -> None:
    assert not american("resized, colour of a neighbour, centre, millimetre, licensed, laboratory")
    assert not american("fulfilled, towards, cancelled, analysed, the prize of its size, judgement")
