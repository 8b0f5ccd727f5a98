"""Ratios measured alternately in one run: peer, ours, peer, ours, …

Absolute times on a shared machine wander by tens of per cent; the ratio of neighbours does not.
"""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from statistics import median

THREADS = "2"
THREAD_NAMES = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
for _name in THREAD_NAMES:
    os.environ.setdefault(_name, THREADS)


NO_PEER = "none"


@dataclass(frozen=True)
class Row:
    """One line of the table.

    Attributes
    ----------
    what : str
        What was measured, on which data.
    peer : str
        The peer's name.
    ours_s, peer_s : float
        Median times, s.
    ratio : float
        Median of the pairwise ratios peer / ours; above 1 ours is faster.
    goal : float or None
        The ratio asked for.
    note : str
        Anything measured beside it, such as the largest difference.
    does : str
        What both sides do, and what only one of them does.
    memory_mb : float
        Peak resident memory of our process, MB; of the process that the row ran in, both sides
        together, unless ours ran in one of its own.
    """

    what: str
    peer: str
    ours_s: float
    peer_s: float
    ratio: float
    goal: float | None = None
    note: str = ""
    does: str = ""
    memory_mb: float = math.nan


def seconds(work: Callable[[], object]) -> float:
    """Wall time of one call, s."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def alternate(
    what: str,
    ours: Callable[[], object],
    peers: Mapping[str, Callable[[], object]],
    *,
    rounds: int,
    goals: Mapping[str, float] | None = None,
    notes: Mapping[str, str] | None = None,
    does: str = "",
) -> list[Row]:
    """Time ours and every peer once per round, in turn, after one round that does not count.

    One row for each peer; without any, one of ours alone.
    """
    times: dict[str, list[float]] = {name: [] for name in ("ours", *peers)}
    for count in range(rounds + 1):
        for name, work in {"ours": ours, **peers}.items():
            took = seconds(work)
            if count:
                times[name].append(took)
    if not peers:
        return [Row(what, NO_PEER, median(times["ours"]), math.nan, math.nan, does=does)]
    return [
        Row(
            what=what,
            peer=name,
            ours_s=median(times["ours"]),
            peer_s=median(times[name]),
            ratio=median(p / o for p, o in zip(times[name], times["ours"], strict=True)),
            goal=(goals or {}).get(name),
            note=(notes or {}).get(name, ""),
            does=does,
        )
        for name in peers
    ]


def table(rows: list[Row]) -> str:
    """The rows as text for a terminal."""
    head = f"{'what':58} {'peer':24} {'ours s':>8} {'peer s':>8} {'ratio':>6} {'goal':>5}"
    lines = [f"{head} {'MB':>6}  note"]
    for row in rows:
        goal = "" if row.goal is None else f"{row.goal:.2f}"
        mark = "" if row.goal is None or row.ratio >= row.goal else " below"
        lines.append(
            f"{row.what:58} {row.peer:24} {row.ours_s:8.3f} {row.peer_s:8.3f}"
            f" {row.ratio:6.2f} {goal:>5}{mark} {row.memory_mb:6.0f}  {row.note}"
        )
    return "\n".join(lines)
