"""Sessions end when nobody uses them, when they are old, and when there are too many."""

from __future__ import annotations

from fermd.web.sessions import IDLE_S, LONGEST_S, MOST, Sessions


class Clock:
    now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


def test_a_session_that_nobody_uses_is_over() -> None:
    clock = Clock()
    sessions = Sessions(clock)
    secret = sessions.begin("anna")
    clock.now_s += IDLE_S - 1.0
    assert sessions.find(secret) is not None
    clock.now_s += IDLE_S - 1.0
    assert sessions.holds(secret)
    clock.now_s += 2.0
    assert not sessions.holds(secret)
    assert sessions.find(secret) is None


def test_a_session_that_is_used_daily_is_over_at_its_longest() -> None:
    clock = Clock()
    sessions = Sessions(clock)
    secret = sessions.begin("anna")
    days = 0
    while sessions.find(secret) is not None:
        clock.now_s += 86400.0
        days += 1
    assert days == LONGEST_S / 86400.0 + 1


def test_looking_whether_a_session_holds_is_no_use_of_it() -> None:
    clock = Clock()
    sessions = Sessions(clock)
    secret = sessions.begin("anna")
    for _ in range(40):
        clock.now_s += IDLE_S / 39.0
        sessions.holds(secret)
    assert not sessions.holds(secret)


def test_there_are_never_more_than_a_household_has_and_the_idlest_goes_first() -> None:
    clock = Clock()
    sessions = Sessions(clock)
    first = sessions.begin("first")
    secrets = [first]
    for n in range(3 * MOST):
        clock.now_s += 1.0
        assert sessions.find(first) is not None
        secrets.append(sessions.begin(f"phone {n}"))
    assert len(sessions) == MOST
    assert sessions.holds(first)
    assert not sessions.holds(secrets[1])
    assert len(set(secrets)) == len(secrets)
