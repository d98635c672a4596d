"""`python -m posture.cli`, the same as `posture`."""

from posture.cli.group import main

main(prog_name="posture")
