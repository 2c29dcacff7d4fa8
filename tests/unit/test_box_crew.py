"""Workers: a lost one costs its own photo, and none outlives the crew."""

from __future__ import annotations

import os
import time
from typing import Any

import pytest

from identify.box import crew
from identify.box.crew import Crew

MOODY = "tests.unit.workers.moody"


def run(jobs: int, *names: str) -> dict[str, dict[str, Any]]:
    with Crew(jobs, {"hello": 1}, MOODY) as workers:
        return {task["name"]: answer for task, answer in workers.run([{"name": n} for n in names])}


def test_every_task_is_answered_once() -> None:
    found = run(2, *(str(i) for i in range(20)))
    assert {name: answer["name"] for name, answer in found.items()} == {str(i): str(i) for i in range(20)}
    assert found["3"]["work"] == {"hello": 1}
    assert len({answer["by"] for answer in found.values()}) <= 2


def test_how_far_a_task_is_comes_before_its_answer() -> None:
    said: list[tuple[str, ...]] = []
    with Crew(1, {}, MOODY) as workers:
        answers = workers.run(
            [{"name": "tray"}, {"name": "a"}], lambda task, *n: said.append((task["name"], *map(str, n)))
        )
        said += [(task["name"], answer["name"]) for task, answer in answers]
    assert said[:3] == [("tray", str(i), "3") for i in range(3)] and len(said) == 5
    assert set(run(1, "tray 2")) == {"tray 2"}


def test_a_lost_worker_is_one_lost_photo() -> None:
    found = run(2, "a", "crash", "b", "half", "c", "d", "crash 2", "e")
    lost = {name for name, answer in found.items() if answer["error"] is not None}
    assert lost == {"crash", "half", "crash 2"}
    assert found["crash"]["error"]["code"] == "worker-lost" and "exit code 9" in found["crash"]["error"]["text"]
    assert found["crash"]["photo"] == "crash" and found["crash"]["baits"] == []


def test_a_photo_that_hangs_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(crew, "LONGEST_S", 0.5)
    found = run(1, "hang", "a")
    assert found["hang"]["error"]["code"] == "worker-lost" and found["a"]["error"] is None


def test_none_outlives_the_crew() -> None:
    begun = time.monotonic()
    with Crew(1, {}, MOODY) as workers:
        answers = workers.run({"name": name} for name in ("a", "hang", "b"))
        pid = next(answers)[1]["by"]
    assert time.monotonic() - begun < 20
    if os.name == "posix":
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)


def test_few_tasks_are_taken_at_a_time() -> None:
    taken = []

    def tasks() -> Any:
        for i in range(50):
            taken.append(i)
            yield {"name": str(i)}

    with Crew(1, {}, MOODY) as workers:
        answers = workers.run(tasks())
        next(answers)
        assert len(taken) <= 3
        assert len(list(answers)) == 49
