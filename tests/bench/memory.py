"""Memory of a process, as Linux counts it: of this program alone, not of the one that started it."""

from __future__ import annotations

from pathlib import Path


def most_memory() -> int:
    """Most memory this process has held since it began [MB].

    ``getrusage`` would also count what the process that started this one held.
    """
    return _field("VmHWM")


def begin_to_count() -> None:
    """Have :func:`most_memory` count from now on."""
    Path("/proc/self/clear_refs").write_text("5", encoding="utf-8")


def memory_now() -> int:
    """Memory this process holds now [MB]."""
    return _field("VmRSS")


def _field(name: str) -> int:
    lines = Path("/proc/self/status").read_text(encoding="utf-8").splitlines()
    return int(next(line for line in lines if line.startswith(f"{name}:")).split()[1]) // 1024
