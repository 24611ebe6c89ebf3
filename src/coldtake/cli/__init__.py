"""The command line. Nothing heavy is imported before a command needs it."""

from coldtake.cli.entry import main

__all__ = ["main"]
