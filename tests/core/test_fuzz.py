"""Hundreds of damaged files: each gives a mesh or a CuspwiseError, in time and memory.

The files go through reading, inspection, repair and refinement in a child process that the
system limits to 2 GB of address space. A file that takes more than 10 s is interrupted and
counts as a failure, and so does anything raised that is not a CuspwiseError.
"""

from __future__ import annotations

import io
import json
import os
import re
import signal
import struct
import subprocess
import sys
import tempfile
import time
import traceback
import zipfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from made.tiers import slow

SECONDS_PER_FILE = 10.0
MEMORY_BYTES = 2 * 1024**3
SEED = 20261125


@pytest.mark.skipif(sys.platform != "linux", reason="the limits are those of Linux")
@pytest.mark.parametrize("count", [600, slow(2000)])
def test_damaged_files_give_a_result_or_a_cuspwise_error(count: int) -> None:
    child = subprocess.run(
        [sys.executable, __file__, str(count), str(SEED)],
        # Each thread of the linear algebra library would reserve address space of its own.
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        timeout=280,
        check=False,
    )
    assert child.returncode == 0, child.stdout[-2000:] + child.stderr[-4000:]
    summary = json.loads(child.stdout.splitlines()[-1])
    assert summary["failures"] == []
    assert summary["files"] == count
    assert summary["slowest_s"] < SECONDS_PER_FILE
    assert summary["peak_bytes"] < MEMORY_BYTES
    # The damage is of a kind that some files survive and others do not, in every format.
    for format_name, outcomes in summary["outcomes"].items():
        assert outcomes.get("mesh", 0) >= 5, format_name
        assert outcomes.get("FileError", 0) >= 5, format_name
    # Nothing leaks out sideways, such as a traceback that a parser logs.
    assert child.stderr == ""


# --- whole files to start from ---------------------------------------------------------------


def _base_files() -> dict[str, bytes]:
    """Return small whole files of every format, by name."""
    import trimesh

    sphere = trimesh.creation.icosphere(subdivisions=2, radius=5.0)
    box = trimesh.creation.box(extents=(8.0, 9.0, 10.0))
    box.apply_translation((20.0, 0.0, 0.0))
    both = trimesh.util.concatenate([sphere, box])
    coloured = sphere.copy()
    coloured.visual.vertex_colors = np.full((len(sphere.vertices), 4), 200, dtype=np.uint8)
    scene = trimesh.Scene()
    scene.add_geometry(box, transform=trimesh.transformations.rotation_matrix(0.3, [0, 0, 1]))
    scene.add_geometry(sphere, transform=trimesh.transformations.translation_matrix([9, 0, 0]))
    return {
        "binary.stl": both.export(file_type="stl"),
        "text.stl": both.export(file_type="stl_ascii").encode(),
        "binary.ply": coloured.export(file_type="ply"),
        "text.ply": box.export(file_type="ply", encoding="ascii"),
        "big_endian.ply": _big_endian_ply(sphere.vertices, sphere.faces),
        "triangles.obj": both.export(file_type="obj", include_normals=True).encode(),
        "quads.obj": _quad_obj(),
        "triangles.off": sphere.export(file_type="off").encode(),
        "parts.3mf": scene.export(file_type="3mf"),
    }


def _big_endian_ply(vertices: np.ndarray, faces: np.ndarray) -> bytes:
    header = (
        f"ply\nformat binary_big_endian 1.0\nelement vertex {len(vertices)}\n"
        "property double x\nproperty double y\nproperty double z\n"
        f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    rows = np.empty(len(faces), dtype=[("n", "u1"), ("index", ">i4", 3)])
    rows["n"], rows["index"] = 3, faces
    return header.encode() + vertices.astype(">f8").tobytes() + rows.tobytes()


def _quad_obj() -> bytes:
    corners = [f"v {5 * x} {6 * y} {7 * z}" for x in (0, 1) for y in (0, 1) for z in (0, 1)]
    quads = ["1 2 4 3", "5 7 8 6", "1 5 6 2", "3 4 8 7", "1 3 7 5", "-7 -3 -1 -5"]
    return "\n".join(
        ["# box", "mtllib none.mtl", *corners, *(f"f {q}" for q in quads), ""]
    ).encode()


# --- damage ----------------------------------------------------------------------------------

NUMBER_WORDS = [
    *(b"nan", b"inf", b"-inf", b"1e308", b"-1e300", b"1e-320", b"0", b"-1", b"2147483648"),
    *(b"99999999999999999999", b"1.5", b"4294967295", b"1,5", b"x", b"", b"\xff\xfe", b"7 7 7"),
]
BINARY_WORDS = [
    struct.pack("<f", value) for value in (np.nan, np.inf, -np.inf, 3e38, -3e38, 1e-40, 1e9)
] + [b"\xff\xff\xff\xff", b"\0\0\0\0", struct.pack("<i", -1), struct.pack(">I", 1 << 30)]


def _truncate(data: bytes, rng: np.random.Generator) -> bytes:
    return data[: int(rng.integers(0, len(data)))]


def _flip_bits(data: bytes, rng: np.random.Generator) -> bytes:
    damaged = np.frombuffer(data, dtype=np.uint8).copy()
    places = rng.integers(0, len(data), size=int(rng.choice([1, 1, 2, 5, 50])))
    damaged[places] ^= (1 << rng.integers(0, 8, size=len(places))).astype(np.uint8)
    return damaged.tobytes()


def _wreck_numbers(data: bytes, rng: np.random.Generator) -> bytes:
    """Put NaN, infinity, huge, negative or no numbers where numbers were."""
    if b"\0" in data:
        damaged = bytearray(data)
        for _ in range(int(rng.choice([1, 1, 2, 20]))):
            place = int(rng.integers(0, max(len(data) - 4, 1)))
            damaged[place : place + 4] = BINARY_WORDS[rng.integers(len(BINARY_WORDS))]
        return bytes(damaged[: len(data)])
    return _replace_matches(data, rb"-?\d+\.?\d*(?:e-?\d+)?", rng, int(rng.choice([1, 1, 2, 20])))


def _wreck_header(data: bytes, rng: np.random.Generator) -> bytes:
    """Put wrong counts, types and words in the first bytes."""
    if data[80:84] and b"\0" in data[:84]:
        count = rng.choice([0, 1, 331, 333, 2**31, 2**32 - 1, 10_000_000])
        return data[:80] + struct.pack("<I", int(count)) + data[84:]
    head, body = data[:400], data[400:]
    pattern = rb"\d+" if rng.random() < 0.5 else rb"[A-Za-z_]+"
    return _replace_matches(head, pattern, rng, int(rng.choice([1, 2, 5]))) + body


def _replace_matches(data: bytes, pattern: bytes, rng: np.random.Generator, count: int) -> bytes:
    found = list(re.finditer(pattern, data))
    if not found:
        return data
    chosen = sorted(rng.choice(len(found), size=min(count, len(found)), replace=False))
    for k in reversed(chosen):
        start, end = found[k].span()
        data = data[:start] + NUMBER_WORDS[rng.integers(len(NUMBER_WORDS))] + data[end:]
    return data


def _move_pieces(data: bytes, rng: np.random.Generator) -> bytes:
    """Cut out, double, or replace by noise a stretch of the file."""
    start, end = sorted(int(k) for k in rng.integers(0, len(data), size=2))
    end = min(end, start + int(rng.choice([1, 50, 5000])))
    kind = rng.integers(3)
    middle = [b"", data[start:end] * int(rng.choice([2, 40])), rng.bytes(end - start)][kind]
    return data[:start] + middle + data[end:]


def _repeat(data: bytes, rng: np.random.Generator) -> bytes:
    return data + data if rng.random() < 0.5 else data + rng.bytes(int(rng.integers(1, 3000)))


DAMAGE: list[Callable[[bytes, np.random.Generator], bytes]] = [
    _truncate,
    _flip_bits,
    _wreck_numbers,
    _wreck_header,
    _move_pieces,
    _repeat,
]


def _damaged(name: str, data: bytes, rng: np.random.Generator) -> tuple[str, bytes]:
    damage = DAMAGE[rng.integers(len(DAMAGE))]
    if name.endswith(".3mf") and rng.random() < 0.7:
        damaged = _damage_inside_archive(data, damage, rng)
    else:
        damaged = damage(data, rng)
    if rng.random() < 0.2:
        damaged = DAMAGE[rng.integers(len(DAMAGE))](damaged, rng) if damaged else damaged
    if rng.random() < 0.05:
        name = Path(name).stem + str(rng.choice([".stl", ".ply", ".obj", ".off", ".3mf", ".txt"]))
    return name, damaged


def _damage_inside_archive(
    data: bytes, damage: Callable[[bytes, np.random.Generator], bytes], rng: np.random.Generator
) -> bytes:
    """Damage the model within a whole archive."""
    packed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(packed, "w") as new:
        for member in old.namelist():
            content = old.read(member)
            new.writestr(member, damage(content, rng) if member.endswith(".model") else content)
    return packed.getvalue()


# --- the child process -----------------------------------------------------------------------


class _TooSlow(BaseException):
    """Raised by the clock; no Exception, so that nothing can swallow it."""


def _ring(signum: int, frame: object) -> None:
    raise _TooSlow


# What only a programmer reads: classes of exceptions, reprs, what parsers say of themselves.
INTERNALS = re.compile(
    r"[A-Za-z]+(?:Error|Exception|Warning|Iteration)\b|<class |object at 0x|\bb['\"]|\[Errno|codec"
    r"|invalid literal|out of (?:bounds|range)|NoneType|subscript|unpack|dtype|argument|decompress"
)


def _use(path: Path) -> str:
    """Take a file through the whole of mesh handling; return what came of it."""
    from cuspwise.standalone_core.errors import CuspwiseError
    from cuspwise.standalone_core.mesh.files import read_mesh
    from cuspwise.standalone_core.mesh.health import inspect_mesh
    from cuspwise.standalone_core.mesh.refine import evaluation_mesh
    from cuspwise.standalone_core.mesh.repair import repair_mesh

    try:
        mesh = repair_mesh(read_mesh(path).mesh, ignore_loose_pieces=True).mesh
        inspect_mesh(mesh)
        evaluation_mesh(mesh, max(0.4, mesh.diagonal_mm / 60.0))
    except CuspwiseError as error:
        if INTERNALS.search(f"{error.reason} {error.remedy}"):
            raise ValueError(f"no plain words: {error}") from error
        return type(error).__name__ if error.reason and error.remedy else "no reason given"
    return "mesh"


def _own_peak_bytes() -> int:
    """Return this program's largest resident size.

    Not ``ru_maxrss``: that also remembers how large the process was that started this one.
    """
    status = Path("/proc/self/status").read_text()
    return int(re.search(r"VmHWM:\s+(\d+) kB", status)[1]) * 1024


def _run(count: int, seed: int) -> None:
    import resource

    import trimesh  # noqa: F401  (its import is no part of any file's time)

    bases = list(_base_files().items())
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    signal.signal(signal.SIGALRM, _ring)
    outcomes: dict[str, Counter[str]] = {name: Counter() for name, _ in bases}
    failures, slowest = [], 0.0
    with tempfile.TemporaryDirectory() as folder:
        for k in range(count):
            rng = np.random.default_rng([seed, k])
            base, data = bases[k % len(bases)]
            name, damaged = _damaged(base, data, rng)
            path = Path(folder) / name
            path.write_bytes(damaged)
            started = time.perf_counter()
            signal.setitimer(signal.ITIMER_REAL, SECONDS_PER_FILE)
            try:
                outcomes[base][_use(path)] += 1
            except BaseException:
                failures.append(f"file {k}, {base}: {traceback.format_exc(limit=-3)}")
            finally:
                signal.setitimer(signal.ITIMER_REAL, 0.0)
            slowest = max(slowest, time.perf_counter() - started)
            path.unlink()
    summary = {
        "files": count,
        "failures": failures[:10],
        "outcomes": outcomes,
        "slowest_s": slowest,
        "peak_bytes": _own_peak_bytes(),
    }
    print(json.dumps(summary))


if __name__ == "__main__":
    _run(int(sys.argv[1]), int(sys.argv[2]))
