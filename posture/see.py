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
from posture.face.lines import straight_lines
from posture.face.model import load_canonical_face
from posture.face.persons import join_stretches
from posture.face.scene import never_moved
from posture.face.seen import FaceSeen
from posture.face.shoulders import LibraryShoulders, Shoulders, ShouldersSeen
from posture.face.stills import Still, StillKeeper
from posture.face.two_ways import BOTH_WAYS, Way
from posture.geometry.face_lines import FaceLines, FaceSymmetry, face_lines, face_symmetry
from posture.geometry.lens import Lens, lens_of
from posture.geometry.plumb import Stand, stand_from_lines
from posture.geometry.pose import Camera, Pose, estimate_poses
from posture.signal.track import HeadTrack

BAD_FIT_SHARE = 0.045
"""Faces whose points miss the canonical face by more, root mean square, as a share of the face's size, are left out, beside those of
no quality: faces of rendered and real people turned within 25 degrees stay under 0.035 (own measurement, no source)."""

BLURRED, SHARP = 0.2, 0.55
"""Detail of a face at which quality is 0 and 1. Sharp rendered faces of 25 px and more have 0.5 to 0.8; those with a blur of a
twenty-fifth of the face have 0.31 to 0.37, and are read three times less well (own measurement, no source)."""

LINES_EVERY_S = 0.5
"""How often the straight lines of the scene are looked at: a hand that holds a camera sways more slowly than twice a second."""

SHOULDERS_EVERY_S = 0.4
"""How often the shoulders of each person are looked at: trunks lean slowly."""

AT_ONCE = 32
"""So many faces are fitted at once: the interpreter's part of a fit is then a fifth."""

SAME_S = 1e-6
"""Times that differ by less are the same."""

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
    """All that was seen in one clip; no picture but the portraits and the stills, which are in memory only.

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
    lens : Lens
        With which the heads were seen.
    file_focal_px : float or None
        As the file says.
    steps : tuple of str
        What was done, in plain words.
    stills : tuple of Still
        A few frames, for settling upright and side by eye.
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
    lens: Lens
    file_focal_px: float | None
    steps: tuple[str, ...]
    stills: tuple[Still, ...] = ()

    @property
    def camera(self) -> Camera:
        """With which the heads were seen."""
        return Camera(self.width_px, self.height_px, self.lens.focal_px)

    def empty_track(self) -> HeadTrack:
        """The track of somebody who was not seen: NaN throughout."""
        return _track(self.time_s, {}, {}, self.camera, self.lens, self.steps)


def see_clip(
    path: str | PathLike[str],
    focal_px: float | None = None,
    view_deg: float | None = None,
    device: str | None = None,
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
    device : str or None
        A key of `posture.geometry.devices.DEVICES`, for where neither is known.
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
        lens = lens_of(max(info.width_px, info.height_px), focal_px, view_deg, device, info.focal_px)
        return _see(clip, lens, every_s, on_frame)


@dataclass(frozen=True)
class _Face:
    """What one frame says of one person."""

    pose: Pose
    quality: float
    lines: FaceLines
    symmetry: FaceSymmetry
    looked_below: bool
    shoulders: ShouldersSeen | None


def _see(clip: Clip, lens: Lens, every_s: float, on_frame: OnFrame | None) -> SeenClip:
    """Look at every frame and keep angles and places."""
    camera = Camera(clip.info.width_px, clip.info.height_px, lens.focal_px)
    fits = _Fits(camera)
    times: list[float] = []
    stands: dict[int, Stand] = {}
    stills = StillKeeper()
    with FacesFollower() as follower:
        # Decoding, looking and fitting each have a thread: the libraries work outside of the interpreter's lock.
        looked: AheadReader[tuple[Frame, list[FaceSeen]]] = AheadReader(
            lambda stopping: _look_at_all(clip.frames(every_s), follower),
            camera.width_px * camera.height_px,
            "face-follower",
        )
        next_lines_s = -np.inf
        try:
            # The second model loads while the first face is searched for.
            with LibraryShoulders() as model:
                below = _Below(model)
                for frame, faces in looked:
                    for seen in faces:
                        is_time = below.is_time(frame.time_s, seen)
                        fits.add(len(times), seen, is_time, below.look(frame, seen) if is_time else None)
                    if frame.time_s > next_lines_s - SAME_S:
                        next_lines_s = frame.time_s + LINES_EVERY_S
                        stand = stand_from_lines(straight_lines(frame, faces), camera)
                        if stand is not None:
                            stands[len(times)] = stand
                    stills.look(frame, faces)
                    times.append(frame.time_s)
                    if on_frame is not None:
                        on_frame(frame, faces, clip.progress(frame.time_s))
        finally:
            looked.stop()
    rows_of = fits.finish()
    # Now that it was read, the clip knows all that was done to it.
    info, time_s = clip.info, np.array(times)
    steps = (
        *info.steps,
        "landmarks looked at until they settled; the library's causal filter passed through",
        f"canonical face fitted with a focal length of {lens.focal_px:.0f} px, known from {lens.known_from}",
        f"plumb lines of the scene trusted in {len(stands)} frames",
    )
    persons = []
    for person in join_stretches(follower.stretches, times[-1] if times else 0.0):
        rows = {row: found for s in person.stretches for row, found in rows_of[s.number].items() if s.counts(times[row])}
        good = {row: found for row, found in rows.items() if found.quality > 0}
        left_out = f"{len(rows) - len(good)} faces left out: too blurred, or landmarks not near enough to a face's"
        persons.append(
            SeenPerson(
                track=_track(time_s, good, stands, camera, lens, (*steps, left_out)),
                portrait=person.portrait,
                stretches=tuple(s.number for s in person.stretches),
                seen_share=len(rows) / max(1, len(time_s)),
                is_still=never_moved(person.stretches, follower.scene.steps),
            )
        )
    return SeenClip(
        kind=info.kind,
        sha256=info.sha256,
        width_px=info.width_px,
        height_px=info.height_px,
        time_s=time_s,
        persons=tuple(sorted(persons, key=lambda p: (p.is_still, -np.nansum(p.track.face_height_px)))),
        damage=clip.damage_note,
        filmed_on=info.filmed_on,
        filmed_on_source=info.filmed_on_source,
        lens=lens,
        file_focal_px=info.focal_px,
        steps=steps,
        stills=stills.finish(),
    )


class _Fits:
    """Fits faces a few dozen at once, and keeps what each says."""

    def __init__(self, camera: Camera) -> None:
        self._camera = camera
        self._waiting: list[tuple[int, FaceSeen, bool, ShouldersSeen | None]] = []
        self._rows_of: dict[int, dict[int, _Face]] = {}

    def add(self, row: int, seen: FaceSeen, looked_below: bool, shoulders: ShouldersSeen | None) -> None:
        """Take the face that was seen in a row, and what was seen below it where that was looked at."""
        self._waiting.append((row, seen, looked_below, shoulders))
        if len(self._waiting) == AT_ONCE:
            self._fit()

    def finish(self) -> dict[int, dict[int, _Face]]:
        """What was found, by the number of the stretch and by row."""
        self._fit()
        return self._rows_of

    def _fit(self) -> None:
        """Fit those that wait."""
        if not self._waiting:
            return
        face = load_canonical_face()
        points_px, depth_px = (
            np.stack([getattr(one, name) for _, one, *_ in self._waiting]) for name in ("points_px", "depth_px")
        )
        poses = estimate_poses(points_px, depth_px, self._camera, face)
        for (row, seen, looked_below, shoulders), pose in zip(self._waiting, poses, strict=True):
            straightened = seen.points_px, pose.rotation, pose.place_cm, self._camera, face
            found = _Face(
                pose, face_quality(seen, pose), face_lines(*straightened), face_symmetry(*straightened), looked_below, shoulders
            )
            self._rows_of.setdefault(seen.stretch, {})[row] = found
        self._waiting.clear()


class _Below:
    """Looks at the shoulders of every face now and then: at first both ways, then the one way and the other in turns."""

    def __init__(self, shoulders: Shoulders) -> None:
        self._shoulders = shoulders
        self._last: dict[int, tuple[float, Way]] = {}

    def is_time(self, time_s: float, face: FaceSeen) -> bool:
        """Whether that face's shoulders are to be looked at."""
        return face.stretch not in self._last or time_s - self._last[face.stretch][0] > SHOULDERS_EVERY_S - SAME_S

    def look(self, frame: Frame, face: FaceSeen) -> ShouldersSeen | None:
        """Look at them."""
        before = self._last.get(face.stretch)
        way: Way = 1 if before is None or before[1] == -1 else -1
        self._last[face.stretch] = frame.time_s, way
        return self._shoulders.look(frame, face, BOTH_WAYS if before is None else (way,))


def _look_at_all(frames: Iterator[Frame], follower: FacesFollower) -> Iterator[tuple[Frame, list[FaceSeen]]]:
    """Every frame with its faces, the looks at the two after it already begun."""
    frame, upcoming = next(frames, None), next(frames, None)
    while frame is not None:
        later = next(frames, None)
        yield frame, follower.look(frame, upcoming, later)
        frame, upcoming = upcoming, later


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


def _track(
    time_s: NDArray[np.float64],
    faces: dict[int, _Face],
    stands: dict[int, Stand],
    camera: Camera,
    lens: Lens,
    steps: tuple[str, ...],
) -> HeadTrack:
    """A HeadTrack of what was seen by row."""
    n = len(time_s)

    def empty(*shape: int) -> NDArray[np.float64]:
        return np.full((n, *shape), np.nan)

    seen = {name: empty() for name in ("face_height_px", "quality", "eye_line_deg", "midface_line_deg")}
    seen |= {name: empty() for name in ("facial_angle_deg", "relative_facial_size")}
    seen |= {"rotation": empty(3, 3), "place_cm": empty(3)}
    seen |= {"shoulders_px": empty(2, 2), "shoulders_turn_deg": empty(), "arm_raised": empty()}
    for i, found in faces.items():
        pose, lines, shoulders = found.pose, found.lines, found.shoulders
        seen["rotation"][i], seen["place_cm"][i], seen["face_height_px"][i] = pose.rotation, pose.place_cm, pose.face_height_px
        seen["quality"][i], seen["eye_line_deg"][i], seen["midface_line_deg"][i] = (
            found.quality,
            lines.eye_deg,
            lines.midface_deg,
        )
        seen["facial_angle_deg"][i] = found.symmetry.angle_deg
        seen["relative_facial_size"][i] = found.symmetry.relative_size
        if found.looked_below:
            seen["arm_raised"][i] = 0.0 if shoulders is None else shoulders.arm_raised
        if shoulders is not None:
            seen["shoulders_px"][i], seen["shoulders_turn_deg"][i] = shoulders.points_px, shoulders.turn_deg
    camera_stood = {}
    for name in ("roll_deg", "pitch_deg", "roll_sd_deg", "pitch_sd_deg"):
        camera_stood[f"camera_{name}"] = empty()
        for i, stand in stands.items():
            camera_stood[f"camera_{name}"][i] = getattr(stand, name)
    return HeadTrack(
        time_s=time_s,
        width_px=camera.width_px,
        height_px=camera.height_px,
        focal_px=camera.focal_px,
        focal_sd_share=lens.sd_share,
        steps=steps,
        **seen,
        **camera_stood,
    )
