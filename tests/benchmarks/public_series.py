"""Series that others measured, carried by registry packages, through the scan unchanged and without any setting.

    python -m tests.benchmarks.public_series

For each: what its labels or the literature say, and what the scan said.  None of them is a probe of this trade,
so the point is recognised as "reading", and nothing but the record itself speaks.  What `aeon` carries is left out
with a word where that package is not installed.
"""

from __future__ import annotations

import importlib.util
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

import excursions
from excursions.clock import to_datetime
from excursions.records import Event
from tests.benchmarks.tables import grid

OURS = ("probe", "undecided", "record")


@dataclass(frozen=True)
class Known:
    """Something known of a series: when, in words, and the kinds of event that say the same."""

    start: datetime
    end: datetime
    words: str
    kinds: tuple[str, ...] = ()


@dataclass(frozen=True)
class Series:
    """One series: name, the package that carries it, its rows as a table of time and value, what is known of it."""

    name: str
    package: str
    frame: pl.DataFrame
    known: tuple[Known, ...]
    why: str


def _at(text: str) -> datetime:
    return datetime.fromisoformat(f"{text}T00:00:00+00:00")


def water_flow() -> Series | None:
    """Hourly flow through a branch of a pipeline, 2022; four segments labelled in its description."""
    found = importlib.util.find_spec("river")
    if found is None or not found.submodule_search_locations:
        return None
    path = Path(found.submodule_search_locations[0]) / "datasets" / "water-flow.csv"
    return Series(
        "water flow", "river", pl.read_csv(path),
        (Known(_at("2022-03-24"), _at("2022-03-25"), "first low stretch (labelled without times)", ("step",)),
         Known(_at("2022-03-29"), _at("2022-03-30"), "second low stretch", ("step",)),
         Known(_at("2022-04-27"), _at("2022-04-28"), "third low stretch", ("step",))),
        "the lows are the process: closed valves and maintenance; nothing says it is the meter; the small peak of pumping is within its daily way",
    )  # fmt: skip


def nile() -> Series:
    """Annual flow of the Nile at Aswan; change of level in 1898/99 (G. W. Cobb, Biometrika 65 (1978) 243)."""
    from statsmodels.datasets import nile as source

    data = source.load_pandas().data
    frame = pl.DataFrame(
        {
            "time": [f"{int(year)}-01-01T00:00:00Z" for year in data["year"]],
            "NILE.FLOW": data["volume"].to_numpy(),
        }
    )
    known = Known(_at("1897-06-01"), _at("1900-06-01"), "level falls by 248 in 1898/99", ("step",))
    return Series("Nile at Aswan", "statsmodels", frame, (known,), "a river, so undecided whose doing")


def mauna_loa() -> Series:
    """Weekly CO2 in air at Mauna Loa, 1958-2001 (C. D. Keeling, T. P. Whorf, Oak Ridge): rise, seasons, missing weeks."""
    from statsmodels.datasets import co2 as source

    data = source.load_pandas().data
    frame = pl.DataFrame(
        {"time": [f"{t:%Y-%m-%dT%H:%M:%SZ}" for t in data.index], "CO2.PPM": data["co2"].to_numpy()}
    ).with_columns(pl.col("CO2.PPM").fill_nan(None))
    known = (
        Known(_at("1958-03-01"), _at("2001-12-31"), "rises by 55 ppm over the record", ("drift",)),
        Known(
            _at("1964-01-18"),
            _at("1964-05-30"),
            "no samples for 18 weeks",
            ("dropout", "bad_quality", "bridged"),
        ),
    )
    return Series("CO2 at Mauna Loa", "statsmodels", frame, known, "the rise is real air, not the analyser")


def el_nino() -> Series:
    """Monthly sea-surface temperature off Peru 1950-2010 (NOAA); warm events of 1982/83 and 1997/98 are the strongest."""
    from statsmodels.datasets import elnino as source

    data = source.load_pandas().data
    rows = [
        (f"{int(row.iloc[0])}-{month:02d}-15T00:00:00Z", float(row.iloc[month]))
        for _, row in data.iterrows()
        for month in range(1, 13)
    ]
    frame = pl.DataFrame(rows, schema=["time", "SST.PV"], orient="row")
    return Series(
        "sea surface, El Nino", "statsmodels", frame,
        (Known(_at("1982-06-01"), _at("1983-12-31"), "strongest warm event of its time", ("step", "drift")),
         Known(_at("1997-03-01"), _at("1998-12-31"), "the next as strong", ("step", "drift"))),
        "months long and coming back by itself: seasonal water, below what a record of 732 months can tell from its seasons",
    )  # fmt: skip


def bleeding() -> Series | None:
    """Arterial pressure with one labelled stretch (UCR anomaly archive 135, Wu and Keogh 2021), one second a sample here."""
    found = importlib.util.find_spec("aeon")
    if found is None or not found.submodule_search_locations:
        return None
    folder = Path(found.submodule_search_locations[0]) / "datasets" / "data" / "KDD-TSAD_135"
    data = pl.read_csv(folder / "135_UCR_Anomaly_InternalBleeding16_TEST.csv")
    start = datetime.fromisoformat("2020-01-01T00:00:00+00:00")
    frame = data.select(
        (pl.lit(start) + pl.duration(seconds=pl.col("timestamp"))).alias("time"),
        pl.col("value").alias("ABP.PV"),
    )
    marked = frame.filter(data["is_anomaly"] == 1)["time"]
    known = Known(marked[0], marked[-1], f"{marked.len()} samples of one beat labelled", ())
    return Series(
        "arterial pressure", "aeon", frame, (known,),
        "one beat of odd shape among hundreds: no level, noise or standstill, and the tool looks for no shapes",
    )  # fmt: skip


MAKERS: tuple[Callable[[], Series | None], ...] = (water_flow, nile, mauna_loa, el_nino, bleeding)


def scanned(series: Series) -> tuple[Event, ...]:
    """Events of a series by the plain scan of a file that holds nothing else."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "series.csv"
        series.frame.write_csv(path)
        result = excursions.scan([path]).result
    return tuple(event for findings in result.points for event in findings.events)


def _says(known: Known, events: tuple[Event, ...]) -> str:
    for event in events:
        near = to_datetime(event.start) <= known.end and to_datetime(event.end) >= known.start
        if near and (event.kind in known.kinds or not known.kinds):
            return f"yes: {_words(event)}"
    return "no"


def _words(event: Event) -> str:
    size = f"{event.size:.3g} {event.size_unit}".rstrip()
    return f"{event.kind} {size} from {to_datetime(event.start):%Y-%m-%d} ({event.origin} {event.confidence:.2f})"


def lines() -> Iterator[str]:
    """The table, then what else was said of each series."""
    rows, more = [], []
    for make in MAKERS:
        series = make()
        if series is None:
            more.append(f"{make.__name__} left out: its package is not installed")
            continue
        events = scanned(series)
        loud = [e for e in events if e.origin == "probe" and e.confidence >= 0.5 and e.severity != "note"]
        for number, known in enumerate(series.known):
            first = [series.name, series.package, str(series.frame.height)] if number == 0 else ["", "", ""]
            last = [str(len(loud)), str(len(events))] if number == 0 else ["", ""]
            rows.append([*first, known.words, _says(known, events), *last])
        more.append(f"{series.name}: {series.why}. Said: " + ("; ".join(map(_words, events)) or "nothing"))
    head = ["series", "package", "rows", "known", "reported", "probe faults", "events"]
    yield grid(head, rows, "Public series through the scan, unchanged and without settings")
    yield ""
    yield from more


if __name__ == "__main__":
    print("\n".join(lines()))
