"""Triangle surfaces: the data structure, files, health, evaluation points, neighbours."""

from .files import MeshFile, read_mesh
from .graph import MeshGraph
from .health import HealthReport, inspect_mesh
from .refine import EvaluationMesh, evaluation_mesh
from .repair import Repair, repair_mesh
from .triangle_mesh import TriangleMesh
from .write import write_mesh

__all__ = [
    "EvaluationMesh",
    "HealthReport",
    "MeshFile",
    "MeshGraph",
    "Repair",
    "TriangleMesh",
    "evaluation_mesh",
    "inspect_mesh",
    "read_mesh",
    "repair_mesh",
    "write_mesh",
]
