"""Write meshes: PLY with values and colours at the vertices, binary STL."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..atomic import atomic_write
from ..errors import SettingError
from .triangle_mesh import TriangleMesh

_PROPERTY_NAME = re.compile(r"[A-Za-z_]\w*\Z")
_RESERVED = frozenset(("x", "y", "z", "red", "green", "blue", "alpha"))


def write_mesh(
    path: str | Path,
    mesh: TriangleMesh,
    vertex_values: Mapping[str, ArrayLike] | None = None,
    vertex_colours: NDArray[np.uint8] | None = None,
) -> Path:
    """Write a mesh as binary little-endian PLY or binary STL, by the name's ending.

    Coordinates are written as float32: 0.001 µm at 10 mm.

    Parameters
    ----------
    path : str or pathlib.Path
        Ends in .ply or .stl.
    mesh : TriangleMesh
    vertex_values : mapping of str to (n,) array_like, optional
        Extra float vertex properties by name, such as ``deviation_um``; NaN stays NaN. PLY only.
    vertex_colours : (n, 3) uint8, optional
        Red, green, blue. PLY only.

    Returns
    -------
    pathlib.Path
        The path written.

    Raises
    ------
    SettingError
        Unknown ending, values or colours that do not fit the vertices or the format.
    FileError
        It cannot be written.

    Examples
    --------
    >>> import cuspwise
    >>> crown = cuspwise.demo_crown(edge_mm=0.5).mesh
    >>> heights = {"height_mm": crown.vertices[:, 2]}
    >>> cuspwise.write_mesh("crown.ply", crown, heights).name
    'crown.ply'
    """
    target = Path(path)
    suffix = target.suffix.lower()
    values = {name: np.asarray(v, dtype="<f4") for name, v in (vertex_values or {}).items()}
    if suffix == ".stl" and not values and vertex_colours is None:
        return atomic_write(target, _stl_bytes(mesh))
    if suffix == ".ply":
        _check_values(mesh, values, vertex_colours)
        return atomic_write(target, ply_bytes(mesh, values, vertex_colours))
    raise SettingError(
        f"{target.name} cannot hold this mesh.",
        subject="path",
        remedy="Use .ply, or .stl for a mesh without values and colours.",
    )


def _check_values(
    mesh: TriangleMesh,
    values: Mapping[str, NDArray[np.float32]],
    colours: NDArray[np.uint8] | None,
) -> None:
    count = len(mesh.vertices)
    for name, array in values.items():
        if array.shape != (count,) or not _PROPERTY_NAME.match(name) or name in _RESERVED:
            raise SettingError(
                f"Property {name!r} of shape {array.shape} does not fit {count:,} vertices.",
                subject="vertex_values",
                remedy="Give one number per vertex under a plain name.",
            )
    if colours is not None and (colours.shape != (count, 3) or colours.dtype != np.uint8):
        raise SettingError(
            f"Colours of shape {colours.shape} and type {colours.dtype} do not fit "
            f"{count:,} vertices.",
            subject="vertex_colours",
            remedy="Give three bytes (uint8) per vertex.",
        )


def ply_bytes(
    mesh: TriangleMesh,
    values: Mapping[str, NDArray[np.float32]] | None = None,
    colours: NDArray[np.uint8] | None = None,
) -> bytes:
    """Return a PLY file's content, as :func:`write_mesh` writes it.

    Parameters
    ----------
    mesh : TriangleMesh
    values : mapping of str to (n,) float32, optional
    colours : (n, 3) uint8, optional
    """
    columns: list[tuple[str, str, NDArray[np.generic]]] = [
        (axis, "float", mesh.vertices[:, k]) for k, axis in enumerate("xyz")
    ]
    columns += [(name, "float", array) for name, array in (values or {}).items()]
    if colours is not None:
        columns += [(c, "uchar", colours[:, k]) for k, c in enumerate(("red", "green", "blue"))]
    numpy_types = {"float": "<f4", "uchar": "u1"}
    rows = np.empty(
        len(mesh.vertices), dtype=[(name, numpy_types[kind]) for name, kind, _ in columns]
    )
    for name, _, array in columns:
        rows[name] = array
    faces = np.empty(len(mesh.faces), dtype=[("corners", "u1"), ("index", "<i4", 3)])
    faces["corners"] = 3
    faces["index"] = mesh.faces
    header = [
        "ply",
        "format binary_little_endian 1.0",
        f"element vertex {len(rows)}",
        *(f"property {kind} {name}" for name, kind, _ in columns),
        f"element face {len(faces)}",
        "property list uchar int vertex_indices",
        "end_header\n",
    ]
    return "\n".join(header).encode("ascii") + rows.tobytes() + faces.tobytes()


def _stl_bytes(mesh: TriangleMesh) -> bytes:
    rows = np.zeros(
        len(mesh.faces),
        dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("extra", "<u2")],
    )
    rows["normal"] = mesh.face_normals
    rows["corners"] = mesh.triangles
    header = b"binary STL, millimetres".ljust(80) + len(rows).to_bytes(4, "little")
    return header + rows.tobytes()
