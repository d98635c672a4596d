"""Explorations of a clip: questions worth asking to which no published answer exists. They are shown apart and change no hint."""

from __future__ import annotations

from dataclasses import dataclass

from posture.signal.explore_return import LetGo, explore_return
from posture.signal.explore_trunk import TrunkSlope, explore_trunk
from posture.signal.habitual import HabitualPosture


@dataclass(frozen=True)
class Explorations:
    """What was looked for beside the habitual posture.

    Attributes
    ----------
    found : HabitualPosture
        Of which these are.
    trunk : TrunkSlope
    let_go : LetGo or None
        None where the head was never marked as set straight.
    """

    found: HabitualPosture
    trunk: TrunkSlope
    let_go: LetGo | None


def explore(found: HabitualPosture) -> Explorations | None:
    """Look at a clip beyond the habitual posture.

    Parameters
    ----------
    found : HabitualPosture

    Returns
    -------
    Explorations or None
        None for a photograph, or where the head was never steady: there is nothing to explore.
    """
    if not found.spells:
        return None
    let_go = explore_return(found) if found.read.settings.head_set else None
    return Explorations(found, explore_trunk(found), let_go)
