"""Follow every face of a film; where it is not certain that a face is still the same one, a new stretch begins."""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import TracebackType
from typing import Self

import numpy as np

from posture.face.detail import detail_share
from posture.face.follow import FollowedFace
from posture.face.landmarker import Find
from posture.face.scene import Scene
from posture.face.search import FaceSearch, is_near
from posture.face.seen import FaceSeen, Picture
from posture.face.stretch import Stretch

MAX_FACES = 4
"""Faces followed at once at most, the first found first: each costs a look a frame."""

SWEEP_EVERY_S = 0.5
"""While no face is seen, the whole picture is searched at most this often."""

TILES_A_SECOND = 10.0
"""While a face is seen, this many tiles of the search a second of film; a round takes six to eight seconds."""

CALM_S, TILES_A_SECOND_CALM = 16.0, 4.0
"""After two rounds in which nobody came or went, a round may take 15 to 20 seconds."""

TILES_A_SECOND_LOST = 60.0
"""The same while a face was lost a short time ago."""

LOST_S = 3.0
"""How long a loss counts as a short time ago."""

TILES_A_SECOND_FEWER = 30.0
"""The same while fewer faces are seen than once were: who left may come back."""

KEEP_WINDOW_S = 0.5
"""How long a lost face is looked for in the window where it was."""

BREAK_S = 0.3
"""A face out of sight for longer begins a new stretch."""

BREAK_FACES = 0.6
"""So does one that moved by more than this share of its size from one frame to the next."""

BREAK_RATIO = 1.4
"""So does one that grew or shrank by this factor."""

TOGETHER = 0.4
"""Two followed faces whose centres are nearer than this share of the larger are the same pixels: one hides the other."""

REFUSED_S = 2.0
"""How long a place that turned out to be no face is not tried again."""


@dataclass
class _Followed:
    """A face being followed, its stretch, and when and where it was seen last."""

    face: FollowedFace
    stretch: Stretch
    last_s: float
    last: FaceSeen


class FacesFollower:
    """Follows all faces of a film. Use it inside ``with``; give it the frames in order.

    Attributes
    ----------
    scene : Scene
        What lies behind the faces.
    """

    def __init__(self) -> None:
        self._search = FaceSearch()
        self._spare: list[FollowedFace] = []
        self._made: list[FollowedFace] = []
        self._followed: list[_Followed] = []
        self._refused: list[tuple[float, Find]] = []
        self._next_sweep_s = -np.inf
        self._glanced_s: float | None = None
        self._tiles_due = 0.0
        self._lost_s = -np.inf
        self._faces = self._most_faces = 0
        self._unchanged_since_s = 0.0
        self._previous_s = -np.inf
        self._stretches: list[Stretch] = []
        self.scene = Scene()

    def __enter__(self) -> Self:
        self._search.__enter__()
        return self

    def __exit__(self, kind: type | None, error: BaseException | None, trace: TracebackType | None) -> None:
        for face in self._made:
            face.__exit__(kind, error, trace)
        self._search.__exit__(kind, error, trace)

    @property
    def stretches(self) -> list[Stretch]:
        """All stretches so far in which a face was seen."""
        return [stretch for stretch in self._stretches if stretch.times_s]

    def look(self, picture: Picture, upcoming: Picture | None = None, later: Picture | None = None) -> list[FaceSeen]:
        """See every face in the next frame.

        Parameters
        ----------
        picture : Picture
            The frame; later than the one before.
        upcoming, later : Picture or None
            The frame after it and the one after that, if there are any: the looks at those begin.

        Returns
        -------
        list of FaceSeen
            The largest first; each with the number of its stretch.
        """
        seen: list[tuple[_Followed, FaceSeen]] = []
        for followed in list(self._followed):
            found = followed.face.look(picture, upcoming, later)
            if found is not None:
                seen.append((followed, found))
            elif picture.time_s - followed.last_s > KEEP_WINDOW_S:
                self._drop(followed, picture.time_s)
        seen = self._part(seen, picture.time_s)
        for followed, found in seen:
            if self._is_broken(followed, found, picture.time_s):
                self._begin(followed)
        self._previous_s = picture.time_s
        faces = [self._remember(followed, found, picture.time_s) for followed, found in seen]
        # Of a photograph there is no later frame in which to look further.
        for followed, found in self._find(picture, faces, is_alone=upcoming is None and not self._stretches):
            faces.append(self._remember(followed, found, picture.time_s))
        for number, shift in self.scene.look(picture, faces).items():
            self._stretches[number - 1].shifts.append(shift)
        return sorted(faces, key=lambda face: -face.size_px)

    def _remember(self, followed: _Followed, found: FaceSeen, time_s: float) -> FaceSeen:
        """Add a face to its stretch; returns it with the stretch's number."""
        face = followed.face
        assert face.window is not None
        assert face.pixels is not None
        detail = detail_share(face.pixels, face.window.from_picture(found.points_px))
        found = replace(found, stretch=followed.stretch.number, detail=detail)
        followed.stretch.add(time_s, found, face.window, face.pixels)
        followed.last, followed.last_s = found, time_s
        return found

    def _part(self, seen: list[tuple[_Followed, FaceSeen]], time_s: float) -> list[tuple[_Followed, FaceSeen]]:
        """Where two followed faces became one, end both stretches: whose face it is, is decided when all is known."""
        kept: list[tuple[_Followed, FaceSeen]] = []
        for followed, found in sorted(seen, key=lambda pair: pair[0].stretch.number):
            rival = next((pair for pair in kept if is_near(pair[1], found, TOGETHER)), None)
            if rival is None:
                kept.append((followed, found))
                continue
            followed.stretch.met_at_end = True
            # Where three come together, the first two have begun a stretch already.
            if rival[0].stretch.times_s:
                rival[0].stretch.met_at_end = True
                self._begin(rival[0], met=True)
            self._drop(followed, time_s)
        return kept

    def _is_broken(self, followed: _Followed, found: FaceSeen, time_s: float) -> bool:
        """Whether it is not certain that this is still the face of the stretch."""
        if not followed.stretch.times_s:
            return False
        ratio = found.size_px / followed.last.size_px
        moved = np.linalg.norm(found.centre_px - followed.last.centre_px) / max(found.size_px, followed.last.size_px)
        # A face seen in the frame before is not late, however far apart the frames are.
        late = followed.last_s < self._previous_s and time_s - followed.last_s > BREAK_S
        return bool(late or moved > BREAK_FACES or not 1 / BREAK_RATIO < ratio < BREAK_RATIO)

    def _find(self, picture: Picture, seen: list[FaceSeen], is_alone: bool) -> list[tuple[_Followed, FaceSeen]]:
        """Search, and begin to follow what is new."""
        now_s = picture.time_s
        self._most_faces = max(self._most_faces, len(seen))
        if len(seen) != self._faces:
            self._faces, self._unchanged_since_s = len(seen), now_s
        since_s, self._glanced_s = now_s - (self._glanced_s if self._glanced_s is not None else now_s), now_s
        if not seen:
            if now_s < self._next_sweep_s:
                return []
            self._next_sweep_s = now_s + SWEEP_EVERY_S
            finds = self._search.sweep(picture, thorough=is_alone)
        else:
            self._tiles_due += since_s * self._tiles_a_second(now_s)
            tiles = min(int(self._tiles_due), 60)
            self._tiles_due -= int(self._tiles_due)
            finds = self._search.glance(picture, tiles) if tiles else []
        self._refused = [(at, find) for at, find in self._refused if now_s - at < REFUSED_S]
        begun: list[tuple[_Followed, FaceSeen]] = []
        for find in finds:
            here = [*seen, *(found for _, found in begun)]
            if any(is_near(find, face) for face in here) or any(is_near(find, r) for _, r in self._refused):
                continue
            pair = self._try(picture, find)
            if pair is None or any(is_near(pair[1], face, TOGETHER) for face in here):
                self._refused.append((now_s, find))
                if pair is not None:
                    self._drop(pair[0], now_s)
                continue
            begun.append(pair)
        return begun

    def _tiles_a_second(self, now_s: float) -> float:
        """How fast to look about while faces are seen."""
        if now_s - self._lost_s < LOST_S:
            return TILES_A_SECOND_LOST
        if self._faces < self._most_faces:
            return TILES_A_SECOND_FEWER
        return TILES_A_SECOND_CALM if now_s - self._unchanged_since_s > CALM_S else TILES_A_SECOND

    def _try(self, picture: Picture, find: Find) -> tuple[_Followed, FaceSeen] | None:
        """Put a window around a find; None where the landmarks do not see a face there, or no more can be followed."""
        for lost in self._followed:
            # A face out of sight that turns up near its old place: its window need not be tried any more.
            if lost.last_s < picture.time_s and is_near(find, lost.last, 1.5):
                self._drop(lost, picture.time_s)
                break
        if len(self._followed) >= MAX_FACES:
            return None
        turns = self._search.confirm(picture, find)
        if turns is None:
            return None
        face = self._spare.pop() if self._spare else self._make()
        found = face.place(picture, find.centre_px, find.size_px, turns)
        if found is None or not found.settled:
            # On what is no face the landmarks find no rest.
            self._spare.append(face)
            return None
        followed = _Followed(face, self._new_stretch(), picture.time_s, found)
        self._followed.append(followed)
        return followed, found

    def _make(self) -> FollowedFace:
        """One more window with a landmarker of its own."""
        face = FollowedFace()
        face.__enter__()
        self._made.append(face)
        return face

    def _new_stretch(self) -> Stretch:
        """The next stretch."""
        self._stretches.append(Stretch(len(self._stretches) + 1))
        return self._stretches[-1]

    def _begin(self, followed: _Followed, met: bool = False) -> None:
        """Begin a new stretch on a face that goes on being followed."""
        followed.stretch = self._new_stretch()
        followed.stretch.met_at_start = met

    def _drop(self, followed: _Followed, time_s: float) -> None:
        """Stop following a face."""
        self._followed.remove(followed)
        self._spare.append(followed.face)
        self._lost_s = time_s
