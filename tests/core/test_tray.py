"""Many crowns at once: each as it would be alone, and none stopped by another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import AreaSet
from cuspwise.standalone_core.areas.support_marks import SupportMark
from cuspwise.standalone_core.causes.design_fields import CauseFields, cause_fields_steps
from cuspwise.standalone_core.causes.settings import CausesSettings
from cuspwise.standalone_core.check import check_meshes
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.check_settings import CheckSettings
from cuspwise.standalone_core.checked_mesh import CheckedMesh, checked_surface
from cuspwise.standalone_core.errors import MeshError
from cuspwise.standalone_core.explain import explain
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import Progress, Steps, run
from cuspwise.standalone_core.records import plain
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from cuspwise.standalone_core.tray import shared_design
from cuspwise.standalone_core.tray.check_crowns import CrownToCheck, check_crowns_steps
from cuspwise.standalone_core.tray.result import NOT_CHECKED, TrayCrown, TrayResult
from cuspwise.standalone_core.tray.shared_design import SharedDesign
from made.crowns import demo_crown

IN_PLACE = SuperimposeSettings(start="in_place", refine=False, look_for_rivals=False)
SETTINGS = CheckSettings(
    superimpose=IN_PLACE,
    spacing_mm=0.3,
    marks=(SupportMark("lingual", (0.0, -4.0, 3.0), 0.6),),
    causes=CausesSettings(find_causes=False),
)
EXCESS_MM = {"good": 0.003, "thick": 0.06}


@lru_cache(maxsize=1)
def designs() -> dict[str, TriangleMesh]:
    """One crown, and the same a tenth larger."""
    mesh = demo_crown(0.3).mesh
    return {
        "molar": TriangleMesh(mesh.vertices, mesh.faces, "molar"),
        "large": TriangleMesh(1.1 * mesh.vertices, mesh.faces, "large"),
    }


def produced(design: str, excess_mm: float) -> TriangleMesh:
    mesh, normals = designs()[design], demo_crown(0.3).vertex_normals
    return TriangleMesh(mesh.vertices + excess_mm * normals, mesh.faces, f"of_{design}")


def broken() -> TriangleMesh:
    return TriangleMesh(np.zeros((3, 3)), np.array([[0, 1, 2]]), "broken")


TRAY = (("molar", "good"), ("large", "thick"), ("molar", "broken"), ("molar", "thick"))


def scan_of(design: str, kind: str) -> TriangleMesh:
    return broken() if kind == "broken" else produced(design, EXCESS_MM[kind])


def tray(
    which: Sequence[tuple[str, str]] = TRAY,
    settings: CheckSettings = SETTINGS,
    found: list[str] | None = None,
) -> list[CrownToCheck]:
    """Crowns to check; ``found`` notes each design that is made ready."""

    def read(name: str) -> CheckedMesh:
        if found is not None:
            found.append(name)
        return checked_surface(designs()[name], settings)

    shared = {
        name: SharedDesign(name, lambda name=name: read(name), settings) for name in designs()
    }
    return [
        shared[design].crown(
            f"{design} {kind}", kind, lambda pair=(design, kind): checked_surface(scan_of(*pair))
        )
        for design, kind in which
    ]


@lru_cache(maxsize=1)
def checked() -> TrayResult:
    return run(check_crowns_steps(tray()))


def by_name(result: TrayResult) -> dict[str, TrayCrown]:
    return {crown.name: crown for crown in result.crowns}


def test_each_crown_has_the_numbers_of_a_check_by_itself() -> None:
    for (design, kind), crown in zip(TRAY, checked().crowns, strict=True):
        if kind == "broken":
            continue
        alone = check_meshes(designs()[design], scan_of(design, kind), SETTINGS)
        assert crown.verdicts == alone.verdicts
        assert repr(crown.marks) == repr(alone.marks)  # equal with NaN too
        assert crown.warnings == alone.warnings
        assert crown.superimposition == alone.superimposition.verdict
        assert crown.causes is None


def test_a_crown_that_cannot_be_checked_stops_no_other_and_keeps_its_reason() -> None:
    names = [f"{design} {kind}" for design, kind in TRAY]
    assert [crown.name for crown in checked().crowns] == names
    verdicts = [crown.verdict for crown in checked().crowns]
    assert verdicts == ["within", "outside", NOT_CHECKED, "outside"]
    problem = by_name(checked())["molar broken"].error
    assert isinstance(problem, MeshError)
    assert problem.reason
    assert problem.remedy
    assert not checked().passed
    assert checked().areas == ("whole", "occlusal", "margin")


def test_the_error_of_a_crown_holds_no_surfaces() -> None:
    """Its traceback would, which copies of errors take along once Dask is loaded."""
    pytest.importorskip("distributed")
    (crown,) = run(check_crowns_steps(tray([("molar", "broken")]))).crowns
    assert crown.error is not None
    assert crown.error.__traceback__ is None
    assert crown.error.__cause__ is None
    assert crown.error.__context__ is None


def test_the_order_of_a_tray_changes_nothing_else() -> None:
    turned = run(check_crowns_steps(tray(TRAY[::-1])))
    assert [c.name for c in turned.crowns] == [c.name for c in checked().crowns][::-1]
    for name, crown in by_name(checked()).items():
        other = by_name(turned)[name]
        assert repr(replace(crown, seconds=0.0)) == repr(replace(other, seconds=0.0))


def test_a_design_is_made_ready_once_for_thirty_crowns() -> None:
    found: list[str] = []
    many = [("molar", "good"), ("large", "good")] * 15
    crowns = tray(many, replace(SETTINGS, spacing_mm=1.0), found)
    result = run(check_crowns_steps(crowns))
    assert found == ["molar", "large"]
    assert len(result.crowns) == 30
    assert len({repr(c.verdicts) for c in result.crowns if c.design == "molar"}) == 1


def test_a_design_that_cannot_be_made_ready_is_told_of_each_of_its_crowns() -> None:
    tried: list[str] = []

    def read() -> object:
        tried.append("read")
        return checked_surface(broken())

    shared = SharedDesign("broken", read, SETTINGS)  # type: ignore[arg-type]
    crowns = [shared.crown(name, name, lambda: checked_surface(broken())) for name in "ab"]
    result = run(check_crowns_steps([*crowns, *tray(TRAY[:1])]))
    assert [crown.verdict for crown in result.crowns] == [NOT_CHECKED, NOT_CHECKED, "within"]
    assert len({str(crown.error) for crown in result.crowns[:2]}) == 1
    assert tried == ["read"]


def test_causes_are_those_of_a_check_by_itself_and_their_fields_are_made_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made: list[AreaSet] = []

    def making(area_set: AreaSet, *rest: Any) -> Steps[CauseFields]:
        made.append(area_set)
        return (yield from cause_fields_steps(area_set, *rest))

    monkeypatch.setattr(shared_design, "cause_fields_steps", making)
    settings = replace(SETTINGS, spacing_mm=0.4, causes=CausesSettings())
    kept: list[CheckResult] = []

    def keep(_: CrownToCheck, result: CheckResult) -> Steps[None]:
        yield Progress("Keeping", 0.5)
        kept.append(result)

    pair = (("molar", "good"), ("molar", "thick"))
    result = run(check_crowns_steps(tray(pair, settings), keep))
    assert len(made) == 1
    for (design, kind), crown, whole in zip(pair, result.crowns, kept, strict=True):
        alone = explain(check_meshes(designs()[design], scan_of(design, kind), settings))
        assert whole.causes is not None
        assert repr(plain(alone.causes)) == repr(plain(whole.causes.causes))
        assert crown.causes == alone.stated


def test_progress_runs_over_all_crowns_and_names_them() -> None:
    shown: list[Progress] = []
    run(check_crowns_steps(tray()), shown.append)
    fractions = [progress.fraction for progress in shown]
    assert fractions == sorted(fractions)
    assert fractions[-1] <= 1.0
    heads = dict.fromkeys(progress.label.partition(":")[0] for progress in shown)
    assert [head.partition(", ")[2] for head in heads] == [
        *("molar good", "molar broken", "molar thick", "large thick"),
    ]
