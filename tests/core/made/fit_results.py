"""Fits put together by hand on the demo crown: invented numbers that belong together."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from types import MappingProxyType
from typing import Any

import numpy as np
from cuspwise.standalone_core.areas.area_set import MarginLine
from cuspwise.standalone_core.areas.find import find_areas
from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.deviation.margin_directions import directions_of
from cuspwise.standalone_core.fit.contacts.result import Contacts, ToothContact
from cuspwise.standalone_core.fit.crown import FitCrown, crown_of_areas
from cuspwise.standalone_core.fit.die import FitDie
from cuspwise.standalone_core.fit.gap.result import (
    AreaGap,
    GapMap,
    Harmonic,
    MarginalGap,
    Sector,
)
from cuspwise.standalone_core.fit.result import FitResult, TripleScan
from cuspwise.standalone_core.fit.seat.result import ContactSpot, Play, Relief, Seat
from cuspwise.standalone_core.fit.settings import (
    ContactSettings,
    FitSettings,
    GapSettings,
    SeatSettings,
    WallSettings,
)
from cuspwise.standalone_core.fit.walls.result import AreaWall, ThinPlace, Walls
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.crowns import demo_crown

AREAS = AreaSettings(insertion=(0, 0, 1), mesial_direction=(1, 0, 0), buccal_direction=(0, 1, 0))
SPACE_MM = 0.05
NAN = float("nan")
WORDS = (
    "mesial",
    "mesiobuccal",
    "buccal",
    "distobuccal",
    "distal",
    "distolingual",
    "lingual",
    "mesiolingual",
)


@cache
def made_crown() -> FitCrown:
    """The demo crown with its areas, edges of 0.4 mm."""
    return crown_of_areas(find_areas(evaluation_mesh(demo_crown(0.4).mesh, 0.4), AREAS))


@cache
def made_die() -> FitDie:
    """The crown's intaglio 50 µm farther in, as the tooth's surface; open below."""
    crown = made_crown()
    mesh = crown.evaluation.mesh
    faces = mesh.faces[crown.intaglio[mesh.faces].all(axis=1)]
    points = mesh.vertices + SPACE_MM * mesh.vertex_normals
    used, flat = np.unique(faces, return_inverse=True)
    die = TriangleMesh(points[used], flat.reshape(faces.shape)[:, ::-1], "demo die")
    line = MarginLine(crown.margin_line.points_mm - [0, 0, SPACE_MM], origin="user")
    return FitDie(die, SurfaceIndex(die), np.array([0.0, 0.0, 1.0]), line)


def made_fit(**changes: Any) -> FitResult:
    """A crown that rests 12 µm high, its margin within the limit, one wall too thin."""
    crown = made_crown()
    whole = FitResult(
        crown=crown,
        die=made_die(),
        seat=made_seat(),
        triple_scan=None,
        gap=made_gap(),
        margin=made_margin(),
        walls=made_walls(),
        contacts=made_contacts(),
        missing=MappingProxyType({}),
        warnings=("The intaglio is open at 2 places.",),
        seconds=MappingProxyType({"seat": 1.25, "total": 3.5}),
        versions=MappingProxyType({"cuspwise": "0.1.0", "numpy": "1.26"}),
        settings=FitSettings(areas=AREAS),
    )
    return replace(whole, **changes)


def without_finish_line() -> FitResult:
    """The same crown, on a die whose finish line nobody gave, with no neighbours."""
    missing = {
        "margin": "Not measured: give a finish line.",
        "contacts": "Not measured: give the neighbours or the antagonist.",
    }
    die = replace(made_die(), finish_line=None)
    return made_fit(die=die, margin=None, contacts=None, missing=MappingProxyType(missing))


def held_up() -> FitResult:
    """A crown that cannot go on: a spot inside holds it 730 µm above its intended seat."""
    crown = made_crown()
    places = crown.evaluation.points
    spot = crown.parts["axial"].nonzero()[0][40]
    away = np.linalg.norm(places - places[spot], axis=1)
    relief = np.where(crown.intaglio, np.clip(90.0 * (1.0 - away / 1.2), 0.0, None), 0.0)
    weights = crown.evaluation.weights_mm2
    seat = made_seat()
    high = replace(
        seat,
        T_die_crown=_lifted(0.73),
        stop="cannot_go_on",
        above_intended_um=730.0,
        tilt_deg=1.6,
        relief=Relief(
            relief_um=relief,
            most_um=float(relief.max()),
            volume_mm3=float(relief @ weights) / 1000.0,
            area_mm2=float(weights[relief > 0].sum()),
            place_mm=places[spot],
            T_die_crown=np.eye(4),
            above_intended_um=1.4,
        ),
        warnings=("It is held up by one spot.",),
    )
    return made_fit(seat=high, margin=made_margin(above=400.0), gap=made_gap(extra=500.0))


def scanned_seated() -> FitResult:
    """The same with a scan of the seated crown."""
    triple = TripleScan(_lifted(0.014), 4.2, 3.1, 2.0, 6.5, ("Little of the die was scanned.",))
    return made_fit(triple_scan=triple)


def outer_surface_only() -> FitResult:
    """A crown without an intaglio: nothing could be done but its contacts, if there were any."""
    whole = made_crown().area_set
    areas = {"whole": whole["whole"]}
    cap = replace(whole, areas=areas, margin_line=None, insertion=None, settings=AreaSettings())
    crown = replace(made_crown(), area_set=cap, parts=MappingProxyType({}))
    why = "It has no intaglio that could rest on a die. Give a crown with its inner surface."
    return made_fit(
        **dict.fromkeys(("die", "seat", "gap", "margin", "walls", "contacts")),
        crown=crown,
        missing=MappingProxyType(dict.fromkeys(("seat", "gap", "margin", "walls"), why)),
        settings=FitSettings(),
    )


def made_seat() -> Seat:
    """Three spots that carry the load."""
    crown = made_crown()
    spots = []
    for share, part, where in ((0.5, "occlusal", "mesial"), (0.3, "axial", "distobuccal")):
        spots.append(_spot(crown, share, part, where))
    spots.append(_spot(crown, 0.2, "axial", "lingual"))
    play = tuple(
        Play(word, angle, 17.0 - 0.02 * angle, 8.0 + 0.05 * angle, 12.0 + 0.02 * angle)
        for word, angle in zip(WORDS[::2], (0.0, 90.0, 180.0, 270.0), strict=True)
    )
    return Seat(
        T_die_crown=_lifted(0.012),
        stop="rests",
        contact="patches",
        spots=tuple(spots),
        above_intended_um=12.0,
        tilt_deg=0.08,
        overlap_um=9.6,
        overlap_share=0.021,
        play=play,
        along_um=140.0,
        steps=7,
        converged=True,
        settings=SeatSettings(),
    )


def _spot(crown: FitCrown, share: float, part: str, where: str) -> ContactSpot:
    angle = math.radians(45.0 * WORDS.index(where))
    inside = crown.parts[part].nonzero()[0]
    points = crown.evaluation.points[inside]
    outward = points[:, :2] @ [math.cos(angle), math.sin(angle)]
    place = points[int(np.argmax(outward))]
    direction = np.array([-math.cos(angle), -math.sin(angle), share])
    direction /= np.linalg.norm(direction)
    return ContactSpot(
        place + np.array([0, 0, 0.012]), place, direction, share / direction[2], share, part, where
    )


def made_gap(extra: float = 0.0) -> GapMap:
    """About the die's 50 µm, wider to mesial, touching to distal."""
    crown = made_crown()
    points = crown.evaluation.points
    angle = np.arctan2(points[:, 1], points[:, 0])
    gap = np.where(crown.intaglio, 50.0 + 52.0 * np.cos(angle) + extra, np.nan)
    weights = crown.evaluation.weights_mm2
    masks = {"whole": crown.intaglio, **crown.parts}
    rows = []
    for area, mask in masks.items():
        here, weight = gap[mask], weights[mask]
        mean = float(np.average(here, weights=weight))
        p5, p50, p95 = np.percentile(here, (5, 50, 95)).tolist()
        row = AreaGap(
            area=area,
            area_mm2=float(weight.sum()),
            coverage=0.98,
            mean_um=mean,
            sd_um=float(here.std()),
            p5_um=p5,
            p50_um=p50,
            p95_um=p95,
            least_um=float(here.min()),
            most_um=float(here.max()),
            volume_mm3=float(here @ weight) / 1000.0,
            against_space_um=mean - 50.0 if area != "margin" else NAN,
        )
        rows.append(row)
    return GapMap(gap, tuple(rows))


def made_margin(above: float = 0.0) -> MarginalGap:
    """A gap of 60 µm, tilted by 25 and oval by 10; the crown shifted by 30 µm; a hole in it."""
    angle = np.arange(360.0)
    turn = np.radians(angle)
    gap = above + 60.0 + 25.0 * np.cos(turn - 0.5) + 10.0 * np.cos(2.0 * turn)
    extension = 30.0 * np.cos(turn - np.pi)
    measured = ~((angle > 200) & (angle < 212))
    gap, extension = np.where(measured, gap, NAN), np.where(measured, extension, NAN)
    absolute = np.hypot(gap, extension)
    directions = directions_of(made_crown().area_set)
    line = made_crown().margin_line.points_mm
    around = np.degrees(np.arctan2(line[:, 1], line[:, 0])) % 360.0
    order = np.argsort(around)
    edge = np.column_stack(
        [np.interp(angle, around[order], line[order, axis], period=360.0) for axis in range(3)]
    )
    outward = np.column_stack([np.cos(turn), np.sin(turn), np.zeros(360)])
    finish = edge - 1e-3 * (gap[:, None] * [0, 0, 1] + extension[:, None] * outward)
    seen = gap[measured]
    worst = int(np.nanargmax(gap))
    settings = GapSettings(cement_space_um=50.0)
    beyond = float((seen > settings.marginal_limit_um).mean())
    return MarginalGap(
        angle_deg=angle,
        measured=measured,
        gap_um=gap,
        extension_um=extension,
        absolute_um=absolute,
        vertical_um=gap,
        horizontal_um=extension,
        finish_mm=finish,
        edge_mm=edge,
        directions=directions,
        sectors=_sectors(angle, gap, absolute, extension, settings.marginal_limit_um),
        harmonics=(
            Harmonic("gap", 0, above + 60.0, NAN, ""),
            Harmonic("gap", 1, 25.0, 28.6, "mesiobuccal"),
            Harmonic("gap", 2, 10.0, 0.0, "mesial"),
            Harmonic("extension", 0, 0.0, NAN, ""),
            Harmonic("extension", 1, 30.0, 180.0, "distal"),
            Harmonic("extension", 2, 0.0, NAN, ""),
        ),
        mean_um=float(seen.mean()),
        sd_um=float(seen.std()),
        most_um=float(seen.max()),
        most_deg=float(angle[worst]),
        most_where=directions.words(float(angle[worst])),
        absolute_mean_um=float(np.nanmean(absolute)),
        absolute_most_um=float(np.nanmax(absolute)),
        over_share=0.0,
        under_share=0.0,
        share_beyond=beyond,
        coverage=float(measured.mean()),
        within=beyond == 0.0,
        settings=settings,
    )


def _sectors(angle: Any, gap: Any, absolute: Any, extension: Any, limit: float) -> tuple:
    found = []
    for k, name in enumerate(WORDS):
        off = np.abs((angle - 45.0 * k + 180.0) % 360.0 - 180.0) <= 22.5
        means = [float(np.nanmean(values[off])) for values in (gap, absolute, extension)]
        share = float((gap[off] > limit).mean())
        found.append(Sector(name, (45.0 * k - 22.5) % 360.0, 45.0 * k + 22.5, *means, share))
    return tuple(found)


def made_walls() -> Walls:
    """Thickness by the height above the margin, thin at one axial place."""
    crown = made_crown()
    points = crown.evaluation.points
    judged = crown.intaglio & (crown.margin_distance_mm > WallSettings().margin_left_out_mm)
    spot = points[crown.parts["axial"].nonzero()[0][40]]
    dent = 0.55 * np.exp(-(np.linalg.norm(points - spot, axis=1) ** 2) / 0.5)
    ray = np.where(judged, 0.75 + 0.12 * crown.margin_distance_mm - dent, np.nan)
    thickness = ray - 0.03
    required = {"axial": 0.5, "occlusal": 1.0}
    areas, places = [], []
    weights = crown.evaluation.weights_mm2
    for area, least in required.items():
        mask = crown.parts[area] & judged
        here = thickness[mask]
        thin = float(weights[mask][here < least].sum())
        p5, p50 = np.percentile(here, (5, 50)).tolist()
        within = bool(here.min() >= least)
        areas.append(AreaWall(area, float(here.min()), p5, p50, least, thin, within, -32.0))
        k = int(np.flatnonzero(mask)[here.argmin()])
        places.append(
            ThinPlace(points[k], area, float(thickness[k]), float(ray[k]), float(thickness[k]), "")
        )
    return Walls(
        ray_mm=ray,
        ball_mm=thickness,
        thickness_mm=thickness,
        change_um=np.where(judged, -32.0, np.nan),
        areas=tuple(areas),
        thinnest=tuple(replace(place, where="distal") for place in places),
        within=all(row.within for row in areas),
        settings=WallSettings(),
    )


def made_contacts() -> Contacts:
    """A mesial contact lighter than designed, a distal one open, and two to the antagonist."""
    crown = made_crown()
    points = crown.evaluation.points
    x = points[:, 0]
    gap = np.where(x > x.max() - 0.5, 1e3 * (x.max() - x) - 20.0, np.nan)
    rows = (
        _contact("36.stl", "mesial", -20.0, "firm", -55.0, points[x.argmax()]),
        _contact("38.stl", "distal", 42.0, "open", NAN, points[x.argmin()]),
        _contact("upper.stl", "mesiobuccal", -34.0, "tight", -12.0, points[points[:, 2].argmax()]),
        _contact("upper.stl", "lingual", 210.0, "none", NAN, points[points[:, 1].argmin()]),
    )
    return Contacts(rows, gap, ContactSettings())


def _contact(
    tooth: str, side: str, gap: float, strength: Any, designed: float, place: Any
) -> ToothContact:
    change = gap - designed
    kind = "occlusal" if tooth.startswith("upper") else "proximal"
    word = "lighter" if change > 0 else "stronger"
    said = f"{side.capitalize()} contact {abs(change):.0f} µm {word} than designed."
    return ToothContact(
        tooth=tooth,
        kind=kind,
        side=side,
        gap_um=gap,
        area_mm2=0.4 if gap < 0 else 0.0,
        place_mm=place,
        strength=strength,
        designed_gap_um=designed,
        designed_area_mm2=0.7 if designed < 0 else NAN,
        change_um=change,
        sentence=said if math.isfinite(change) else f"{side.capitalize()} contact: {strength}.",
    )


def _lifted(by_mm: float) -> Any:
    motion = np.eye(4)
    motion[2, 3] = by_mm
    return motion
