"""A design made ready for many superimpositions: samples, their tree and a lookup grid."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from scipy.spatial import cKDTree

from ..surface.closest import SurfaceIndex
from .frame import MotionFrame
from .lookup import SearchTarget
from .sampling import SurfaceSamples, surface_samples

_FINE_SAMPLES = 30_000


@dataclass(frozen=True, eq=False)
class PreparedDesign:
    """A design's surface index with what the search for a pose needs, built once on demand.

    Pass it instead of the index when many scans are laid on one design.

    Attributes
    ----------
    index : SurfaceIndex
        Exact closest points on the design.
    """

    index: SurfaceIndex

    @cached_property
    def samples(self) -> SurfaceSamples:
        """30,000 samples, evenly spread."""
        return surface_samples(self.index.mesh, _FINE_SAMPLES)

    @cached_property
    def tree(self) -> cKDTree:
        """Tree of :attr:`samples`."""
        return cKDTree(self.samples.points, balanced_tree=False)

    @cached_property
    def target(self) -> SearchTarget:
        """What poses are searched on."""
        return SearchTarget(self.samples)

    @property
    def frame(self) -> MotionFrame:
        """Frame in which steps are taken."""
        return self.target.frame

    @property
    def diagonal_mm(self) -> float:
        """Diagonal of the design's box, mm."""
        return self.index.mesh.diagonal_mm
