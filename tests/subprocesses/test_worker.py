"""Whatever a worker does, the asking process gets an answer, a refusal, or Lost."""

import platform
import sys
import threading
from pathlib import Path

import pytest

from coldtake.errors import PassageError
from coldtake.subprocesses import Broken, Limits, WorkerCancelled, WorkerClient, WorkerFailed


@pytest.fixture
def worker(monkeypatch):
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parent))
    made = WorkerClient("ill_behaved", Limits(seconds=20.0, memory_bytes=600_000_000))
    yield made
    made.stop()


def test_an_answer_with_bytes(worker):
    answer, body, _ = worker.ask({"how": "echoes", "say": "½ ♭"}, b"abc" * 100_000)
    assert (answer, body) == ({"said": "½ ♭"}, b"cba" * 100_000)


def test_one_process_does_job_after_job(worker):
    for _ in range(3):
        worker.ask({"how": "echoes", "say": ""})
    assert [p.jobs for p in worker._idle] == [3]


def test_what_libraries_say_mixes_with_no_answer(worker):
    answer, _, said = worker.ask({"how": "speaks"})
    assert answer == "done"
    assert "on stdout, where answers go" in said
    assert "on stderr" in said
    assert worker.ask({"how": "echoes", "say": 1})[2] == ""


def test_a_refusal_comes_through_whole(worker):
    with pytest.raises(PassageError) as caught:
        worker.ask({"how": "refuses"})
    assert str(caught.value) == "bar 3: half a bar is missing. Write it."


def test_a_fault_of_the_program_keeps_its_traceback(worker):
    with pytest.raises(Broken, match="nobody thought of that"):
        worker.ask({"how": "breaks"})
    assert worker.ask({"how": "echoes", "say": 1})[0] == {"said": 1}


@pytest.mark.parametrize(("how", "why"), [("eats", "memory"), ("dies", "end"), ("sleeps", "time")])
def test_one_that_does_not_come_through_is_replaced(worker, how, why):
    with pytest.raises(WorkerFailed) as caught:
        worker.ask({"how": how}, seconds=1.0 if how == "sleeps" else None)
    assert caught.value.why == why
    assert worker.lost == 1
    assert worker.ask({"how": "echoes", "say": 2})[0] == {"said": 2}


def test_a_job_that_toils_is_given_up_by_its_processor_time(monkeypatch):
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parent))
    made = WorkerClient("ill_behaved", Limits(seconds=60.0, memory_bytes=600_000_000, cpu_s=0.5))
    with pytest.raises(WorkerFailed) as caught:
        made.ask({"how": "toils"})
    assert caught.value.why == "time"
    made.stop()


def test_no_large_file_is_written(worker, tmp_path):
    with pytest.raises(Broken, match="File too large"):
        worker.ask({"how": "fills_the_disk", "path": str(tmp_path / "big")})
    assert (tmp_path / "big").stat().st_size <= 1 << 20


@pytest.mark.skipif(
    sys.platform != "linux" or platform.machine() not in ("x86_64", "aarch64"),
    reason="only there does the kernel take such a wish",
)
@pytest.mark.parametrize("how", ["opens_a_socket", "starts_a_program"])
def test_sockets_and_programs_are_given_up(worker, how):
    with pytest.raises(Broken, match="Permission denied"):
        worker.ask({"how": how})


def test_progress_is_told_and_can_stop_it(worker):
    told = []

    def until_half(share):
        told.append(share)
        return share < 0.5

    with pytest.raises(WorkerCancelled):
        worker.ask({"how": "goes_on"}, tell=until_half)
    assert told == [0.0, 0.1, 0.2, 0.3, 0.4, 0.5]
    assert worker.ask({"how": "goes_on"})[0] == "whole"


def test_several_askers_share_the_processes(worker):
    answers = []

    def ask(n):
        answers.append(worker.ask({"how": "echoes", "say": n})[0]["said"])

    threads = [threading.Thread(target=ask, args=(n,)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == list(range(6))
    assert len(worker._idle) <= 2
