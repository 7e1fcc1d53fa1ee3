"""Run the command line with ``python -m gravegis``."""

from gravegis.cli import main

if __name__ == "__main__":
    main()
