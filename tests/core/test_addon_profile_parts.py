"""The margin line as it is drawn, without Blender: which piece has which colour."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cuspwise.addon.drawing.profile_parts import profile_line
from cuspwise.standalone_core.deviation.margin_directions import Directions
from cuspwise.standalone_core.deviation.margin_profile import MarginProfile, MarginProfileSettings
from cuspwise.standalone_core.deviation.margin_summary import MarginLimits, MarginValues, summarise
from cuspwise.standalone_core.report.drawing.deviation_colours import deviation_colours

STEP_MM, COUNT = 0.1, 60
RADIUS_MM = STEP_MM / (2.0 * np.sin(np.pi / COUNT))  # of the circle on whose chords places lie


@pytest.fixture(scope="module")
def profile() -> MarginProfile:
    """A circle with deviations from −59 to +59 µm, flash at one place, five places not counted."""
    angle = 2.0 * np.pi * np.arange(COUNT) / COUNT
    points = RADIUS_MM * np.column_stack([np.cos(angle), np.sin(angle), np.zeros(COUNT)])
    counted = np.ones(COUNT, dtype=bool)
    counted[10:15] = False
    values = MarginValues(
        deviation_um=np.where(counted, 2.0 * np.arange(COUNT) - 59.0, np.nan),
        vertical_um=np.zeros(COUNT),
        horizontal_um=np.zeros(COUNT),
        flash_um=np.where(np.arange(COUNT) == 30, 250.0, 0.0),
        counted=counted,
    )
    settings, limits = MarginProfileSettings(), MarginLimits(40.0, 100.0, 0.25, 100.0, 100.0)
    directions = Directions(np.eye(3)[0], np.eye(3)[1], "mesial")
    empty = MarginProfile(
        place_mm=STEP_MM * np.arange(COUNT),
        angle_deg=np.degrees(angle),
        points_mm=points,
        **vars(values),
        edge_seen=np.ones(COUNT, dtype=bool),
        beyond=values.beyond(limits),
        step_mm=STEP_MM,
        closed=True,
        directions=directions,
        summary=None,  # type: ignore[arg-type]
        settings=settings,
    )

    class Places:
        def __len__(self) -> int:
            return COUNT

    places = Places()
    vars(places).update(
        place_mm=empty.place_mm,
        angle_deg=empty.angle_deg,
        directions=directions,
        step_mm=STEP_MM,
        closed=True,
        length_mm=STEP_MM * COUNT,
    )
    return replace(empty, summary=summarise(places, values, limits))  # type: ignore[arg-type]


def test_pieces_join_to_the_whole_line(profile: MarginProfile) -> None:
    line = profile_line(profile, 50.0, "standard")
    assert line.points_mm[:-1, 1] == pytest.approx(line.points_mm[1:, 0])
    assert line.points_mm[-1, 1] == pytest.approx(line.points_mm[0, 0])
    lengths = np.linalg.norm(line.points_mm[:, 1] - line.points_mm[:, 0], axis=1)
    assert lengths == pytest.approx(0.5 * STEP_MM, rel=1e-5)
    assert lengths.sum() == pytest.approx(profile.length_mm, rel=1e-5)


def test_every_place_has_its_own_colour_and_grey_where_it_did_not_count(
    profile: MarginProfile,
) -> None:
    line = profile_line(profile, 50.0, "standard")
    own = line.points_mm[0::2, 1]  # the first piece of a place ends at it, the second begins there
    assert own == pytest.approx(profile.points_mm, abs=1e-6)
    wanted = deviation_colours(1e-3 * profile.deviation_um, 0.05, "standard")
    for half in (0, 1):
        assert (line.colours[half::2] == wanted).all()
    (grey,) = deviation_colours([np.nan], 0.05, "standard")
    assert (line.colours[20:30] == grey).all()
    assert (line.colours == grey).all(axis=1).sum() == 10


def test_beyond_is_the_profiles(profile: MarginProfile) -> None:
    """Deviations above 40 µm on both sides, and the flash whose deviation is small."""
    line = profile_line(profile, 50.0, "strong")
    sizes = np.abs(2.0 * np.arange(COUNT) - 59.0)
    wanted = (sizes > 40.0) | (np.arange(COUNT) == 30)
    wanted[10:15] = False
    assert (line.beyond == np.repeat(wanted, 2)).all()
    looser = profile_line(profile.with_tolerance(57.5), 50.0, "strong")
    assert np.flatnonzero(looser.beyond[::2]).tolist() == [0, 30, 59]
    nothing = profile.with_tolerance(np.nan)
    assert np.flatnonzero(nothing.beyond).tolist() == [30]
    assert nothing.summary.beyond_mm == pytest.approx(STEP_MM)
    assert nothing.summary.flash_um == 250.0


def test_an_open_line_ends_at_its_ends(profile: MarginProfile) -> None:
    line = profile_line(replace(profile, closed=False), 50.0, "standard")
    assert line.points_mm[0, 0] == pytest.approx(profile.points_mm[0], abs=1e-6)
    assert line.points_mm[-1, 1] == pytest.approx(profile.points_mm[-1], abs=1e-6)
