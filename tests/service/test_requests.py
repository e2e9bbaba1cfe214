"""What other threads ask of the loop: answered, refused, or given up, and never half of each."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

from fermd.control.commands import SetTarget
from fermd.service.requests import (
    LONGEST_WAIT_S,
    MOST_WAITING,
    Answer,
    Request,
    Requests,
)

COMMAND = SetTarget(12.0, "anna")
BOUND_S = 30.0


def _nobody() -> None:
    """A loop that sleeps on."""


def _in_thread(work: Callable[[], object]) -> threading.Thread:
    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    return thread


def test_who_asks_gets_the_answer_that_the_loop_gave() -> None:
    requests = Requests(_nobody)
    asked = requests.ask("lager", COMMAND)

    def loop() -> None:
        (taken,) = requests.take()
        taken.answer(Answer(False, "too cold"))

    thread = _in_thread(loop)
    assert asked.wait(BOUND_S) == Answer(False, "too cold")
    thread.join(BOUND_S)


def test_asking_wakes_the_loop() -> None:
    woken: list[int] = []
    requests = Requests(lambda: woken.append(len(woken)))
    requests.ask("lager", COMMAND)
    requests.ask("ale", COMMAND)
    assert woken == [0, 1]


def test_requests_are_taken_up_in_the_order_in_which_they_were_asked() -> None:
    requests = Requests(_nobody)
    for number in range(50):
        requests.ask(f"chamber-{number}", COMMAND)
    assert [one.chamber for one in requests.take()] == [f"chamber-{n}" for n in range(50)]
    assert requests.take() == []


def test_a_command_whose_asker_has_given_up_is_never_carried_out() -> None:
    requests = Requests(_nobody)
    asked = requests.ask("lager", COMMAND)
    answer = asked.wait(0.01)
    assert not answer.taken
    assert not answer.from_loop
    assert "the control loop did not answer within 0.01 s" in answer.why
    assert "dropped" in answer.why
    assert requests.take() == []


def test_a_command_that_the_loop_has_begun_with_is_not_called_dropped() -> None:
    requests = Requests(_nobody)
    asked = requests.ask("lager", COMMAND)
    (taken,) = requests.take()
    answer = asked.wait(0.01)
    assert not answer.from_loop
    assert "dropped" not in answer.why
    assert "look at the status" in answer.why
    taken.answer(Answer(True))
    assert asked.wait(0.0) == Answer(True)


def test_at_the_end_of_the_loop_nobody_waits_in_vain() -> None:
    requests = Requests(_nobody)
    begun = requests.ask("lager", COMMAND)
    assert requests.take() == [begun]
    waiting = requests.ask("lager", COMMAND)
    began_s = time.monotonic()
    requests.close()
    late = requests.ask("lager", COMMAND)
    for asked in (begun, waiting, late):
        answer = asked.wait(BOUND_S)
        assert (answer.taken, answer.from_loop) == (False, False)
        assert answer.why == "the control loop has ended"
    assert time.monotonic() - began_s < LONGEST_WAIT_S


def test_an_answer_once_given_is_not_taken_back_by_the_end() -> None:
    requests = Requests(_nobody)
    asked = requests.ask("lager", COMMAND)
    (taken,) = requests.take()
    taken.answer(Answer(True))
    requests.close()
    assert asked.wait(0.0) == Answer(True)


def test_more_requests_than_anybody_means_are_refused_at_once() -> None:
    requests = Requests(_nobody)
    for _ in range(MOST_WAITING):
        requests.ask("lager", COMMAND)
    answer = requests.ask("lager", COMMAND).wait(BOUND_S)
    assert "too many requests are waiting" in answer.why
    assert len(requests.take()) == MOST_WAITING
    assert requests.ask("lager", COMMAND) in requests.take()


def test_every_request_of_many_threads_gets_one_answer_that_is_true() -> None:
    requests = Requests(_nobody)
    carried_out: list[Request] = []
    ended = threading.Event()

    def loop() -> None:
        while not ended.is_set():
            for taken in requests.take():
                carried_out.append(taken)
                taken.answer(Answer(True))
        requests.close()

    def ask(number: int) -> tuple[Request, Answer]:
        asked = requests.ask("lager", COMMAND)
        if number == 600:
            ended.set()
        # Some are so impatient that they give up before the loop comes to them.
        return asked, asked.wait(0.0 if number % 7 == 0 else BOUND_S)

    thread = _in_thread(loop)
    with ThreadPoolExecutor(8) as askers:
        told = list(askers.map(ask, range(800)))
    thread.join(BOUND_S)
    done = {id(request) for request in carried_out}
    for asked, answer in told:
        if answer.taken:
            assert id(asked) in done
        if "dropped" in answer.why or answer.why == "the control loop has ended":
            assert id(asked) not in done
    assert any(answer.taken for _, answer in told)
    assert any(not answer.taken for _, answer in told)
