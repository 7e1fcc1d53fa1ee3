"""Set up everything the tests need and run them: ``python scripts/test.py [--full] [pytest arguments]``.

Style, types, import rules and tests, as on the build machine. ``--full`` adds the heavy ones.
"""

from __future__ import annotations

import sys

import environment

CHECKS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("style", ("-m", "ruff", "check", ".")),
    ("layout", ("-m", "ruff", "format", "--check", ".")),
    ("types", ("-m", "mypy")),
    ("import rules", ("-c", "from importlinter.cli import lint_imports_command as check; check()")),
)


def main() -> int:
    """Run every check, then the tests; return 0 only if all pass."""
    arguments = sys.argv[1:]
    full = "--full" in arguments
    rest = [one for one in arguments if one != "--full"]
    python = environment.python(extra="dev")
    failed = []
    if not rest:
        for name, command in CHECKS:
            print(f"== {name}", flush=True)
            if environment.run(python, *command):
                failed.append(name)
    print("== tests", flush=True)
    chosen = ["-m", "full or not full"] if full else []
    spread = [] if rest else ["-n", "auto", "--maxprocesses", "4"]
    if environment.run(python, "-m", "pytest", "-q", *spread, *chosen, *rest):
        failed.append("tests")
    if failed:
        print(f"FAILED: {', '.join(failed)}")
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main())
