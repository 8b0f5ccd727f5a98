"""The full form's table as a page of the documentation, with where and when it was measured."""

from __future__ import annotations

import importlib.metadata
import math
import os
import platform
from datetime import UTC, datetime
from pathlib import Path

from ratios import Row

PAGE = Path(__file__).resolve().parents[2] / "docs" / "speed.md"
PACKAGES = ("cuspwise", "numpy", "scipy", "open3d", "libigl")
HEAD = """\
# How fast it is

Measured by `python tests/benchmarks --write`, on one machine and one day: {where}.

Ours and the peer's run alternately on the same files; a ratio is the peer's time over ours, above 1
we are faster. Times are medians, s of a clock. Memory is the peak of our largest process, MB; of
rows inside one process that of both sides together. What each side does, and does not, stands in
the last column.

| What | Peer | Ours, s | Peer, s | Ratio | Goal | Memory, MB | Note | What both sides do |
|---|---|---|---|---|---|---|---|---|
"""


def write(rows: list[Row], page: Path = PAGE) -> None:
    """Write the page."""
    page.write_text(HEAD.format(where=where()) + "".join(map(_line, rows)), encoding="utf-8")


def where() -> str:
    """Date, machine and versions, in words."""
    parts = [f"{datetime.now(UTC):%d %B %Y}", _processor(), f"{os.cpu_count()} processors"]
    parts += [f"{_memory_gb():.0f} GB", platform.system(), f"Python {platform.python_version()}"]
    return ", ".join([*parts, *_versions()])


def _versions() -> list[str]:
    found = []
    for name in PACKAGES:
        try:
            found.append(f"{name} {importlib.metadata.version(name)}")
        except importlib.metadata.PackageNotFoundError:
            found.append(f"without {name}")
    return found


def _processor() -> str:
    cpuinfo = Path("/proc/cpuinfo")
    lines = cpuinfo.read_text("utf-8").splitlines() if cpuinfo.exists() else []
    named = [line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")]
    return named[0] if named else platform.machine()


def _memory_gb() -> float:
    return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9


def _line(row: Row) -> str:
    cells = [row.what, row.peer, *map(_number, (row.ours_s, row.peer_s, row.ratio, row.goal))]
    memory = "" if math.isnan(row.memory_mb) else f"{row.memory_mb:.0f}"
    return "| " + " | ".join([*cells, memory, row.note, row.does]) + " |\n"


def _number(value: float | None) -> str:
    return "" if value is None or math.isnan(value) else f"{value:.3g}"
