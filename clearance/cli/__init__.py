"""The `clearance` command: arguments in, lines and exit codes out. Everything heavy is imported where it is used."""

from clearance.cli.app import app
from clearance.cli.main import main

__all__ = ["app", "main"]
