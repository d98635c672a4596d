"""Measure a child's habitual head posture from ordinary video."""

__version__ = "0.1.0"
