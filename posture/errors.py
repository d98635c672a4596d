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


class DateError(PostureError, ValueError):
    """A date that cannot be read."""


class RecordError(PostureError, ValueError):
    """A file that should hold the summary of a clip does not."""


class OutputError(PostureError):
    """A result could not be written, or would overwrite the result of another clip."""


class RecordsError(PostureError):
    """The records cannot be opened, read or written, or something that cannot be kept was to be kept."""


class AlreadyKeptError(RecordsError):
    """The same file is in the records already; nothing was replaced.

    Attributes
    ----------
    clip_id : int or None
        As which clip of the same person; None when it is kept under another code, of which nothing is told.
    """

    def __init__(self, text: str, clip_id: int | None) -> None:
        super().__init__(text)
        self.clip_id = clip_id


class ChangedMeanwhileError(RecordsError):
    """What was to be changed has been changed or erased since it was read; nothing was overwritten."""


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


class ExtraError(PostureError):
    """A library that only one extra of this package brings is not installed."""


class CameraError(PostureError):
    """A camera cannot be opened, or its pictures cannot be used."""


class ConsentError(RecordError):
    """A file that should hold consents does not, or holds something that is none."""


class ReplayError(PostureError):
    """A measured clip of which no face-free replay can be drawn."""


class FamilyListError(RecordError):
    """A list of a family's films does not hold what such a list holds."""
