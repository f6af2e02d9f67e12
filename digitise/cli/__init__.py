"""The command line: parses, calls, prints; it computes nothing itself."""

from digitise.cli.app import main

__all__ = ["main"]
