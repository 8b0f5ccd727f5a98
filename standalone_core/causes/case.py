"""A crown whose causes are told: its deviations at the points beside what its cells bear."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..arrays import FloatArray
from ..deviation.facet_sag import edges_at_mm
from ..mesh.triangle_mesh import TriangleMesh
from .bur_radius import BurRadius, search_bur_radius
from .corner_fields import effective_bur_mm
from .design_fields import CauseFields, Fields
from .filled_places import FilledPlace, filled_places
from .found import LOCAL_FAMILIES, Found
from .local_sizes import SizeAtPoints, local_size
from .prediction import superimposed_anew
from .rings import columns_of
from .scale_causes import MainDirections, Strain, main_directions, strain_of
from .settings import ProductionFacts


@dataclass(frozen=True, eq=False)
class Case:
    """What rows and sentences are made from.

    Attributes
    ----------
    fields : CauseFields
    found : Found
    facts : ProductionFacts
    deviation_mm : (n,) float
        Deviations at the evaluation points, facet sag and the scanner's known scale taken off;
        NaN where not measured.
    scan_edge_mm : float
        Mean edge of the scan's triangles; NaN if not known.
    scan : TriangleMesh or None
        The superimposed scan with its own triangles, where there is one.
    """

    fields: CauseFields
    found: Found
    facts: ProductionFacts
    deviation_mm: FloatArray
    scan_edge_mm: float = math.nan
    scan: TriangleMesh | None = None

    @cached_property
    def columns(self) -> Mapping[int, FloatArray]:
        """The explaining members' columns at the points, (n, k), mm per unit."""
        return {place: self.column(place) for place in self.found.explaining}

    def column(self, place: int) -> FloatArray:
        """Return a member's columns at the points, (n, k), mm per unit."""
        member = self.found.member(place)
        fields: Fields = self.fields.fields
        shapes = self.found.shapes
        if member.family == "scale":
            return fields.strain @ member.strains
        if member.family == "margin":
            ring = fields.rings[shapes["rings"]]
            return ring[:, columns_of(member.cause)]
        if member.family == "growth":
            sides = {
                "growth_uniform": fields.outside + fields.inside,
                "growth_outside": fields.outside,
                "growth_inside": fields.inside,
            }
            return sides[member.cause][:, None]
        options, name = {
            "filled_fossae": (fields.fossae, "fossae"),
            "not_reached_outside": (fields.bur_outside, "bur_outside"),
            "not_reached_inside": (fields.bur_inside, "bur_inside"),
            "filled_intaglio": (fields.bur_inside, "bur_inside"),
        }[member.cause]
        return options[shapes[name]][:, None]

    def sizes(self, place: int) -> FloatArray:
        """Sizes of one explaining member in the fit of all of them."""
        block = self.found.best.model.blocks[place]
        fit = self.found.fitted
        start = int(np.flatnonzero(fit.columns == block[0])[0])
        return fit.sizes[start : start + len(block)]

    def is_local(self, place: int) -> bool:
        """Whether a member is sized at points."""
        return self.found.member(place).family in LOCAL_FAMILIES

    @cached_property
    def smooth_mm(self) -> FloatArray:
        """What the motion and all but the local causes make at the points, (n,), mm."""
        made = self.fields.fields.rigid @ self.found.fitted.rigid
        for place, column in self.columns.items():
            if not self.is_local(place):
                made = made + column @ self.sizes(place)
        return made

    @cached_property
    def local(self) -> Mapping[int, SizeAtPoints]:
        """The sizes of the local causes, at points."""
        places = [place for place in self.columns if self.is_local(place)]
        rest = self.deviation_mm - self.smooth_mm
        # They lie in different places: one after another is all at once.
        return {place: local_size(self.fields, self.columns[place][:, 0], rest) for place in places}

    @cached_property
    def made_mm(self) -> Mapping[int, FloatArray]:
        """The deviation that each explaining member makes at the points, (n,), mm."""
        made = {}
        for place, column in self.columns.items():
            local = self.local.get(place)
            sizes = self.sizes(place) if local is None else np.array([local.share])
            made[place] = column @ sizes
        return made

    @cached_property
    def deviation_rms_um(self) -> float:
        """Root mean square of all that was measured, µm."""
        counts = np.isfinite(self.deviation_mm)
        weights = self.fields.area_set.evaluation.weights_mm2[counts]
        return 1e3 * float(np.sqrt(np.average(self.deviation_mm[counts] ** 2, weights=weights)))

    @cached_property
    def rms_um(self) -> Mapping[int, float]:
        """Root mean square of what each makes after superimposition, over what was measured, µm."""
        rigid, weights = self.fields.fields.rigid, self.fields.area_set.evaluation.weights_mm2
        counts = np.isfinite(self.deviation_mm)
        sizes = {}
        for place, made in self.made_mm.items():
            left = superimposed_anew(np.where(counts, made, np.nan), rigid, weights)[counts]
            sizes[place] = 1e3 * float(np.sqrt(np.average(left**2, weights=weights[counts])))
        return sizes

    @cached_property
    def left_mm(self) -> FloatArray:
        """What motion and causes leave at the points, (n,), mm; NaN where not measured."""
        motion = self.fields.fields.rigid @ self.found.fitted.rigid
        return self.deviation_mm - motion - sum(self.made_mm.values(), np.zeros(len(motion)))

    @cached_property
    def filled(self) -> Mapping[int, tuple[FilledPlace, ...]]:
        """The places of each local cause."""
        return {
            place: filled_places(
                self.fields.area_set.evaluation, self.made_mm[place], residual_mm=self.left_mm
            )
            for place in self.local
        }

    def edge_in_places_mm(self, place: int) -> float:
        """Mean edge of the scan's triangles where a local cause is, mm; of all if not known."""
        spots = self.filled[place]
        if self.scan is None or not spots:
            return self.scan_edge_mm
        points = np.concatenate([spot.points for spot in spots])
        where = self.fields.area_set.evaluation.points[points]
        return float(edges_at_mm(where, self.scan).mean())

    def bur(self, place: int) -> BurRadius:
        """Search the bur's radius in what it left."""
        inside = self.found.member(place).cause.endswith("inside")
        tried = self.fields.fields.bur_inside if inside else self.fields.fields.bur_outside
        others = np.zeros(len(self.deviation_mm))
        for other in self.local:
            if other != place:
                others = others + self.made_mm[other]
        evidence = self.found.best
        return search_bur_radius(
            list(tried),
            np.stack(list(tried.values())),
            self.deviation_mm - self.smooth_mm - others,
            np.where(self.fields.cell >= 0, self.fields.area_set.evaluation.weights_mm2, 0.0),
            self.fields.area_set.evaluation.points,
            noise_um=1e3 * evidence.covariance.sigma_mm,
            noise_length_mm=evidence.covariance.length_mm,
            cell_mm=self.fields.cell_mm,
        )

    @cached_property
    def bur_mm(self) -> float | None:
        """The given bur's radius as it shows on the crown, mm."""
        return effective_bur_mm(self.facts)

    def tool_radius_mm(self, place: int) -> float:
        """Return the radius of the ball whose excess was taken for a tool's."""
        inside = self.found.member(place).cause.endswith("inside")
        return self.found.shapes["bur_inside" if inside else "bur_outside"]

    @property
    def bur_is_tried(self) -> bool:
        """Whether a bur was given and its radius makes sense."""
        return self.bur_mm is not None and self.bur_mm in self.fields.fields.bur_inside

    @cached_property
    def scale_places(self) -> tuple[int, ...]:
        """The stated members of the scale family that are told from growth."""
        stated = [one for one in self.found.statements if one.family == "scale"]
        return tuple(one.place for one in stated if one.named and not one.instead)

    @cached_property
    def strain(self) -> Strain | None:
        """The stated strain; None without one."""
        if not self.scale_places:
            return None
        return strain_of(self.found.evidence, self.scale_places)

    @cached_property
    def main(self) -> MainDirections | None:
        """Main directions of a strain that differs per direction."""
        causes = [self.found.member(place).cause for place in self.scale_places]
        if self.strain is None or "scale_per_direction" not in causes:
            return None
        return main_directions(self.strain)

    @cached_property
    def build_axis(self) -> FloatArray | None:
        """The build direction, given, or found where the strain has one odd direction."""
        if self.facts.build_axis is not None:
            return np.array(self.facts.build_axis)
        return self.main.directions[0] if self.main is not None and self.main.uniaxial else None

    def extent_mm(self, direction: FloatArray | None) -> float:
        """Size of the crown along a direction, mm; the largest of its box where there is none."""
        points = self.fields.area_set.evaluation.points
        if direction is None:
            return float(np.ptp(points, axis=0).max())
        return float(np.ptp(points @ direction))
