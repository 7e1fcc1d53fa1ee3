"""Run one function in a process of its own and tell its time and its peak of memory.

``python scripts/benches/child.py MODULE:FUNCTION ARGUMENT ...`` prints one line of JSON.
"""

from __future__ import annotations

import importlib
import json
import os
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

__all__ = ["Told", "in_child"]

Told = dict[str, float | int | None]


def in_child(function: str, *arguments: str) -> Told:
    """Return seconds, processor_s, peak_gb (None where the system does not say) and what the function told."""
    command = [sys.executable, str(Path(__file__)), function, *arguments]
    paths = os.pathsep.join(part for part in (str(ROOT), os.environ.get("PYTHONPATH", "")) if part)
    done = subprocess.run(command, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": paths}, check=False)
    if done.returncode:
        raise RuntimeError(f"{function} failed: {done.stderr.strip()[-500:]}")
    told: Told = json.loads(done.stdout.splitlines()[-1])
    return told


def _peak_gb() -> float | None:
    """Return the peak of resident memory of this process in GB of 1e9 bytes.

    On Linux from /proc: the figure of getrusage keeps the peak of the parent over the start of a child.
    """
    status = Path("/proc/self/status")
    if status.exists():
        lines = [line for line in status.read_text(encoding="ascii", errors="replace").splitlines() if "VmHWM" in line]
        if lines:
            return int(lines[0].split()[1]) * 1024 / 1e9
    try:
        import resource
    except ImportError:  # Windows
        return None
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak * (1 if sys.platform == "darwin" else 1024) / 1e9


def main() -> int:
    """Run the function named and print what it told, its time and its peak."""
    module, _, name = sys.argv[1].partition(":")
    function = getattr(importlib.import_module(module), name)
    begin = time.perf_counter()
    told = function(*sys.argv[2:])
    took = {"seconds": time.perf_counter() - begin, "processor_s": time.process_time(), "peak_gb": _peak_gb()}
    print(json.dumps({**took, **told}))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
