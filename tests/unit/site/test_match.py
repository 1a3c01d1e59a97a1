"""Names of events stay when more data move onsets or change kinds; two events never share a name."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from excursions.clock import NS_PER_HOUR
from excursions.records import Event
from excursions.report.result import Levels, Trace
from excursions.site.codec import DamagedError, decode, encode
from excursions.site.match import Seen, match


def event(kind: str, start_h: float, end_h: float) -> Event:
    return Event(
        point="A1", kind=kind, start=int(start_h * NS_PER_HOUR), end=int(end_h * NS_PER_HOUR), size=1.0,
        size_unit="pH", confidence=0.9,
    )  # fmt: skip


def seen(name: str, kind: str, start_h: float, end_h: float) -> Seen:
    return Seen(name=name, kind=kind, start=int(start_h * NS_PER_HOUR), end=int(end_h * NS_PER_HOUR))


@pytest.mark.parametrize(
    ("before", "now", "expected"),
    [
        ([seen("a", "stuck", 10, 20)], [event("stuck", 10, 30)], {0: "a"}),
        ([seen("a", "drift", 10, 90)], [event("drift", 30, 95)], {0: "a"}),
        ([seen("a", "drift", 10, 90)], [event("fouling", 12, 88)], {0: "a"}),
        ([seen("a", "drift", 10, 90)], [event("stuck", 80, 85)], {}),
        ([seen("a", "step", 10, 10)], [event("step", 11, 11)], {0: "a"}),
        ([seen("a", "step", 10, 10)], [event("step", 15, 15)], {}),
        (
            [seen("a", "stuck", 0, 10), seen("b", "stuck", 12, 20)],
            [event("stuck", 0, 20), event("stuck", 12.5, 19)],
            {0: "a", 1: "b"},
        ),
        ([seen("a", "drift", 10, 90), seen("b", "fouling", 10, 90)], [event("fouling", 10, 90)], {0: "b"}),
    ],
    ids=[
        "grown",
        "onset moved",
        "reclassified",
        "another thing",
        "refined",
        "far",
        "split",
        "same kind first",
    ],
)
def test_names_go_to_what_is_the_same(before: list[Seen], now: list[Event], expected: dict[int, str]) -> None:
    assert match(before, now) == expected


spans = st.tuples(st.sampled_from(["stuck", "step", "drift"]), st.integers(0, 50), st.integers(0, 20))


@settings(deadline=None)
@given(before=st.lists(spans, max_size=8), now=st.lists(spans, max_size=8))
def test_no_name_is_given_twice_and_order_of_the_ledger_does_not_matter(before: list, now: list) -> None:
    rows = [seen(f"n{i}", kind, at, at + length) for i, (kind, at, length) in enumerate(before)]
    events = [event(kind, at, at + length) for kind, at, length in now]
    found = match(rows, events)
    assert len(set(found.values())) == len(found)
    assert match(rows[::-1], events) == found


def test_findings_come_back_as_they_were_and_damage_is_told() -> None:
    value = (
        event("stuck", 1, 2),
        Trace(name="value", unit="pH", time=np.arange(5), value=np.array([1.0, np.nan, 3, 4, 5]), samples=5),
        Levels(),
        {"a": (1, 2.5, None, True), "β": []},
    )
    content = encode(value)
    back = decode(content)
    assert repr(back[0]) == repr(value[0])
    assert np.array_equal(back[1].value, value[1].value, equal_nan=True)
    assert back[1].time.dtype == np.int64
    assert (back[2].time.size, back[3]) == (0, value[3])
    for at in (0, 30, len(content) - 1):
        broken = bytearray(content)
        broken[at] ^= 1
        with pytest.raises(DamagedError):
            decode(bytes(broken))
    with pytest.raises(TypeError):
        encode(object())
