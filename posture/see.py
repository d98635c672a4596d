"""Walks through the pictures of a clip: every person's head in every frame, then forgets the pictures and the points."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from os import PathLike
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from posture.clip import DEFAULT_EVERY_S, AheadReader, Clip, Frame, open_clip
from posture.face.faces import FacesFollower
from posture.face.model import load_canonical_face
from posture.face.persons import Person, join_stretches
from posture.face.scene import never_moved
from posture.face.seen import FaceSeen
from posture.geometry.pose import Camera, Pose, estimate_pose
from posture.signal.track import HeadTrack

DEFAULT_VIEW_SHARE = 0.9
"""Focal length that is taken where none is known, in longer sides of the picture: 58 degrees across, between a laptop's camera
(about 65) and a phone's main one (about 55) held for video (common practice, no source)."""

BAD_FIT_SHARE = 0.045
"""Faces whose points miss the canonical face by more, root mean square, as a share of the face's size, are left out, beside those of
no quality: faces of rendered and real people turned within 25 degrees stay under 0.035 (own measurement, no source)."""

BLURRED, SHARP = 0.2, 0.55
"""Detail of a face at which quality is 0 and 1. Sharp rendered faces of 25 px and more have 0.5 to 0.8; those with a blur of a
twenty-fifth of the face have 0.31 to 0.37, and are read three times less well (own measurement, no source)."""

OnFrame = Callable[[Frame, list[FaceSeen], float | None], None]
"""Called after every frame with the frame, the faces in it, and the share of the clip that is done (None: not known)."""


@dataclass(frozen=True)
class SeenPerson:
    """One person of a clip.

    Attributes
    ----------
    track : HeadTrack
        NaN where the person was out of sight.
    portrait : ndarray of uint8, shape (96, 96, 3), or None
        RGB; for choosing the person, kept in memory only.
    stretches : tuple of int
        Numbers of the stretches (`FaceSeen.stretch`) that are this person.
    seen_share : float
        Of the frames analysed: a face was there, also one left out for its quality.
    is_still : bool
        The face never moved against the scene: a picture, a doll, or somebody asleep.
    """

    track: HeadTrack
    portrait: NDArray[np.uint8] | None
    stretches: tuple[int, ...]
    seen_share: float
    is_still: bool


@dataclass(frozen=True)
class SeenClip:
    """All that was seen in one clip; no picture but the portraits.

    Attributes
    ----------
    kind : {"video", "photograph"}
    sha256 : str
    width_px, height_px : int
    time_s : ndarray, shape (n,)
        Of the frames analysed.
    persons : tuple of SeenPerson
        Person n is ``persons[n - 1]``: by face time times size, those who moved before those who never did.
    damage : str or None
        What is wrong with the file, if anything.
    filmed_on, filmed_on_source : str or None
        As the file says.
    focal_px : float
        With which the heads were seen.
    steps : tuple of str
        What was done, in plain words.
    """

    kind: Literal["video", "photograph"]
    sha256: str
    width_px: int
    height_px: int
    time_s: NDArray[np.float64]
    persons: tuple[SeenPerson, ...]
    damage: str | None
    filmed_on: str | None
    filmed_on_source: str | None
    focal_px: float
    steps: tuple[str, ...]

    def empty_track(self) -> HeadTrack:
        """The track of somebody who was not seen: NaN throughout."""
        return _track(self.time_s, {}, Camera(self.width_px, self.height_px, self.focal_px), self.steps)


def see_clip(
    path: str | PathLike[str],
    focal_px: float | None = None,
    view_deg: float | None = None,
    every_s: float = DEFAULT_EVERY_S,
    on_frame: OnFrame | None = None,
) -> SeenClip:
    """See every person's head in one video or photograph.

    Parameters
    ----------
    path : str or path
    focal_px : float or None
        Of the upright picture.
    view_deg : float or None
        Angle of view across the longer side, instead of focal_px.
    every_s : float
        Least time between frames that are analysed; 0 is every frame.
    on_frame : callable or None
        See `OnFrame`.

    Returns
    -------
    SeenClip

    Raises
    ------
    ClipError
        If the clip cannot be read.
    ModelError
        If the landmark model or a system library is missing.
    """
    with open_clip(path) as clip:
        info = clip.info
        focal = focal_length_px(focal_px, view_deg, info.focal_px, max(info.width_px, info.height_px))
        return _see(clip, Camera(info.width_px, info.height_px, focal), every_s, on_frame)


def _see(clip: Clip, camera: Camera, every_s: float, on_frame: OnFrame | None) -> SeenClip:
    """Look at every frame and keep angles and places."""
    face = load_canonical_face()
    times: list[float] = []
    poses: dict[int, dict[int, tuple[Pose, float]]] = {}
    with FacesFollower() as follower:
        # Decoding, looking and fitting each have a thread: the libraries work outside of the interpreter's lock.
        looked: AheadReader[tuple[Frame, list[FaceSeen]]] = AheadReader(
            lambda stopping: _look_at_all(clip.frames(every_s), follower),
            camera.width_px * camera.height_px,
            "face-follower",
        )
        try:
            for frame, faces in looked:
                for seen in faces:
                    pose = estimate_pose(seen.points_px, seen.depth_px, camera, face)
                    poses.setdefault(seen.stretch, {})[len(times)] = pose, face_quality(seen, pose)
                times.append(frame.time_s)
                if on_frame is not None:
                    on_frame(frame, faces, clip.progress(frame.time_s))
        finally:
            looked.stop()
    # Now that it was read, the clip knows all that was done to it.
    info, time_s = clip.info, np.array(times)
    steps = (
        *info.steps,
        "landmarks looked at until they settled; the library's causal filter passed through",
        f"canonical face fitted with a focal length of {camera.focal_px:.0f} px",
    )
    persons = []
    for person in join_stretches(follower.stretches, times[-1] if times else 0.0):
        rows = {row: pair for s in person.stretches for row, pair in poses[s.number].items() if s.counts(times[row])}
        persons.append(_person(person, time_s, rows, camera, steps, never_moved(person.stretches, follower.scene.steps)))
    order = sorted(persons, key=lambda p: (p.is_still, -np.nansum(p.track.face_height_px)))
    return SeenClip(
        kind=info.kind,
        sha256=info.sha256,
        width_px=info.width_px,
        height_px=info.height_px,
        time_s=time_s,
        persons=tuple(order),
        damage=clip.damage_note,
        filmed_on=info.filmed_on,
        filmed_on_source=info.filmed_on_source,
        focal_px=camera.focal_px,
        steps=steps,
    )


def _look_at_all(frames: Iterator[Frame], follower: FacesFollower) -> Iterator[tuple[Frame, list[FaceSeen]]]:
    """Every frame with its faces, the look at the one after it already begun."""
    frame = next(frames, None)
    while frame is not None:
        upcoming = next(frames, None)
        yield frame, follower.look(frame, upcoming)
        frame = upcoming


def _person(
    person: Person,
    time_s: NDArray[np.float64],
    rows: dict[int, tuple[Pose, float]],
    camera: Camera,
    steps: tuple[str, ...],
    is_still: bool,
) -> SeenPerson:
    """A person with the track of the poses that are good enough."""
    good = {row: pair for row, pair in rows.items() if pair[1] > 0}
    left_out = f"{len(rows) - len(good)} faces left out: too blurred, or landmarks not near enough to a face's"
    return SeenPerson(
        track=_track(time_s, good, camera, (*steps, left_out)),
        portrait=person.portrait,
        stretches=tuple(s.number for s in person.stretches),
        seen_share=len(rows) / max(1, len(time_s)),
        is_still=is_still,
    )


def face_quality(seen: FaceSeen, pose: Pose) -> float:
    """How much a pose can be trusted, 0 to 1: by what its landmarks are beside a face's, and by how sharply the face is seen.

    Parameters
    ----------
    seen : FaceSeen
    pose : Pose
        Of that face.

    Returns
    -------
    float
        0: it is left out.
    """
    if pose.reprojection_share > BAD_FIT_SHARE:
        return 0.0
    sharp = (seen.detail - BLURRED) / (SHARP - BLURRED)
    return float(np.clip(min(pose.quality, sharp), 0.0, 1.0))


def focal_length_px(stated_px: float | None, view_deg: float | None, known_px: float | None, longer_px: int) -> float:
    """The focal length that was stated, else the one in the file, else a usual one.

    Parameters
    ----------
    stated_px : float or None
    view_deg : float or None
        Angle of view across the longer side, instead of stated_px.
    known_px : float or None
        From the file.
    longer_px : int
        Longer side of the picture.

    Returns
    -------
    float
    """
    if stated_px is not None:
        return stated_px
    if view_deg is not None:
        return longer_px / 2 / float(np.tan(np.radians(view_deg) / 2))
    return known_px if known_px is not None else DEFAULT_VIEW_SHARE * longer_px


def _track(
    time_s: NDArray[np.float64], poses: dict[int, tuple[Pose, float]], camera: Camera, steps: tuple[str, ...]
) -> HeadTrack:
    """A HeadTrack of the poses by row."""
    n = len(time_s)
    none = np.full(n, np.nan)
    rotation, place = np.full((n, 3, 3), np.nan), np.full((n, 3), np.nan)
    height, quality = none.copy(), none.copy()
    for i, (pose, worth) in poses.items():
        rotation[i], place[i], height[i] = pose.rotation, pose.place_cm, pose.face_height_px
        quality[i] = worth
    return HeadTrack(
        time_s, rotation, place, height, quality, none, none, none, camera.width_px, camera.height_px, camera.focal_px, steps
    )
