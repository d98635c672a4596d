"""The command line: a thin face on the same functions as the page; no arithmetic. A module of commands each."""

from posture.cli import hint, measure, start
from posture.cli.group import main

__all__ = ["hint", "main", "measure", "start"]
