"""A fit's tables: measures, places around the margin, contact spots, contacts, walls."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

from ...fit.judged import judged
from ..tables.column import unit_of
from ..tables.table import table

if TYPE_CHECKING:
    from ...fit.contacts.result import Contacts, ToothContact
    from ...fit.gap.result import GapMap, MarginalGap
    from ...fit.result import FitResult
    from ...fit.seat.result import Seat
    from ...fit.walls.result import Walls

FIT_COLUMNS = ("part", "measure", "area", "value", "text", "unit", "limit", "verdict")
MARGIN_COLUMNS = (
    *("angle_deg", "measured", "gap_um", "absolute_um", "extension_um"),
    *("discrepancy_vertical_um", "discrepancy_horizontal_um", "sector"),
    *("finish_x_mm", "finish_y_mm", "finish_z_mm", "edge_x_mm", "edge_y_mm", "edge_z_mm"),
)
SPOT_COLUMNS = (
    *("rank", "load_share", "force", "area", "where", "die_x_mm", "die_y_mm", "die_z_mm"),
    *("crown_x_mm", "crown_y_mm", "crown_z_mm", "direction_x", "direction_y", "direction_z"),
)
CONTACT_COLUMNS = (
    *("tooth", "contact_kind", "side", "strength", "contact_gap_um", "area_mm2"),
    *("designed_gap_um", "designed_area_mm2", "change_um", "die_x_mm", "die_y_mm", "die_z_mm"),
    "sentence",
)
WALL_COLUMNS = (
    *("row", "area", "where", "thickness_mm", "ray_mm", "ball_mm", "required_mm"),
    *("thick_enough", "p5_mm", "p50_mm", "thin_area_mm2", "loss_um"),
    *("crown_x_mm", "crown_y_mm", "crown_z_mm"),
)

_SEAT = ("above_intended_um", "tilt_deg", "overlap_um", "overlap_share", "along_um")
_TRIPLE = ("crown_rms_um", "die_rms_um", "virtual_above_um", "virtual_apart_um")
_GAP = (
    *("mean_um", "sd_um", "p5_um", "p50_um", "p95_um", "least_um", "most_um"),
    *("area_mm2", "coverage", "volume_mm3", "against_space_um"),
)
_MARGIN = (
    *("mean_um", "sd_um", "most_um", "most_deg", "absolute_mean_um", "absolute_most_um"),
    *("over_share", "under_share", "share_beyond", "coverage"),
)
_SECTOR = ("gap_um", "absolute_um", "extension_um", "share_beyond")
_WALL = ("least_mm", "p5_mm", "p50_mm", "thin_area_mm2", "loss_um")
_MARGIN_ARRAYS = (
    *("angle_deg", "measured", "gap_um", "absolute_um", "extension_um"),
    *("vertical_um", "horizontal_um"),
)
_CONTACT = ("gap_um", "area_mm2", "designed_gap_um", "change_um")


def fit_csv(result: FitResult) -> str:
    """Write every measure of a fit, one row each; columns :data:`FIT_COLUMNS`.

    What is a word and no number, as how strong a contact is, stands in ``text``.
    """
    return table(FIT_COLUMNS, _fit_rows(result)).text


def marginal_gap_csv(margin: MarginalGap) -> str:
    """Write the places around the margin, in the die's frame; columns :data:`MARGIN_COLUMNS`."""
    columns: list[list[Any]] = [getattr(margin, name).tolist() for name in _MARGIN_ARRAYS]
    columns.append([_sector(margin, angle) for angle in margin.angle_deg.tolist()])
    columns += [*margin.finish_mm.T.tolist(), *margin.edge_mm.T.tolist()]
    return table(MARGIN_COLUMNS, zip(*columns, strict=True)).text


def seat_spots_csv(seat: Seat) -> str:
    """Write the contact spots, the largest share first; columns :data:`SPOT_COLUMNS`."""
    rows = (
        (
            *(rank, spot.share, spot.force, spot.part, spot.where),
            *(*spot.place_mm.tolist(), *spot.crown_place_mm.tolist(), *spot.direction.tolist()),
        )
        for rank, spot in enumerate(seat.spots, start=1)
    )
    return table(SPOT_COLUMNS, rows).text


def contacts_csv(contacts: Contacts) -> str:
    """Write all contacts, proximal and occlusal; columns :data:`CONTACT_COLUMNS`."""
    rows = (_contact_row(row) for row in contacts.rows)
    return table(CONTACT_COLUMNS, rows).text


def walls_csv(walls: Walls) -> str:
    """Write a row per area, then one per thinnest place; columns :data:`WALL_COLUMNS`."""
    required = {row.area: row.required_mm for row in walls.areas}
    rows: list[tuple[object, ...]] = [
        (
            *("area", row.area, "", row.least_mm, None, None, row.required_mm, row.within),
            *(row.p5_mm, row.p50_mm, row.thin_area_mm2, row.loss_um, None, None, None),
        )
        for row in walls.areas
    ]
    for place in walls.thinnest:
        least = required.get(place.area)
        within = None if least is None else place.thickness_mm >= least
        rows.append(
            (
                *("place", place.area, place.where, place.thickness_mm, place.ray_mm),
                *(place.ball_mm, least, within, None, None, None, None),
                *place.place_mm.tolist(),
            )
        )
    return table(WALL_COLUMNS, rows).text


def _fit_rows(result: FitResult) -> Iterator[tuple[object, ...]]:
    limits = {(one.part, one.measure, one.area): one for one in judged(result)}
    for part, measure, area, found in _values(result):
        one = limits.get((part, measure, area))
        judgement = (None, "") if one is None else (one.limit, one.verdict)
        value, text = (None, found) if isinstance(found, str) else (found, "")
        yield part, measure, area, value, text, unit_of(measure), *judgement


def _values(result: FitResult) -> Iterator[tuple[str, str, str, Any]]:
    """Part, measure, area and value of everything."""
    if result.seat is not None:
        yield from _seat_values(result.seat)
    if result.triple_scan is not None:
        yield from _named("triple_scan", result.triple_scan, _TRIPLE)
    if result.gap is not None:
        yield from _gap_values(result.gap)
    if result.margin is not None:
        yield from _margin_values(result.margin)
    for wall in () if result.walls is None else result.walls.areas:
        yield from _named("walls", wall, _WALL, wall.area)
    for contact in () if result.contacts is None else result.contacts.rows:
        area = f"{contact.kind} {contact.side} ({contact.tooth})"
        yield from _named("contacts", contact, _CONTACT, area)
        yield "contacts", "strength", area, contact.strength


def _seat_values(seat: Seat) -> Iterator[tuple[str, str, str, Any]]:
    yield "seat", "stop", "", seat.stop
    yield from _named("seat", seat, _SEAT)
    yield "seat", "contact_spots", "", len(seat.spots)
    for play in seat.play:
        for name in ("across_um", "rise_um", "drop_um"):
            yield "seat", f"play_{name}", play.towards, getattr(play, name)
    if seat.relief is not None:
        names = ("most_um", "volume_mm3", "area_mm2", "above_intended_um")
        yield from _named("seat", seat.relief, names, "relief")


def _gap_values(gap: GapMap) -> Iterator[tuple[str, str, str, Any]]:
    for row in gap.areas:
        yield from _named("gap", row, _GAP, row.area)


def _margin_values(margin: MarginalGap) -> Iterator[tuple[str, str, str, Any]]:
    yield from _named("margin", margin, _MARGIN)
    for sector in margin.sectors:
        yield from _named("margin", sector, _SECTOR, sector.name)
    for one in margin.harmonics:
        area = f"{one.of}, harmonic {one.order}"
        yield from _named("margin", one, ("amplitude_um", "angle_deg"), area)


def _named(
    part: str, owner: Any, names: Iterable[str], area: str = ""
) -> Iterator[tuple[str, str, str, Any]]:
    for name in names:
        yield part, name, area, getattr(owner, name)


def _sector(margin: MarginalGap, angle: float) -> str:
    for sector in margin.sectors:
        if (angle - sector.from_deg) % 360.0 < (sector.to_deg - sector.from_deg) % 360.0:
            return sector.name
    return ""


def _contact_row(row: ToothContact) -> tuple[object, ...]:
    return (
        *(row.tooth, row.kind, row.side, row.strength, row.gap_um, row.area_mm2),
        *(row.designed_gap_um, row.designed_area_mm2, row.change_um),
        *(*row.place_mm.tolist(), row.sentence),
    )
