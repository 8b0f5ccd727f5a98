"""Triangle surfaces: the data structure, files, health, evaluation points, neighbours."""

from .files import MeshFile, read_mesh
from .graph import MeshGraph, border_loops, border_vertices, mesh_graph
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
    "border_loops",
    "border_vertices",
    "evaluation_mesh",
    "inspect_mesh",
    "mesh_graph",
    "read_mesh",
    "repair_mesh",
    "write_mesh",
]
