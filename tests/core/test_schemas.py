"""The JSON files that Cuspwise writes keep their published schemas, to the last key."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import write_schemas
from click.testing import CliRunner
from cuspwise.standalone_core.causes.document import causes_document
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.demo.die import demo_die
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors
from cuspwise.standalone_core.fit.result import FitResult
from cuspwise.standalone_core.mesh.write import write_mesh
from cuspwise.standalone_core.report.check.document import check_document
from cuspwise.standalone_core.report.fit.document import fit_document
from cuspwise.standalone_core.report.fit.output import write_fit
from cuspwise.standalone_core.report.study.tables import study_document
from jsonschema import Draft202012Validator
from made import fit_results as made
from made.check_causes import make_causes
from made.check_results import make_result
from made.small_studies import STUDY, write_small_study
from made.study_examples import make_analysis, make_run
from made.study_fits import fitted_study
from referencing import Registry, Resource

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "schemas"
SCHEMAS = {
    name: json.loads((FOLDER / f"{name}.schema.json").read_text(encoding="utf-8"))
    for name in write_schemas.DOCUMENTS
}
REGISTRY = Registry().with_resources(
    (f"{name}.schema.json", Resource.from_contents(schema)) for name, schema in SCHEMAS.items()
)
EDGE_MM = 0.45
QUICK = ("--spacing", str(EDGE_MM))
DIRECTIONS = ("--mesial", "1,0,0", "--buccal", "0,1,0")


def errors_of(name: str, document: Any) -> list[str]:
    """What of a document its schema does not take."""
    validator = Draft202012Validator(SCHEMAS[name], registry=REGISTRY)
    return [
        f"{error.json_path}: {error.message[:200]}" for error in validator.iter_errors(document)
    ]


def keep(name: str, document: Any) -> None:
    """Assert that a document keeps its schema, and would not with one more key at its top."""
    assert errors_of(name, document) == []
    assert errors_of(name, {**document, "new_key": 1}) != []


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A design, a scan with errors, and a file that is none."""
    place = tmp_path_factory.mktemp("schemas")
    design = demo_crown(EDGE_MM)
    write_mesh(place / "design.stl", design.mesh)
    scan = produce(design, ProductionErrors(offset_um=60.0), edge_mm=EDGE_MM)
    write_mesh(place / "scan.stl", scan.mesh)
    (place / "broken.stl").write_text("solid nothing\nendsolid nothing\n")
    return place


def called(folder: Path, *words: str) -> str:
    """What a command prints."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        result = CliRunner().invoke(main, words)
    assert result.exit_code in (0, 1), result.output
    return result.stdout


def printed(folder: Path, command: str, *words: str) -> Any:
    """What a command prints as JSON."""
    text = called(folder, command, *words, *QUICK, *DIRECTIONS, "--json")
    return json.loads(text, parse_constant=pytest.fail)


def read(file: Path) -> Any:
    return json.loads(file.read_text(encoding="utf-8"), parse_constant=pytest.fail)


@pytest.mark.parametrize("name", write_schemas.DOCUMENTS)
def test_the_schemas_are_up_to_date(name: str) -> None:
    written = (FOLDER / f"{name}.schema.json").read_text(encoding="utf-8")
    assert written == write_schemas.text_of(name), "run python tools/write_schemas.py"
    Draft202012Validator.check_schema(SCHEMAS[name])


def objects(schema: Any) -> Iterator[dict[str, Any]]:
    """All parts of a schema that are of an object with known keys."""
    if isinstance(schema, dict):
        if isinstance(schema.get("properties"), dict):
            yield schema
        schema = list(schema.values())
    if isinstance(schema, list):
        for part in schema:
            yield from objects(part)


@pytest.mark.parametrize("name", SCHEMAS)
def test_every_key_is_described_and_no_other_is_taken(name: str) -> None:
    found = list(objects(SCHEMAS[name]))
    assert found
    for part in found:
        assert part["additionalProperties"] is False
        assert set(part["required"]) <= set(part["properties"])
        for key, value in part["properties"].items():
            assert len(value["description"]) > 3, key


def test_checks_of_one_crown_and_of_many(folder: Path) -> None:
    words = ("--support-mark", "first=0,5,4,0.6", "--out", "tray", "--no-pictures")
    tray = printed(folder, "check", "design.stl", "scan.stl", "broken.stl", *words)
    keep("tray", tray)
    keep("tray", read(folder / "tray" / "tray.json"))
    check = read(folder / "tray" / "scan" / "check.json")
    keep("check", check)
    assert check["marks"]
    assert check["causes"]
    assert check["margin_profile"]["places"] > 100
    more = copy.deepcopy(check)
    more["measures"][0]["mean_um_2"] = 1.0
    assert any("mean_um_2" in error for error in errors_of("check", more))


def test_checks_put_together_by_hand() -> None:
    plain = make_result()
    keep("check", check_document(plain))
    explained = replace(plain, causes=make_causes(plain))
    keep("check", check_document(explained))
    keep("causes", dict(causes_document(explained.causes)))
    origin = {"object": "Crown", "path": None}
    from_blender = replace(
        plain,
        design=replace(plain.design, file=None),
        origins={"design": origin},
    )
    keep("check", check_document(from_blender))


def test_areas_and_health(folder: Path) -> None:
    keep("areas_summary", printed(folder, "areas", "design.stl", "--out", "areas.json"))
    called(folder, "areas", "design.stl", "--out", "areas.json", *QUICK, *DIRECTIONS)
    areas = read(folder / "areas.json")
    keep("areas", areas)
    areas["areas"]["margin"]["colour"] = "red"
    assert any("colour" in error for error in errors_of("areas", areas))
    keep("health", json.loads(called(folder, "inspect", "scan.stl", "--json")))


def test_walls(folder: Path) -> None:
    called(folder, "walls", "design.stl", "--out", "walls", *QUICK, *DIRECTIONS)
    keep("walls", read(folder / "walls" / "walls.json"))


@pytest.mark.parametrize(
    "make",
    [
        *(made.made_fit, made.without_finish_line, made.held_up),
        *(made.scanned_seated, made.outer_surface_only),
    ],
)
def test_fits_put_together_by_hand(make: Callable[[], FitResult]) -> None:
    keep("fit", fit_document(make()))


def test_a_fit_in_its_file(tmp_path: Path) -> None:
    write_fit(made.made_fit(), tmp_path, pictures="no")
    keep("fit", read(tmp_path / "fit.json"))


def test_studies_put_together_by_hand() -> None:
    run = make_run(n=8, seed=7)
    keep("study", study_document(run, make_analysis(run)))


def test_a_study_with_fits_put_together_by_hand() -> None:
    document = study_document(*fitted_study())
    keep("study", document)
    assert document["analysis"]["fit"]
    document["analysis"]["findings"]["comparisons"][0]["new_key"] = 1
    assert any("new_key" in error for error in errors_of("study", document))


@pytest.mark.slow
def test_studies_in_their_files(tmp_path: Path) -> None:
    """With causes, and with the same study as an earlier one."""
    write_small_study(tmp_path, {"a": 3, "b": 3}, STUDY)
    out = tmp_path / "study_results" / "study.json"
    called(tmp_path, "study", ".", "--no-pictures")
    first = read(out)
    keep("study", first)
    assert first["causes"]
    assert all(crown["why"] for crown in first["crowns"])
    (tmp_path / "earlier.json").write_bytes(out.read_bytes())
    called(tmp_path, "study", ".", "--no-pictures", "--earlier", "earlier.json")
    second = read(out)
    keep("study", second)
    assert second["analysis"]["earlier"]["shared"]


@pytest.mark.slow
def test_a_fit_that_was_computed(folder: Path) -> None:
    write_mesh(folder / "die.stl", demo_die(demo_crown(EDGE_MM), edge_mm=EDGE_MM).mesh)
    keep("fit", printed(folder, "fit", "scan.stl", "die.stl", "--design", "design.stl"))


@pytest.mark.slow
def test_causes_that_were_computed(folder: Path) -> None:
    keep("causes", printed(folder, "causes", "design.stl", "scan.stl"))
