"""What is folded away for the family: how to film at home, and the replay without a face."""

import re

from posture.page import family
from posture.page.family import HOME, REPLAY, SIDE_FIRST
from posture.report.replay import RATE_HZ
from tests.page.test_page import upload, words


def labels(page) -> list[str]:
    """Of the buttons that give a file."""
    return [button.label for button in page.get("download_button")]


def test_family_says_how_to_film_the_next_one_and_names_no_side(open_page, measurer):
    page = upload(open_page(), 14)
    shown = words(page)
    assert {HOME, REPLAY} <= {expander.label for expander in page.expander}
    assert "Please film again: this film is not enough." in shown
    assert "3 minutes are the least, 8 are asked for" in shown
    assert SIDE_FIRST in shown
    assert not re.search(r"\b(right|left)\b", shown)
    assert "How to film at home (PDF, one page)" in labels(page)
    assert "make-replay" not in {button.key for button in page.button}


def test_family_replay_is_made_when_asked_for_and_goes_with_its_answers(open_page, measurer, monkeypatch):
    made = []
    encode = family.film_bytes

    def few(pictures, rate_hz):
        made.append(rate_hz)
        return encode([next(iter(pictures)) for _ in range(3)], rate_hz)

    monkeypatch.setattr(family, "film_bytes", few)
    page = upload(open_page(), 14)
    page.radio(key="mirrored").set_value("no").run()
    assert not made
    page.button(key="make-replay").click().run()
    assert made == [RATE_HZ]
    assert "Replay (MP4)" in labels(page)
    page.selectbox(key="target").set_value("camera").run()
    assert "Replay (MP4)" not in labels(page)
    assert len(made) == 1


def test_family_tells_why_no_replay_can_be_drawn(open_page, measurer):
    page = upload(open_page(), 14)
    page.radio(key="mirrored").set_value("no").run()
    page.selectbox(key="position").set_value("lying").run()
    page.button(key="make-replay").click().run()
    assert "gravity is no zero" in page.error[0].value
