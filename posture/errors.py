"""The errors of this package: what was expected, what came, what to do.

Everything a user can cause is one of these, so that the command line and the page can catch exactly ours; anything else is a
bug and is shown as one.
"""


class PostureError(Exception):
    """Base of all errors this package raises on purpose; its text is fit to be shown to a user."""


class ClipError(PostureError):
    """The clip cannot be read: not a regular file, not a video or photograph, damaged, too large, or without frames."""


class CrashError(ClipError):
    """The process that read the clip crashed, hung, or was ended by the system; others are not touched by that."""


class FaultError(PostureError):
    """A fault of this program met while one clip was measured in a process of its own; where it lies is in its notes."""


class ModelError(PostureError):
    """A landmark model is missing or altered, or a system library that it needs is missing."""


class TrackError(PostureError, ValueError):
    """A HeadTrack that breaks its own rules (shapes, order of times, values out of range)."""


class ConditionsError(PostureError, ValueError):
    """The file of conditions does not hold what it should."""


class FindingsError(PostureError, ValueError):
    """The file of findings does not hold what it should."""


class SpanError(PostureError, ValueError):
    """Marked times that cannot be read, or marks on a picture that cannot be."""


class RecordError(PostureError, ValueError):
    """A file that should hold the summary of a clip does not."""


class OutputError(PostureError):
    """A result could not be written, or would overwrite the result of another clip."""


SYSTEM_LIBRARIES = {
    "libGL": "libgl1",
    "libEGL": "libegl1",
    "libGLES": "libgles2",
    "libglib": "libglib2.0-0",
    "libgthread": "libglib2.0-0",
}
"""System libraries that the landmark library and OpenCV load, with the Debian package that holds each."""


def missing_library_error(error: BaseException) -> ModelError | None:
    """Turn the failure to load a native library into one line that names the package to install.

    Parameters
    ----------
    error : BaseException
        What the import raised.

    Returns
    -------
    ModelError or None
        None when no system library is missing.
    """
    text = str(error)
    # Longer names first: libGL is the beginning of libGLES.
    for library, package in sorted(SYSTEM_LIBRARIES.items(), key=lambda item: -len(item[0])):
        if library in text:
            return ModelError(
                f"Expected the system library {library}; it is not installed. On Debian or Ubuntu: sudo apt-get install -y"
                f" {package} (all that this program needs: {' '.join(dict.fromkeys(SYSTEM_LIBRARIES.values()))})."
            )
    return None
