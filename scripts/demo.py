"""Run the whole job on the sample site: ``python scripts/demo.py [FOLDER]`` (default: demo_site).

Makes its own environment, brings in the sample layers, runs every analysis and says what to open.
"""

from __future__ import annotations

import sys

import environment


def main() -> int:
    """Set up and run; return the exit code of the job."""
    python = environment.python()
    return int(environment.run(python, "-m", "gravegis", "demo", *(sys.argv[1:] or ["demo_site"])))


if __name__ == "__main__":
    raise SystemExit(main())
