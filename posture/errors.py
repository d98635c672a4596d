"""The errors of this package: what was expected, what came, what to do.

Everything a user can cause is one of these, so that the command line and the page can catch exactly ours; anything else is a
bug and is shown as one.
"""


class PostureError(Exception):
    """Base of all errors this package raises on purpose; its text is fit to be shown to a user."""


class ClipError(PostureError):
    """The clip cannot be read: not a regular file, not a video or photograph, damaged, too large, or without frames."""


class ModelError(PostureError):
    """A landmark model is missing or altered, or a system library that it needs is missing."""


class TrackError(PostureError, ValueError):
    """A HeadTrack that breaks its own rules (shapes, order of times, values out of range)."""


class ConditionsError(PostureError, ValueError):
    """The file of conditions does not hold what it should."""


class OutputError(PostureError):
    """A result could not be written, or would overwrite the result of another clip."""
