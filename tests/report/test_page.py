"""The printed page: everything in it, in order, escaped, and no side while it is not known."""

import re
from html.parser import HTMLParser

import pytest

from posture.conventions import DISCLAIMER
from posture.report import render_html
from posture.summary.record import Conditions
from posture.summary.words import result_sentences

TWO = ((-12.0, -10.0, 0.0), (14.0, 8.0, -3.0))
KINDS = {
    "one": {},
    "two": {"held": TWO, "seconds": 96.0},
    "lying": {"conditions": Conditions(position="lying")},
    "photograph": {"photograph": True},
    "short": {"seconds": 4.0},
    "nothing": {"faces": False},
}
HOSTILE = ["$x$ <b>bold</b>", "![x](http://a)", "<script>alert(1)</script>", "{{ 7 * 7 }}", "--><img src=x>", '" onload="x']


class Page(HTMLParser):
    """Tags with attributes, and the text outside styles."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.text, self._skip = [], "", False
        self.feed(html)
        self.text = " ".join(self.text.split())

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self._skip = tag == "style"

    def handle_endtag(self, tag):
        self._skip = False

    def handle_data(self, data):
        self.text += "" if self._skip else data


def page_of(made, code="K-017"):
    return render_html(made.summary, made.found, title_code=code)


@pytest.mark.parametrize("mirrored", ["no", "unknown"])
@pytest.mark.parametrize("kind", KINDS)
def test_render_html_holds_result_cautions_and_disclaimer_in_order(measure, kind, mirrored):
    made = measure(mirrored=mirrored, **KINDS[kind])
    text = Page(page_of(made)).text
    parts = [
        "Head posture",
        "patient label",
        *result_sentences(made.summary),
        "Cautions and checks",
        "Red flags were not asked.",
        *(check.text for check in made.summary.checks),
        "Conditions",
        "Mirroring",
        "Upright",
        "examiner / signature",
        DISCLAIMER,
        "Made with posture",
    ]
    at = -1
    for part in parts:
        at = text.find(" ".join(part.split()), at + 1)
        assert at >= 0, part


@pytest.mark.parametrize("kind", KINDS)
def test_render_html_names_no_side_while_mirroring_is_unknown(measure, kind):
    html = page_of(measure(mirrored="unknown", **KINDS[kind]))
    assert not re.search(r"\b(right|left)\b", html, re.IGNORECASE)


def test_render_html_names_the_side_when_it_is_known(measure):
    text = Page(page_of(measure())).text
    assert "to the child's left shoulder" in text
    assert "0 % to the right, 100 % to the left, 0 % neither" in text


@pytest.mark.parametrize("text", HOSTILE)
def test_render_html_escapes_what_a_user_entered(measure, text):
    conditions = Conditions(correction=text, drops=text, attention=text, examiner=text, filmed_on=text)
    made = measure(conditions=conditions, label=text)
    plain = Page(page_of(measure(), None))
    for code in (text, None):
        page = Page(page_of(made, code))
        assert page.text.count(text) >= 6
        assert [t for t, _ in page.tags if t in ("script", "img", "b", "a")] == [t for t, _ in plain.tags if t == "b"]
        assert not any(name.startswith("on") for _, attrs in page.tags for name in attrs)


def test_render_html_is_self_contained(measure):
    html = page_of(measure())
    page = Page(html)
    policy = [attrs["content"] for tag, attrs in page.tags if attrs.get("http-equiv") == "Content-Security-Policy"]
    assert policy == ["default-src 'none'; style-src 'unsafe-inline'; img-src data:"]
    assert not {tag for tag, _ in page.tags} & {"script", "link", "iframe", "img", "object", "a", "form"}
    assert set(re.findall(r"https?://[^\"'\s<]+", html)) <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    assert sum(tag == "svg" for tag, _ in page.tags) == 3
    links = [value for _, attrs in page.tags for name, value in attrs.items() if name in ("href", "xlink:href", "src")]
    assert all(value.startswith("#") for value in links)


def test_render_html_lists_every_condition(measure):
    bare = Page(page_of(measure())).text
    assert bare.count("not entered") == 12
    conditions = Conditions(
        filmed_on="2026-01-02",
        filmed_on_source="file",
        age_months=41,
        target="far picture",
        target_distance_m=4,
        camera_height="eye level",
        correction="own glasses",
        covered_eye="none",
        covered_minutes=0,
        position="sitting",
        drops="no drops",
        attention="good",
        examiner="E1",
    )
    full = Page(page_of(measure(conditions=conditions))).text
    assert "not entered" not in full
    for said in ("2026-01-02 (file)", "3 years 5 months", "4 m", "eye level", "own glasses", "0 minutes", "sitting", "E1"):
        assert said in full


@pytest.mark.parametrize(("code", "label", "said"), [("C1", "L1", "Code: C1"), (None, "L1", "Code: L1"), (None, None, None)])
def test_render_html_heading(measure, code, label, said):
    text = Page(page_of(measure(label=label), code)).text
    assert (said in text) if said else ("Code:" not in text)


def test_render_html_marks_checks_by_word_and_sign(measure):
    text = Page(page_of(measure(photograph=True))).text
    assert "× FAILED steady time: A photograph shows a moment" in text
    assert "! CAUTION upright:" in text
    assert "✓ passed face:" in text


def test_render_html_gives_two_postures_a_row_each(measure):
    text = Page(page_of(measure(**KINDS["two"]))).text
    for said in ("Tilt, posture 1", "Tilt, posture 2", "in this posture"):
        assert said in text
