"""Work shared with processes: order, lost workers, errors, and nothing left behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import psutil
import pytest

from excursions.errors import UsageError, WorkerLostError
from excursions.pipeline.crew import Crew

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[3]


def total(task: tuple[int, np.ndarray]) -> tuple[int, float, int]:
    """Number, sum, and who did it."""
    return task[0], float(task[1].sum()), os.getpid()


def mark_and_die(task: tuple[int, str, int]) -> int:
    """End the worker the first `times` times a task is begun; never the caller, whose process id is given."""
    caller, marks, times = task
    begun = len(list(Path(marks).iterdir()))
    if os.getpid() != caller and begun < times:
        (Path(marks) / f"{begun}").touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return 7


def refuse(task: int) -> int:
    """Refuse the third."""
    if task == 2:
        raise UsageError(found="the third", expected="another", mend="take another")
    return task


def numbered(count: int, size: int) -> list[tuple[int, np.ndarray]]:
    return [(number, np.full(size, float(number))) for number in range(count)]


def test_results_come_in_order_and_both_the_caller_and_a_worker_do_some() -> None:
    with Crew(total, 2) as crew:
        time.sleep(1.0)  # let the worker start, so that it is there when work begins
        done = list(crew.run(numbered(40, 60_000), 40))
    assert [one[:2] for one in done] == [(number, 60_000.0 * number) for number in range(40)]
    assert os.getpid() in {one[2] for one in done}


def test_one_job_hires_nobody() -> None:
    with Crew(total, 1) as crew:
        assert {one[2] for one in crew.run(numbered(3, 10), 3)} == {os.getpid()}
    assert not shared_by(os.getpid())


def test_a_killed_worker_has_its_task_done_again(tmp_path: Path) -> None:
    with Crew(mark_and_die, 2) as crew:
        assert list(crew.run([(os.getpid(), str(tmp_path), 1)] * 6, 6)) == [7] * 6
    assert len(list(tmp_path.iterdir())) == 1


def test_a_task_that_kills_every_worker_is_an_error_in_words(tmp_path: Path) -> None:
    with Crew(mark_and_die, 2) as crew, pytest.raises(WorkerLostError, match="same task"):
        list(crew.run([(os.getpid(), str(tmp_path), 99)] * 6, 6))


def test_an_error_of_the_work_comes_out_with_its_words() -> None:
    with Crew(refuse, 2) as crew, pytest.raises(UsageError, match="the third"):
        list(crew.run(range(6), 6))


BUSY = """
import sys, time
import numpy as np
from excursions.pipeline.crew import Crew
from tests.unit.pipeline.test_crew import slow

if __name__ == "__main__":
    with Crew(slow, 2) as crew:
        print("begun", flush=True)
        list(crew.run([(n, np.zeros(100_000)) for n in range(1000)], 1000))
"""


def slow(task: tuple[int, np.ndarray]) -> int:
    """Take a while."""
    time.sleep(0.2)
    return task[0]


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_broken_off_nobody_and_nothing_is_left(how: signal.Signals, tmp_path: Path) -> None:
    script = tmp_path / "busy.py"
    script.write_text(BUSY)
    with subprocess.Popen(
        [sys.executable, str(script)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    ) as process:  # fmt: skip
        assert process.stdout is not None
        assert process.stdout.readline() == b"begun\n"
        until(lambda: len(psutil.Process(process.pid).children(recursive=True)) >= 2)
        if Path("/dev/shm").is_dir():
            until(lambda: shared_by(process.pid))
        children = psutil.Process(process.pid).children(recursive=True)
        process.send_signal(how)
        process.wait()
    until(
        lambda: not any(child.is_running() and child.status() != psutil.STATUS_ZOMBIE for child in children)
    )
    until(lambda: not shared_by(process.pid))


def shared_by(caller: int) -> set[str]:
    """Shared memory that a process has made for its workers and that is there now."""
    home = Path("/dev/shm")
    return {path.name for path in home.glob(f"excursions-{caller}-*")} if home.is_dir() else set()


def until(true: object, seconds: float = 60.0) -> None:
    """Wait for a condition; fails only when it does not come about at all."""
    end = time.monotonic() + seconds
    while not true():  # type: ignore[operator]
        assert time.monotonic() < end, "it did not come about"
        time.sleep(0.05)
