"""Lines of keys: strings, comments and nested tables must not shift them."""

from __future__ import annotations

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from excursions.register._lines import key_lines, line_of

TEXT = '''# [not.a.table]
title = "a = 1 [b]"   # c = 2
[a."b.c"]
text = """
x = 1
[y]
"""
list = [ "]", # ] = 3
  1 ]
"odd key" = 1
[[p]]
n = 1
  [p.inner]
  m = 2
[[p]]
n = 2
dotted.key = { q = 1 }
'''


def test_every_key_has_its_own_line() -> None:
    lines = key_lines(TEXT)
    assert lines[("title",)] == 2
    assert lines[("a", "b.c", "text")] == 4
    assert lines[("a", "b.c", "list")] == 8
    assert lines[("a", "b.c", "odd key")] == 10
    assert lines[("p", 0, "n")] == 12
    assert lines[("p", 0, "inner", "m")] == 14
    assert lines[("p", 1, "n")] == 16
    assert lines[("p", 1, "dotted", "key")] == 17
    assert ("y",) not in lines
    assert ("not", "a", "table") not in lines


def test_what_has_no_line_takes_that_of_what_is_around_it() -> None:
    assert line_of(key_lines(TEXT), ("p", 1, "dotted", "key", "q")) == 17
    assert line_of({}, ("p",)) is None


@given(st.text(max_size=300))
def test_any_text_is_survived(text: str) -> None:
    assert all(line >= 1 for line in key_lines(text).values())


@given(
    st.lists(
        st.tuples(st.text(min_size=1, max_size=8), st.text(max_size=20)), max_size=6, unique_by=lambda p: p[0]
    )
)
def test_any_key_is_found_on_its_line(pairs: list[tuple[str, str]]) -> None:
    import tomlkit

    document = tomlkit.document()
    for key, value in pairs:
        document.add(tomlkit.key([key]), value)
    text = tomlkit.dumps(document)
    assert set(tomllib.loads(text)) == {key for key, _ in pairs}
    lines = key_lines(text)
    assert all((key,) in lines for key, _ in pairs)
