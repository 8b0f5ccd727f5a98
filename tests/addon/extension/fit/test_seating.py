"""A crown is seated in Blender as the core seats it, wherever the objects lie."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from calls import call, our_modules
from caused import drawn
from seats import fit, gap_mm, world
from test_jobs import Forbidden


def test_polls_say_what_comes_first(crown: SimpleNamespace) -> None:
    with pytest.raises(RuntimeError, match="Choose the die first"):
        call(crown, "seat_crown")
    for name in ("put_on_die", "show_fit_map", "frame_fit_place", "save_polar_plot"):
        with pytest.raises(RuntimeError, match="Press Seat Crown first"):
            call(crown, name)
    with pytest.raises(RuntimeError, match="not shown on its die"):
        call(crown, "back_to_design")
    assert "Choose the prepared tooth as die." in " ".join(drawn(crown))


def test_the_core_is_given_what_lies_in_the_scene(
    seated_file: SimpleNamespace, pair: SimpleNamespace, extension: SimpleNamespace
) -> None:
    """The meshes to the last bit of Blender's single precision, and what was chosen."""
    given, settings = seated_file.given, extension.part("standalone_core.fit.settings")
    for name, mesh in (("crown", pair.design), ("die", pair.die), ("design", pair.design)):
        assert np.array_equal(given[name].vertices, mesh.vertices.astype(np.float32))
        assert np.array_equal(given[name].faces, mesh.faces)
    areas = extension.part("standalone_core.areas.settings").AreaSettings(
        mesial_direction=(1.0, 0.0, 0.0), buccal_direction=(0.0, 1.0, 0.0)
    )
    assert seated_file.settings == settings.FitSettings(
        spacing_mm=extension.spacing_mm,
        areas=areas,
        gap=settings.GapSettings(cement_space_um=60.0),
    )


def test_what_is_kept_is_what_the_core_found(
    seated: SimpleNamespace, seated_file: SimpleNamespace, pair: SimpleNamespace
) -> None:
    """Where it rests too: 60 µm of space all over let it down by these, but for the facets."""
    part, expected, kept = seated.part, seated_file.result, fit(seated)
    document = part("standalone_core.report.fit.document").fit_document(expected)
    assert -80.0 < kept["fit"]["seat"]["above_intended_um"] < -20.0  # as DemoDie says
    for name in ("seat", "gap_um", "margin", "judged", "headline", "T_die_crown"):
        assert_near(kept["fit"][name], document[name], name)
    assert np.allclose(world(seated.design), expected.T_die_crown, atol=1e-6)
    count = len(pair.design.vertices)
    assert np.allclose(1e3 * gap_mm(seated), expected.gap.gap_um[:count], atol=1e-3, equal_nan=True)
    margin = part("addon.fit.kept_margin").margin_of(seated.design.cuspwise.fit.margin)
    for name in ("angle_deg", "gap_um", "absolute_um", "finish_mm"):
        there, here = getattr(expected.margin, name), getattr(margin, name)
        assert np.allclose(here, there, rtol=1e-6, atol=1e-9, equal_nan=True), name
    assert margin.directions.words(90.0) == "buccal"
    assert kept["answer"][0] in " ".join(drawn(seated))


def assert_near(found: Any, expected: Any, where: str) -> None:
    """Compare plain data; JSON keeps every digit of a number."""
    if isinstance(expected, dict):
        for name in expected:
            assert_near(found[name], expected[name], f"{where}.{name}")
    elif isinstance(expected, list):
        assert len(found) == len(expected), where
        for k, value in enumerate(expected):
            assert_near(found[k], value, f"{where}[{k}]")
    elif isinstance(expected, float):
        assert found == pytest.approx(expected, rel=1e-12), where
    else:
        assert found == expected, where


def elsewhere(case: SimpleNamespace, pair: SimpleNamespace) -> Any:
    """The die somewhere else with its drawn finish line, and the design's copy as a scan.

    One unit is a centimetre.
    """
    from mathutils import Euler, Vector

    case.settings.unit = "cm"
    for obj in (case.design, case.die):
        obj.scale = (0.1, 0.1, 0.1)
    case.die.rotation_euler = Euler((0.5, -2.0, 1.0))
    case.die.location = (3.0, -2.0, 1.0)
    scan = case.design.copy()
    scan.data = case.design.data.copy()
    scan.name = "Scan"
    case.scene.collection.objects.link(scan)
    scan.location.x = 9.0
    case.settings.scans.add().scan = scan
    case.bpy.context.view_layer.update()
    case.fit.crown, case.fit.lies_on_die, case.fit.contact = "SCAN", False, "hard"
    for place in pair.line_mm[::20]:
        at = case.die.matrix_world @ Vector(place.tolist())
        assert call(case, "draw_finish_line", location=at) == {"FINISHED"}
    return scan


def test_the_die_may_lie_anywhere(
    unseated: SimpleNamespace,
    seated_file: SimpleNamespace,
    pair: SimpleNamespace,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A scan on a die elsewhere, in centimetres, with a finish line that was drawn.

    Its steps touch nothing of Blender's: its module is forbidden meanwhile.
    """
    case = unseated
    scan = elsewhere(case, pair)
    run = case.part("standalone_core.progress").run
    kind = case.part("addon.operators.fit").SeatCrown
    operator = type("SeatCrown", (), {n: getattr(kind, n) for n in ("read", "start", "finish")})()
    before = world(scan)
    run(operator.read(case.bpy.context))
    steps = operator.start(case.bpy.context)
    with monkeypatch.context() as patch:
        for module in our_modules("addon"):
            if hasattr(module, "bpy"):
                patch.setattr(module, "bpy", Forbidden())
        result = run(steps)
    said = run(operator.finish(case.bpy.context, result))
    assert said.startswith("Scan: The crown rests on its die")
    kept = fit(case, scan)
    assert kept["fit"]["seat"]["above_intended_um"] is None
    mean = seated_file.kept["fit"]["gap_um"]["whole"]["mean"]
    assert kept["fit"]["gap_um"]["whole"]["mean"] == pytest.approx(mean, abs=1.0)
    assert kept["fit"]["margin"]["coverage"] == 1.0
    assert kept["fit"]["die"]["finish_line"]["origin"] == "user"
    # The crown is seen on the die, tilted against it by less than a degree, and counts as lying
    # where it lay.
    lies = np.linalg.inv(world(case.die)) @ world(scan)
    assert np.abs(lies - np.eye(4)).max() < 0.1
    assert np.array_equal(case.part("addon.blender.frames").matrix_of(scan), before)
    assert call(case, "back_to_design") == {"FINISHED"}
    assert np.array_equal(world(scan), before)
