"""Run the command line with ``python -m lightplan``."""

from lightplan.cli import main

main()
