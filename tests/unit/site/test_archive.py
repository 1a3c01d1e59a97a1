"""Rows of an instant are settled by the order of reading alone; parts come back as written; looks do not depend on cuts."""

from __future__ import annotations

import dataclasses
import io
import itertools
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from excursions.clock import NS_PER_DAY
from excursions.site.archive import (
    PartDamagedError,
    Rows,
    cut,
    joined,
    load,
    load_series,
    look_at,
    months_of,
    new_part,
    resolved,
    tags_of_shared_looks,
    thinned,
)
from excursions.site.inbox import reading_order

JANUARY = int(np.datetime64("2024-01-31T23:59", "ns").astype(np.int64))
MINUTE = 60 * 10**9


def rows(times: list[int], file: int, at: float) -> Rows:
    """Minutes after the last of January; the value says which file and line it came from."""
    return Rows(
        time=JANUARY + MINUTE * np.array(times, np.int64),
        value=at + np.arange(len(times)) / 100,
        quality=np.zeros(len(times), np.uint8),
        file=np.full(len(times), file, np.uint32),
    )


def held(found: Rows) -> dict[int, float]:
    return dict(zip(found.time.tolist(), found.value.tolist(), strict=True))


def test_the_file_that_is_read_last_wins_and_in_it_the_last_line() -> None:
    first, second = rows([0, 1, 1, 2], 1, 10.0), rows([1, 2, 3], 2, 20.0)
    ranks = np.array([0, 5, 3])  # file 1 is read after file 2
    found = resolved(joined([first, second]), ranks)
    assert list(held(found).values()) == [10.0, 10.02, 10.03, 20.02]
    other = resolved(joined([first, second]), np.array([0, 3, 5]))
    assert list(held(other).values()) == [10.0, 20.0, 20.01, 20.02]


files = st.lists(st.lists(st.integers(0, 6), min_size=1, max_size=6), min_size=2, max_size=4)


@settings(deadline=None)
@given(files=files, data=st.data())
def test_any_order_and_grouping_of_files_settles_to_the_same_rows(
    files: list[list[int]], data: st.DataObject
) -> None:
    pieces = [rows(times, number, 10.0 * number) for number, times in enumerate(files)]
    ranks = np.array(data.draw(st.permutations(range(len(files)))))
    whole = held(resolved(joined(pieces), ranks))
    order = data.draw(st.permutations(pieces))
    step = resolved(order[0], ranks)
    for piece in [*order[1:], order[0]]:  # the first once more: a repeat
        step = resolved(joined([step, resolved(piece, ranks)]), ranks)
    assert held(step) == whole


def test_files_are_read_as_a_scan_of_the_folder_would_read_them() -> None:
    names = ["b.csv", "a/z.csv", "a.csv", "a/b/c.csv"]
    assert sorted(names, key=lambda name: reading_order(name, 1)) == [
        "a/b/c.csv",
        "a/z.csv",
        "a.csv",
        "b.csv",
    ]
    assert reading_order("x.csv", 2) > reading_order("x.csv", 1)


def test_a_part_comes_back_as_written_and_damage_is_told(tmp_path: Path) -> None:
    whole = resolved(rows([3, 0, 1, 5], 7, 1.0), np.arange(8))
    spans = months_of(whole.time)
    assert [month for month, _, _ in spans] == ["2024-01", "2024-02"]
    month, start, end = spans[1]
    made = new_part("A/1 <x>", month, {"T\x1f": cut(whole, start, end), "B": cut(whole, start, end)})
    path = tmp_path / made.part.path
    path.parent.mkdir(parents=True)
    path.write_bytes(made.content)
    assert path.resolve().is_relative_to(tmp_path)
    found = load(tmp_path, made.part)
    assert held(found["T\x1f"]) == held(cut(whole, start, end))
    assert load(tmp_path, made.part, ("B",)).keys() == {"B"}
    path.write_bytes(made.content[:-1] + b"x")
    with pytest.raises(PartDamagedError):
        load(tmp_path, made.part)


@pytest.mark.parametrize(
    "reach", [(0, 4_000), (1_999, 2_000), (1_500, 3_500), (3_999, 9_000), (4_000, 5_000)]
)
def test_a_span_of_several_parts_is_that_span_of_the_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, reach: tuple[int, int]
) -> None:
    """Whatever of a part is left packed: parts in any order, a tag in one of them only, many row groups."""
    monkeypatch.setattr("excursions.site.archive.ROW_GROUP", 256)
    early, late = rows([*range(2_000)], 1, 0.0), rows([*range(2_000, 4_000)], 2, 50.0)
    held_by = {"2024-02": {"T": early, "B": early}, "2024-03": {"T": late, "C": late}}
    made = [new_part("A1", month, tags) for month, tags in held_by.items()]
    for one in made:
        (tmp_path / one.part.path).parent.mkdir(parents=True)
        (tmp_path / one.part.path).write_bytes(one.content)
    parts = [one.part for one in reversed(made)]
    words = {tag: ("pH", f"of {tag}") for tag in ("T", "B", "C", "none")}
    span = (JANUARY + MINUTE * reach[0], JANUARY + MINUTE * reach[1])
    found = load_series(tmp_path, parts, words, span)
    whole = load_series(tmp_path, parts, words)
    assert list(whole) == ["T", "B", "C"]
    assert whole["T"].time.tolist() == [*early.time.tolist(), *late.time.tolist()]
    for tag, series in whole.items():
        inside = (series.time >= span[0]) & (series.time < span[1])
        assert (tag in found) == bool(inside.any())
        if tag in found:
            assert found[tag].time.tolist() == series.time[inside].tolist()
            assert found[tag].value.tolist() == series.value[inside].tolist()
            assert (found[tag].unit, found[tag].description) == words[tag]


@settings(deadline=None)
@given(cuts=st.lists(st.integers(1, 599), max_size=4), seed=st.integers(0, 9))
def test_a_look_at_pieces_is_the_look_at_the_whole(cuts: list[int], seed: int) -> None:
    draw = np.random.default_rng(seed)
    frame = pl.DataFrame(
        {
            "tag": "A",
            "time": JANUARY + 7 * MINUTE * np.arange(600),
            "value": np.round(draw.standard_normal(600), 1),
            "quality": draw.choice([0, 2], 600).astype(np.uint8),
        }
    )
    edges = sorted({0, *cuts, 600})
    pieces = [thinned(frame[a:b]) for a, b in itertools.pairwise(edges)]
    assert thinned(pl.concat(pieces)).equals(thinned(frame))
    good = frame.filter(pl.col("quality") < 2)["value"]
    assert thinned(frame)["value"].max() >= good.max()


@settings(deadline=None)
@given(cuts=st.lists(st.integers(1, 599), max_size=4), aligned=st.booleans())
def test_looks_at_parts_that_share_no_quarter_of_a_day_are_the_look_at_the_whole(
    cuts: list[int], aligned: bool
) -> None:
    """Only what two parts look at together is thinned again; the parts begin at midnight or anywhere."""
    begin = JANUARY - JANUARY % NS_PER_DAY
    time = begin + 7 * MINUTE * np.arange(600)
    edges = [begin + 7 * MINUTE * at for at in cuts]
    edges = [at - at % NS_PER_DAY if aligned else at for at in edges]
    at = sorted({0, *np.searchsorted(time, edges).tolist(), 600})
    record = dataclasses.replace(rows([*range(600)], 1, 0.0), time=time)
    made = [new_part("A1", "2024-01", {"T": cut(record, a, b)}) for a, b in itertools.pairwise(at)]
    together = pl.concat([pl.read_ipc(io.BytesIO(one.looks)) for one in made])
    shared = tags_of_shared_looks([one.part for one in made])
    assert not (aligned and shared)
    whole = pl.read_ipc(io.BytesIO(look_at({"T": record})))
    assert (thinned(together) if shared else together).equals(whole)
