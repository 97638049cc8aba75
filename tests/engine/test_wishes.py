"""The table of wishes: nothing unknown, nothing too long, nothing of the wrong type gets past it."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.engine.wishes import ALWAYS, FIELDS, MOST_BYTES, BadWish, Wish, read_wish


def line(**fields):
    return json.dumps(fields).encode()


def test_a_good_wish_keeps_its_fields():
    found = read_wish(line(wish="hold", digit=3, by="Ines"), 7)
    assert found == Wish(kind="hold", client=7, data={"digit": 3, "by": "Ines"})


@pytest.mark.parametrize(
    ("raw", "word"),
    [
        (b"", "JSON"),
        (b"\xff\xfe", "JSON"),
        (b"[1, 2]", "NAME"),
        (line(hold=1), "NAME"),
        (line(wish="launch"), "not known"),
        (line(wish="hold", digit="3"), "expected int"),
        (line(wish="hold", digit=True), "expected int"),
        (line(wish="beat", painted_n=1, grip=1, seen=1), "expected bool"),
        (line(wish="safe", now=True), "not known"),
        (line(wish="mark", text="x"), "seen is missing"),
        (line(wish="resume", by=["a", 1], codes=[], seen=1), "list of texts"),
        (line(wish="mark", seen=1, text="x" * MOST_BYTES), "at most"),
    ],
)
def test_a_bad_wish_gets_one_sentence(raw, word):
    found = read_wish(raw, 1)
    assert isinstance(found, BadWish)
    assert word in found.text
    assert "\n" not in found.text


def test_safe_and_abort_need_nothing():
    for kind in ("safe", "abort"):
        assert isinstance(read_wish(line(wish=kind), 1), Wish)
        assert kind in ALWAYS
        assert FIELDS[kind] == {}


@given(st.binary(max_size=300))
def test_any_bytes_give_an_answer(raw):
    assert isinstance(read_wish(raw, 1), Wish | BadWish)


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.text(max_size=9), st.lists, max_leaves=9
    )
)
def test_any_field_gives_an_answer(value):
    for kind in FIELDS:
        raw = json.dumps({"wish": kind, "seen": 1, "by": value, "text": value}).encode()
        assert isinstance(read_wish(raw, 1), Wish | BadWish)
