"""The group of commands, and what they share: numbers within bounds, errors as one line, exit statuses."""

from __future__ import annotations

import math
from typing import Any

import click

from posture import __version__
from posture.errors import (
    ConditionsError,
    FindingsError,
    PostureError,
    RecordError,
    SpanError,
    missing_library_error,
)

EXIT_OTHER, EXIT_ARGUMENTS, EXIT_UNREADABLE = 1, 2, 3


class Number(click.FloatRange):
    """A number within bounds; what is no number at all, "nan", is refused too."""

    name = "number"

    def convert(self, value: Any, parameter: click.Parameter | None, context: click.Context | None) -> float:
        """Convert, see `click.ParamType`."""
        number = super().convert(value, parameter, context)
        if math.isnan(number):
            self.fail(f"Expected a number; '{value}' came.", parameter, context)
        return float(number)


class _Commands(click.Group):
    """Turns this package's errors into one line and an exit status."""

    def invoke(self, context: click.Context) -> Any:
        try:
            return super().invoke(context)
        except (ConditionsError, FindingsError, RecordError, SpanError) as error:
            click.echo(f"posture: {error}", err=True)
            context.exit(EXIT_ARGUMENTS)
        except PostureError as error:
            click.echo(f"posture: {error}", err=True)
            context.exit(EXIT_OTHER)
        except (ImportError, OSError) as error:
            missing = missing_library_error(error)
            if missing is None:
                raise
            click.echo(f"posture: {missing}", err=True)
            context.exit(EXIT_OTHER)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 120})
@click.version_option(__version__, prog_name="posture")
def main() -> None:
    """Measure a child's habitual head posture from ordinary video. A screening aid, not a diagnosis."""
