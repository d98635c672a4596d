"""The answers about one clip, kept beside the widgets that ask for them, and numbers as people type them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import streamlit as st
from pydantic import ValidationError

from posture.clinic.findings import Findings
from posture.clinic.key_errors import say_first_error, say_value
from posture.conventions import Side
from posture.errors import FindingsError
from posture.page.style import no_markup

OPEN = ""
"""A choice that was not made."""

TEXT_LIKE = {"stereo": {"none": "none", "nil": "none"}}
"""Words that may stand in the place of a number."""

_KEPT = "kept-findings"

_NUMBER = re.compile(r"(?P<before>[a-z/]*)\s*(?P<number>[+-]?\d{1,6}(?:[.,]\d{1,4})?)\s*(?P<after>[a-z/]*)", re.ASCII)

EYE_HIGHER = {"r/l": 1, "l/r": -1}
TORSION = {"ex": 1, "in": -1}
TILT_TO = {"r": 1, "l": -1, "right": 1, "left": -1}
"""Words that may stand in the place of a sign."""


def widget_key(name: str, key: str) -> str:
    """The key of the widget that asks for a finding.

    Parameters
    ----------
    name : str
        Keys of `Findings` with dots between, or "flag.<code>", "flags none", "screen.<line>", "screen none".
    key : str
        Of the clip.
    """
    return f"find-{name}|{key}"


class Sheet:
    """The answers about one clip.

    The server forgets what is not drawn, so all that was answered is kept beside the widgets, under one key of the session.

    Parameters
    ----------
    key : str
        Of the clip; the answers of another are let go.
    """

    def __init__(self, key: str) -> None:
        stored = st.session_state.get(_KEPT)
        if stored is None or stored[0] != key:
            stored = st.session_state[_KEPT] = (key, {})
        self.key: str = key
        self.kept: dict[str, Any] = stored[1]
        self.values: dict[str, Any] = {}

    def choose(
        self, name: str, question: str, options: Mapping[Any, str], place: Any = st, first: Any = OPEN, hidden: bool = False
    ) -> Any:
        """One of a few answers; while it is open, None."""
        words = {first: options.get(first, "Not stated"), **options}
        shown = "collapsed" if hidden else "visible"
        answer = place.radio(
            question, list(words), format_func=lambda o: words.get(o, str(o)), key=self._widget(name, first), horizontal=True,
            label_visibility=shown,
        )  # fmt: skip
        self.kept[name] = answer
        return self._take(name, None if answer == OPEN else answer)

    def tick(self, name: str, words: str, place: Any = st) -> bool:
        """Something to tick."""
        ticked = bool(place.checkbox(no_markup(words), key=self._widget(name, False)))
        self.kept[name] = ticked
        return ticked

    def number(
        self, name: str, label: str, place: Any = st, signs: Mapping[str, int] | None = None, below: Any = st, hint: str = ""
    ) -> None:
        """A number; what cannot be one is said `below`, stays as typed, and counts as open."""
        text = place.text_input(label, key=self._widget(name, ""), max_chars=16, placeholder=hint or "not measured") or ""
        self.kept[name] = text
        try:
            value = _read_number(name, label, text, signs or {})
        except FindingsError as error:
            below.error(no_markup(str(error)))
            return
        self._take(name, value)

    def leave_out_unclear_cover(self, side: Side) -> None:
        """Say where a tilt under cover is not whole, and count it as open."""
        names = [f"cover.{side}_eye.tilt_deg.{part}" for part in ("low", "value", "high")]
        given = [self.values[name] for name in names if name in self.values]
        if given and (len(given) < 3 or given != sorted(given)):
            text = f"Tilt with the {side} eye covered: expected a tilt within its interval, all three given. It is left out until then."
            st.error(no_markup(text))
            for name in names:
                self.values.pop(name, None)

    def findings(self) -> Findings:
        """All that was answered and can be read."""
        return Findings.model_validate(_nested({k: v for k, v in self.values.items() if k != "suspected"}))

    def replace(self, findings: Findings) -> None:
        """Put the answers of a file in the place of these; to be called before anything is drawn."""
        suspected = self.kept.get("suspected", "unknown")
        for name in [*self.kept]:
            st.session_state.pop(widget_key(name, self.key), None)
        self.kept.clear()
        self.kept |= {"suspected": suspected, **_answers_of(findings)}

    def _widget(self, name: str, first: Any) -> str:
        """The widget's key, with the answer that was kept in its place."""
        found = widget_key(name, self.key)
        if found not in st.session_state:
            st.session_state[found] = self.kept.get(name, first)
        return found

    def _take(self, name: str, value: Any) -> Any:
        """Note an answer."""
        if value is not None:
            self.values[name] = value
        return value


def _read_number(name: str, label: str, text: str, signs: Mapping[str, int]) -> float | str | None:
    """A number as typed: a comma or a point, a sign or a word in its place.

    Raises
    ------
    FindingsError
        What was expected, what came.
    """
    plain = text.strip().lower().replace("−", "-")
    if not plain:
        return None
    value: float | str | None = TEXT_LIKE.get(name, {}).get(plain)
    if value is None:
        value = _signed(label, plain, text, signs)
    if name.endswith((".value", ".low", ".high")):
        if isinstance(value, float) and abs(value) > 90:
            raise FindingsError(f"{label}: expected degrees of tilt up to 90; {say_value(text)} came. It is left out.")
        return value
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    try:
        Findings.model_validate(_nested({name: value}))
    except ValidationError as error:
        may_stand = say_first_error(error, Findings).rpartition("; it holds ")[2].rstrip(".")
        raise FindingsError(f"{label}: expected {may_stand}; {say_value(text)} came. It is left out.") from error
    return value


def _signed(label: str, plain: str, text: str, signs: Mapping[str, int]) -> float:
    """A number with a sign, or with a word before or after it in the place of one."""
    found = _NUMBER.fullmatch(plain)
    word = found and (found["before"] or found["after"])
    both = found and found["before"] and found["after"]
    if not found or both or (word and (word not in signs or found["number"][0] in "+-")):
        like = "".join(f" or {sign if sign in TORSION else sign.upper()} 8" for sign in list(signs)[:2])
        raise FindingsError(f"{label}: expected a number such as 8{like}; {say_value(text)} came. It is left out.")
    return float(found["number"].replace(",", ".")) * (signs[word] if word else 1)


def _nested(values: Mapping[str, Any]) -> dict[str, Any]:
    """Values by their keys, of keys with dots between."""
    found: dict[str, Any] = {}
    for name, value in values.items():
        *path, last = name.split(".")
        place = found
        for part in path:
            place = place.setdefault(part, {})
        place[last] = value
    return found


def _answers_of(findings: Findings) -> dict[str, Any]:
    """What stands in the widgets for these findings."""
    found: dict[str, Any] = {}

    def walk(values: Mapping[str, Any], path: str) -> None:
        for name, value in values.items():
            if isinstance(value, dict):
                walk(value, f"{path}{name}.")
            elif value is not None:
                is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
                found[f"{path}{name}"] = f"{value:g}" if is_number else value

    walk(findings.model_dump(exclude={"red_flags", "neck_safe"}), "")
    flags = findings.red_flags
    found |= {f"flag.{code}": True for code in flags or ()} | {"flags none": flags == []}
    return found | {"screen none": findings.neck_safe is True, "screen.file": findings.neck_safe is False}
