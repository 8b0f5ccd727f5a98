"""The ``study.json`` of an earlier study: what is not one, or is damaged, is told with its way."""

from __future__ import annotations

import copy
import json
import os
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cuspwise
import pytest
from cuspwise.standalone_core.study.file import json_parts
from cuspwise.standalone_core.study.file.mistakes import StudyFileError
from made.earlier_studies import document_of, scanned, write_document
from made.study_runs import study
from made.tiers import slow

VALUES = {"a": {"whole": [9.0, 10.0, 12.0], "margin": [14.0, 13.0, 15.0]}}
REMEDY = "Give the study.json that 'cuspwise study' wrote"


@pytest.fixture(scope="module")
def sound() -> dict[str, Any]:
    return document_of(scanned(study(VALUES), "earlier"))


def told(file: Path) -> str:
    with pytest.raises(StudyFileError) as caught:
        cuspwise.read_earlier_study(file)
    (line,) = caught.value.lines
    return line


def told_of_text(folder: Path, text: str | bytes) -> str:
    file = folder / "study.json"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return told(file)


def test_a_file_or_its_folder_is_read(sound, tmp_path: Path):
    file = write_document(sound, tmp_path)
    for named in (file, str(file), tmp_path):
        found = cuspwise.read_earlier_study(named)
        assert found.path == file
        assert [crown.name for crown in found.crowns_of("a")] == ["a_0", "a_1", "a_2"]
        assert found.groups["a"].title == "A"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "It is no JSON, or damaged"),
        ('{"schema": 2,\n\n "plan"', "study.json:3: It is no JSON, or damaged"),
        (b"\xff\xfe\x00", "It is not UTF-8 text."),
        ("[]", "It holds no study."),
        ("7", "It holds no study."),
        ('{"schema": 2}', "It holds no study."),
        ('{"schema": 2, "plan": NaN, "crowns": []}', "NaN is no number"),
        ('{"schema": 2, "plan": -Infinity, "crowns": []}', "-Infinity is no number"),
        ("[" * 100_000, "(too deep)"),
        ('{"schema": ' + "9" * 5000 + "}", "It is no JSON, or damaged"),
        ('{"schema": true, "plan": 1, "crowns": 1}', "schema: It is true or false, not a whole"),
        ('{"schema": 2.0, "plan": 1, "crowns": 1}', "schema: It is a number, not a whole number."),
    ],
)
def test_what_is_no_study_is_told(tmp_path: Path, text: str | bytes, words: str):
    line = told_of_text(tmp_path, text)
    assert words in line
    assert REMEDY in line


def test_another_version_is_told_with_its_remedy(sound, tmp_path: Path):
    for version, words in ((1, "It is version 1; this Cuspwise reads 3. Run the earlier study"),):
        assert words in told(write_document({**sound, "schema": version}, tmp_path))
    line = told(write_document({**sound, "schema": 4}, tmp_path))
    assert "It is version 4, which a later Cuspwise wrote; this one reads 3." in line
    later = {**sound, "measured_on": {**sound["measured_on"], "schema": 2}}
    assert "measured_on.schema: It is version 2" in told(write_document(later, tmp_path))


def test_a_file_of_before_says_what_it_does_not_hold(sound, tmp_path: Path):
    old = {key: value for key, value in sound.items() if key != "measured_on"}
    line = told(write_document(old, tmp_path))
    assert "written by an earlier version of Cuspwise" in line
    assert "does not say on which surface and areas it was measured" in line
    assert "Run the earlier study anew with this version of Cuspwise." in line


def at(document: dict[str, Any], *way: str | int) -> Any:
    for part in way:
        document = document[part]
    return document


ROW = ("crowns", 1, "measures", 0)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda d: d["crowns"][1].pop("sha256"), "crowns[1]: sha256 is missing."),
        (lambda d: d["crowns"][1].update(group=3), "crowns[1].group: It is a number, not a text."),
        (lambda d: d["crowns"][1].update(group="z"), "crowns[1]: There is no group z."),
        (
            lambda d: d["crowns"][1].update(name="a_0"),
            "crowns[1]: There are two crowns called a_0.",
        ),
        (
            lambda d: at(d, *ROW).update(rms_um="12"),
            "crowns[1].measures[0].rms_um: It is a text, not a number.",
        ),
        (
            lambda d: at(d, *ROW).update(rms_um=True),
            "crowns[1].measures[0].rms_um: It is true or false, not a number.",
        ),
        (
            lambda d: at(d, *ROW).update(rms_um=10**400),
            "crowns[1].measures[0].rms_um: It is not a finite number.",
        ),
        (
            lambda d: at(d, *ROW).update(rms_um=1e308),
            "crowns[1].measures[0].rms_um: 1e+308 is nothing that can be measured of a crown.",
        ),
        (lambda d: at(d, *ROW).pop("mean_um"), "crowns[1].measures[0]: mean_um is missing."),
        (
            lambda d: at(d, *ROW).update(area="margin"),
            "crowns[1].measures[1]: The area margin is there twice.",
        ),
        (
            lambda d: at(d, "crowns", 0, "verdicts", 0).update(verdict="perfect"),
            "crowns[0].verdicts[0].verdict: 'perfect' is no verdict.",
        ),
        (lambda d: d.update(crowns={}), "crowns: It is an object, not a list."),
        (lambda d: d["plan"].update(check=None), "plan.check: It is nothing, not an object."),
        (lambda d: d["measured_on"].pop("points"), "measured_on: points is missing."),
        (lambda d: d["plan"]["groups"].append(3), "plan.groups[1]: It is a number, not an object."),
    ],
)
def test_a_damaged_part_is_told_with_the_way_to_it(
    sound, tmp_path: Path, change: Callable[[dict[str, Any]], object], words: str
):
    document = copy.deepcopy(sound)
    change(document)
    line = told(write_document(document, tmp_path))
    assert f"study.json: {words} {REMEDY}" in line


def test_an_infinite_number_is_told(sound, tmp_path: Path):
    text = json.dumps(sound).replace('"rms_um": 11.25', '"rms_um": 1e999', 1)
    assert "1e999" in text
    assert "rms_um: It is not a finite number." in told_of_text(tmp_path, text)


def test_files_that_cannot_be_read_are_told(tmp_path: Path):
    assert "It cannot be read (No such file" in told(tmp_path / "nothing.json")
    assert "It cannot be read" in told(tmp_path / "no\0name.json")
    assert "It cannot be read" in told(tmp_path / ("x" * 5000))
    folder = tmp_path / "empty"
    folder.mkdir()
    assert "study.json: It cannot be read" in told(folder)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes here")
def test_a_pipe_is_no_file_and_is_not_waited_for(tmp_path: Path):
    os.mkfifo(tmp_path / "study.json")
    assert "It is no file." in told(tmp_path / "study.json")


def test_a_huge_file_is_not_read(tmp_path: Path):
    file = tmp_path / "study.json"
    with file.open("wb") as stream:
        stream.truncate(json_parts.MOST_BYTES + 1)  # sparse: it takes no room
    line = told(file)
    assert "It holds 300.0 MB; more than 300.0 MB is not read." in line
    assert "a copy without its part pairs will do" in line


def test_a_copy_without_pairs_does(sound, tmp_path: Path):
    short = {key: value for key, value in sound.items() if key not in ("pairs", "analysis")}
    assert cuspwise.read_earlier_study(write_document(short, tmp_path)).title == "A study"


def test_texts_cannot_steer_a_terminal(sound, tmp_path: Path):
    document = copy.deepcopy(sound)
    document["plan"]["title"] = "Red \x1b[31m\x07 \ud800 title"
    title = cuspwise.read_earlier_study(write_document(document, tmp_path)).title
    assert title.isprintable()
    title.encode("utf-8")


def parts(value: Any, way: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [way] if way else []
    if isinstance(value, dict | list):
        items = value.items() if isinstance(value, dict) else enumerate(value)
        found += [inner for key, item in items for inner in parts(item, (*way, key))]
    return found


def refusal(file: Path) -> StudyFileError | None:
    """The error with which a file is refused; None if it is read."""
    try:
        cuspwise.read_earlier_study(file)
    except StudyFileError as error:
        return error
    return None


@pytest.mark.parametrize("seed", [1, slow(2), slow(3), slow(4)])
def test_no_damage_is_a_traceback(sound, tmp_path: Path, seed: int):
    """Any part replaced by anything, or taken out: it is read, or refused in one line."""
    rng = random.Random(seed)
    core = {key: value for key, value in sound.items() if key not in ("pairs", "analysis", "parts")}
    ways = parts(core)
    refused = 0
    for _ in range(250):
        document = copy.deepcopy(core)
        *above, last = rng.choice(ways)
        owner = at(document, *above)
        if rng.random() < 0.3:
            del owner[last]
        else:
            owner[last] = rng.choice(
                [None, True, -1, 1e308, 10**400, "", "x", [], {}, [[]], {"": 1}]
            )
        file = write_document(document, tmp_path)
        error = refusal(file)
        if error is None:
            earlier = cuspwise.read_earlier_study(file)
            found = cuspwise.against_earlier(scanned(study(VALUES), "now"), earlier)
            assert found.rows or found.why_not
        else:
            refused += 1
            assert all(error.lines)
    assert 20 < refused < 240


@pytest.mark.parametrize("seed", [1, slow(2), slow(3)])
def test_cut_or_flipped_bytes_are_no_traceback(sound, tmp_path: Path, seed: int):
    rng = random.Random(seed)
    text = json.dumps(sound).encode()
    for _ in range(60):
        data = bytearray(text)
        if rng.random() < 0.5:
            del data[rng.randrange(len(data)) :]
        else:
            data[rng.randrange(len(data))] = rng.randrange(256)
        file = tmp_path / "study.json"
        file.write_bytes(data)
        error = refusal(file)
        assert error is None or all(error.lines)
