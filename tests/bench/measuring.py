"""Time and memory of this process, and of the scratch server, on Linux."""

from __future__ import annotations

import os
import resource
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

TICKS = os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True)
class Cost:
    """Seconds by the clock, seconds of processor time here, and of the database server."""

    wall: float
    cpu: float
    server: float = 0.0

    @property
    def work(self) -> float:
        """Processor time of both: what the clock would show on an idle machine, one after the other."""
        return self.cpu + self.server

    def plain(self) -> dict[str, float]:
        return asdict(self)


def cost_of(step: Callable[[], Any], *, times: int = 1, server: Path | None = None) -> tuple[Cost, Any]:
    """The quickest of several runs by the clock, and what the step returns."""
    costs, found = [], None
    for _ in range(times):
        found = None
        before = time.perf_counter(), time.process_time(), _server_seconds(server)
        found = step()
        after = time.perf_counter(), time.process_time(), _server_seconds(server)
        costs.append(Cost(*(b - a for a, b in zip(before, after, strict=True))))
    return min(costs, key=lambda cost: cost.wall), found


def peak_mb() -> float:
    """Most memory this process ever held."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _server_seconds(folder: Path | None) -> float:
    """Processor time of all server processes that live, and of those that ended."""
    if folder is None:
        return 0.0
    postmaster = next(folder.glob("pg*/postmaster.pid")).read_text().split()[0]
    total = 0
    for place in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = place.read_text().rsplit(")", 1)[1].split()
        except OSError:
            continue
        if fields[1] == postmaster:
            total += int(fields[11]) + int(fields[12])
        elif place.parent.name == postmaster:
            total += sum(int(field) for field in fields[11:15])
    return total / TICKS
