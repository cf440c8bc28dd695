"""The command line: it translates words to tasks and results to words, and decides nothing."""

from lightplan.cli.app import main

__all__ = ["main"]
