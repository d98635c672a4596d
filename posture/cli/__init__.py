"""The command line: a thin face on the same functions as the page; no arithmetic. A module of commands each."""

from posture.cli import audit, compare, family, film, hint, home, measure, replay, report, start
from posture.cli.group import main

__all__ = ["audit", "compare", "family", "film", "hint", "home", "main", "measure", "replay", "report", "start"]
