"""Marked times: what people write, and which frames lie in them."""

import numpy as np
import pytest

from posture.errors import SpanError
from posture.signal.spans import inside, say_spans, spans_from


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", ()),
        ("12-15", ((12, 15),)),
        ("0:12-0:15, 1:02.5 - 1:05", ((12, 15), (62.5, 65))),
        ("1:00:00-1:00:10", ((3600, 3610),)),
        ("30–40, 5-6", ((5, 6), (30, 40))),
    ],
)
def test_times_are_read_as_people_write_them(text, expected):
    assert spans_from(text) == expected


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("twelve", "'twelve' came"),
        ("12", "'12' came"),
        ("15-12", "from the earlier to the later"),
        ("5-5", "the later"),
        ("1-2, x", "'x' came"),
    ],
)
def test_what_is_no_time_is_named(text, said):
    with pytest.raises(SpanError, match=said):
        spans_from(text)


def test_text_is_read_back():
    spans = ((12.0, 15.5), (62.25, 65.0))
    assert spans_from(say_spans(spans)) == spans


def test_ends_belong_to_a_span():
    assert inside(np.array([0.9, 1.0, 2.0, 2.1, 5.0]), ((1, 2), (5, 6))).tolist() == [False, True, True, False, True]
    assert not inside(np.arange(3.0), ()).any()
