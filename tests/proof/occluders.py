"""Draws what hides a face, or spoils its picture, on rendered heads: glasses, an eye patch, a hand; noise, blur, little light, light
from one side.

Glasses, patch and hand are meshes in the frame of the head, drawn with it, so that they are hidden and hide as real ones do at any
posture. Where they sit comes from one large picture of the neutral head: its landmarks put back on the surface of its mesh. So the
places do not depend on how well a later picture is read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from tests.proof.material import Rgb, load_heads
from tests.proof.meshes import ball, grid_faces, part, rounded, tube
from tests.proof.places import CELL_M, Places, find_places, load_head

Condition = Literal["plain", "glasses", "hand", "patch", "noise", "blur", "low light", "side light"]
CONDITIONS: tuple[Condition, ...] = get_args(Condition)
Array = NDArray[np.float64]

NOISE = 3.0
"""Grey levels of sensor noise in every picture where nothing else is said."""

STRONG_NOISE, LOW_GAIN, LOW_LIGHT_NOISE = 12.0, 0.25, 6.0
BLUR_SHARE, LEAST_BLUR_PX = 0.04, 1.0
"""Sigma of the blur, as a share of the height of the face."""

LENS_TINT = 0.2
"""How much of the light a lens takes."""

SIDE_AMBIENT, SIDE_LAMP = 0.3, 0.9
"""Light from everywhere and from the lamp at one side; the renderer's own are 0.55 and 0.45."""
RENDERER_AMBIENT, RENDERER_LAMP = 0.55, 0.45

AHEAD = np.array([0.0, 0.0, 1.0])
"""Out of the face."""


@dataclass(frozen=True)
class Dressed:
    """A rendered head with what hides it, ready to be drawn at any posture.

    Attributes
    ----------
    condition : str
    name : str
    head : object
        As `heads.render` takes it.
    tinted : object or None
        The same with lenses that let no light through; mixed in by `LENS_TINT`.
    side : int
        -1: patch, lamp or hand at the person's right; +1: left.
    """

    condition: Condition
    name: str
    head: Any
    tinted: Any
    side: int


def draw_condition(
    condition: Condition,
    name: str,
    rotation: Array,
    camera: Any,
    place_m: Sequence[float] | Array,
    background: Rgb | NDArray[np.float32] | None,
    rng: np.random.Generator,
) -> Rgb:
    """Draw one picture of a head under a condition; side and place of what hides it are drawn anew.

    Parameters
    ----------
    condition : str
        One of `CONDITIONS`.
    name : str
        Of a rendered head.
    rotation : ndarray, shape (3, 3)
        Posture in the level frame.
    camera : heads.Camera
    place_m : sequence of three float
        Of the head's pivot.
    background : ndarray, shape (h, w, 3), or None
    rng : numpy Generator

    Returns
    -------
    ndarray of uint8, shape (h, w, 3)

    Raises
    ------
    ValueError
        If the condition is not known.
    """
    return draw(dress(condition, name, rng), rotation, camera, place_m, background, rng)


def dress(condition: Condition, name: str, rng: np.random.Generator, side: int | None = None) -> Dressed:
    """Give a head what a condition puts on it; draw it as often as wanted.

    Parameters
    ----------
    condition : str
        One of `CONDITIONS`.
    name : str
    rng : numpy Generator
        Side where none is given, and the small differences of patch and hand.
    side : {-1, 1} or None
        The person's right or left.

    Returns
    -------
    Dressed

    Raises
    ------
    ValueError
        If the condition is not known.
    """
    if condition not in CONDITIONS:
        raise ValueError(f"Expected a condition out of {', '.join(CONDITIONS)}; '{condition}' came.")
    side = side if side is not None else int(rng.choice([-1, 1]))
    head = load_head(name)
    if condition == "glasses":
        places = find_places(name)
        worn = _with_parts(head, _glasses_frame(places))
        return Dressed(condition, name, worn, _with_parts(worn, _lenses(places)), side)
    if condition == "patch":
        head = _with_parts(head, [_patch(find_places(name), side, rng)])
    elif condition == "hand":
        head = _with_parts(head, _hand(find_places(name), side, rng))
    return Dressed(condition, name, head, None, side)


def draw(
    dressed: Dressed,
    rotation: Array,
    camera: Any,
    place_m: Sequence[float] | Array,
    background: Rgb | NDArray[np.float32] | None,
    rng: np.random.Generator,
) -> Rgb:
    """Draw a dressed head and spoil the picture as its condition says; parameters as for `draw_condition`."""
    heads = load_heads()

    def shown(head: Any, **light: Any) -> Array:
        """One render as real numbers."""
        return np.asarray(heads.render(head, rotation, camera, tuple(place_m), background, **light), float)

    picture = shown(dressed.head)
    if dressed.tinted is not None:
        picture += LENS_TINT * (shown(dressed.tinted) - picture)
    if dressed.condition == "side light":
        # The renderer's light is ambient + lamp; a lamp behind the head shows the ambient part alone, so the two can be mixed anew.
        ambient = shown(dressed.head, light=(0.0, 0.0, -1.0))
        lamp = shown(dressed.head, light=(dressed.side * 0.95, 0.2, 0.25)) - ambient
        picture = ambient * SIDE_AMBIENT / RENDERER_AMBIENT + lamp * SIDE_LAMP / RENDERER_LAMP
    noise, blur_px, gain = NOISE, 0.0, 1.0
    if dressed.condition == "noise":
        noise = STRONG_NOISE
    elif dressed.condition == "blur":
        blur_px = max(BLUR_SHARE * face_height_px(dressed.name, camera.focal_px, place_m), LEAST_BLUR_PX)
    elif dressed.condition == "low light":
        noise, gain = LOW_LIGHT_NOISE, LOW_GAIN
    return np.asarray(heads.degrade(np.clip(picture, 0, 255), rng, noise, blur_px, gain))


def face_height_px(name: str, focal_px: float, place_m: Sequence[float] | Array) -> float:
    """Height from forehead to chin that the neutral head would have at a place, in pixels."""
    return focal_px * find_places(name).face_height_m / float(np.linalg.norm(place_m))


def _with_parts(head: Any, parts: Sequence[Any]) -> Any:
    """The head with more parts; their vertices are in the frame of the head about its pivot."""
    moved = [replace(part, vertices=part.vertices + head.pivot) for part in parts]
    return replace(head, parts=[*head.parts, *moved])


def _rim(places: Places, eye: str) -> Array:
    """The edge of one lens, shape (n, 3): a rounded box about the eye, a little in front of the lids."""
    turn = np.linspace(0, 2 * np.pi, 49)
    box = np.sign(np.cos(turn)) * np.abs(np.cos(turn)) ** 0.6, np.sign(np.sin(turn)) * np.abs(np.sin(turn)) ** 0.6
    size = places.scale
    middle = places.points_m[eye]
    x = middle[0] + 0.025 * size * box[0]
    # Outer edges lie farther back, as the face does.
    outwards = (x - middle[0]) * np.sign(middle[0])
    z = places.points_m["nose_bridge"][2] + 0.006 * size - 0.25 * np.clip(outwards, 0, None)
    return np.stack([x, middle[1] - 0.002 * size + 0.02 * size * box[1], z], 1)


def _glasses_frame(places: Places) -> list[Any]:
    """Rims, bridge and temples of dark glasses."""
    size, dark = places.scale, np.array([0.1, 0.08, 0.08])
    rims = {eye: _rim(places, eye) for eye in ("right_eye", "left_eye")}
    parts = [tube(rim, 0.0018 * size, dark) for rim in rims.values()]
    inner = [rims["right_eye"][rims["right_eye"][:, 0].argmax()], rims["left_eye"][rims["left_eye"][:, 0].argmin()]]
    share = np.linspace(0, 1, 12)[:, None]
    bridge = inner[0] + share * (inner[1] - inner[0]) + np.sin(np.pi * share) * [0, 0.004 * size, 0.003 * size]
    parts.append(tube(bridge, 0.0018 * size, dark))
    for eye, temple, side in (("right_eye", "right_temple", -1), ("left_eye", "left_temple", 1)):
        outer = rims[eye][(side * rims[eye][:, 0]).argmax()] + [0, 0.008 * size, 0]
        wide = max(abs(places.points_m[temple][0]), abs(outer[0]) + 0.006 * size)
        hinge = np.array([side * wide, outer[1], outer[2] - 0.012 * size])
        line = np.concatenate([outer + share[:4] * (hinge - outer) / share[3], hinge + share[1:] * [0, 0, -0.09 * size]])
        parts.append(tube(line, 0.0018 * size, dark))
    return parts


def _lenses(places: Places) -> list[Any]:
    """Two black lenses, to be mixed in."""
    parts = []
    for eye in ("right_eye", "left_eye"):
        rim = _rim(places, eye)[:-1]
        n = len(rim)
        fan = np.stack([np.arange(n), np.roll(np.arange(n), -1), np.full(n, n)], 1)
        parts.append(part(np.concatenate([rim, rim.mean(0, keepdims=True)]), fan, np.zeros(3), AHEAD))
    return parts


def _patch(places: Places, side: int, rng: np.random.Generator) -> Any:
    """An adhesive patch over one eye: an ellipse of about 6 by 5 cm that lies over the hollow of the eye."""
    size = places.scale
    middle = places.points_m["right_eye" if side < 0 else "left_eye"]
    radius, turn = np.meshgrid(np.linspace(0.02, 1, 16), np.linspace(0, 2 * np.pi, 48, endpoint=False), indexing="ij")
    slant = side * np.radians(rng.uniform(5, 20))
    x, y = 0.03 * size * radius * np.cos(turn), 0.025 * size * radius * np.sin(turn)
    x, y = np.cos(slant) * x + np.sin(slant) * y, -np.sin(slant) * x + np.cos(slant) * y
    x = x + middle[0] + rng.normal(0, 0.0015) * size
    y = y + middle[1] + 0.002 * size + rng.normal(0, 0.0015) * size
    # A plaster is stiff: it lies over the hollow of the eye and on what sticks out, without creases.
    z = np.maximum(places.surface_z_m(x, y, 0.009 * size, 0.005 * size), places.surface_z_m(x, y, CELL_M) + 0.0005)
    z += 0.001 * size
    base = np.array([0.93, 0.91, 0.88]) if rng.random() < 0.5 else np.array([0.87, 0.72, 0.6])
    weave = rng.normal(0, 0.02, x.shape)[..., None] - 0.05 * (radius[..., None] > 0.9)
    colour = (base + weave).clip(0, 1).reshape(-1, 3)
    return part(np.stack([x, y, z], -1).reshape(-1, 3), grid_faces(x.shape[0], x.shape[1], closed=True), colour, AHEAD)


def _hand(places: Places, side: int, rng: np.random.Generator) -> list[Any]:
    """A hand that comes from one side, its fingers across mouth and chin, palm and wrist beside and below."""
    size, skin = places.scale, places.skin.clip(0, 1)
    mouth, chin = places.points_m["mouth"], places.points_m["chin"]
    middle = np.array([mouth[0], mouth[1] + 0.4 * (chin[1] - mouth[1])]) + rng.normal(0, 0.004, 2) * size
    radius, rise = 0.0085 * size, np.radians(rng.uniform(-5, 25))
    # From the knuckles at the hand's side towards the finger tips at the other.
    towards, upwards = np.array([-side * np.cos(rise), np.sin(rise)]), np.array([side * np.sin(rise), np.cos(rise)])
    parts = []
    for k, length in enumerate((0.066, 0.074, 0.07, 0.055)):
        across = (1.5 - k) * 1.9 * radius
        reach = np.linspace(-0.04, length - 0.04, 24) * size
        xy = middle + across * upwards + reach[:, None] * towards
        z = places.surface_z_m(xy[:, 0], xy[:, 1], radius)
        # Fingers bridge what is hollow, and bend only so far round the cheek.
        z = np.maximum(z, np.nanmax(z) - 0.02 * size)
        z = gaussian_filter1d(z, 2.0, mode="nearest") + 0.9 * radius
        shade = skin * rng.uniform(0.92, 1.0)
        parts.append(rounded(np.concatenate([xy, z[:, None]], 1), radius, shade))
        if k == 1:
            knuckles = np.array([*xy[0], z[0]])
    knuckles = knuckles - np.array([*(0.9 * radius * upwards), 0.0])
    palm = knuckles - 0.035 * size * np.array([*towards, 0.25]) - [0, 0.01 * size, 0]
    parts.append(ball(palm, np.array([0.045, 0.036, 0.018]) * size, -side * rise, skin * 0.95))
    wrist = palm + np.array([side * 0.05, -0.2, -0.01]) * size
    parts.append(tube(np.linspace(palm, wrist, 20), np.linspace(0.026, 0.032, 20) * size, skin * 0.9, 16))
    return parts
