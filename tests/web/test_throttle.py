"""Log-in tries: a few at once, then one in a while; from everywhere together, too."""

from __future__ import annotations

import ipaddress
import random

from lan_rig import Lan, site_on_the_lan

from fermd.web.throttle import (
    BURST,
    BURST_OF_ALL,
    EACH_OF_ALL_S,
    EACH_S,
    MOST_ADDRESSES,
    Throttle,
)


class Clock:
    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


def taken(throttle: Throttle, address: str, tries: int) -> int:
    return sum(throttle.take(address) == 0.0 for _ in range(tries))


def test_a_guesser_gets_a_few_tries_and_then_one_in_a_while() -> None:
    clock = Clock()
    throttle = Throttle(clock)
    assert taken(throttle, "192.0.2.1", 100) == BURST
    assert 0.0 < throttle.take("192.0.2.1") <= EACH_S
    clock.now_s += EACH_S
    assert taken(throttle, "192.0.2.1", 100) == 1
    clock.now_s += 1000 * EACH_S
    assert taken(throttle, "192.0.2.1", 100) == BURST


def test_over_a_day_a_guesser_with_one_address_gets_no_more_than_the_pace_allows() -> None:
    clock = Clock()
    throttle = Throttle(clock)
    found = 0
    for _ in range(86_400):
        clock.now_s += 1.0
        found += throttle.take("192.0.2.1") == 0.0
    assert found <= BURST + 86_400 / EACH_S + 1


def test_others_may_still_log_in_while_one_guesses() -> None:
    throttle = Throttle(Clock())
    taken(throttle, "192.0.2.1", 10_000)
    assert throttle.take("192.0.2.2") == 0.0


def test_a_guesser_with_many_addresses_meets_the_limit_for_all() -> None:
    clock = Clock()
    throttle = Throttle(clock)
    addresses = [str(ipaddress.ip_address("192.0.2.0") + n) for n in range(5000)]
    assert sum(throttle.take(one) == 0.0 for one in addresses) == BURST_OF_ALL
    clock.now_s += 10 * EACH_OF_ALL_S
    assert sum(throttle.take(one) == 0.0 for one in addresses) == 10


def test_one_ipv6_network_is_one_caller() -> None:
    throttle = Throttle(Clock())
    network = ipaddress.ip_network("2001:db8::/64")
    rng = random.Random(5)
    found = sum(throttle.take(str(network[rng.getrandbits(60)])) == 0.0 for _ in range(100))
    assert found == BURST
    assert throttle.take("2001:db8:0:1::1") == 0.0
    assert taken(throttle, "::ffff:192.0.2.9", 10) == BURST
    assert taken(throttle, "192.0.2.9", 10) == 0


def test_memory_stays_bounded_under_a_flood_of_addresses() -> None:
    throttle = Throttle(Clock())
    for n in range(10 * MOST_ADDRESSES):
        throttle.take(str(ipaddress.ip_address("10.0.0.0") + n))
    assert len(throttle) == MOST_ADDRESSES


def test_a_right_password_costs_no_try() -> None:
    throttle = Throttle(Clock())
    for _ in range(100):
        assert throttle.take("192.0.2.1") == 0.0
        throttle.give_back("192.0.2.1")


def test_a_burst_of_wrong_passwords_is_turned_away_and_the_session_there_is_goes_on() -> None:
    with site_on_the_lan() as lan:
        with lan.logged_in() as phone:
            codes = [lan.phone().log_in(f"guess {n}").status_code for n in range(12)]
            assert codes == [401] * BURST + [429] * (12 - BURST)
            assert phone.get("/api/status").status_code == 200
        _waits(lan)


def _waits(lan: Lan) -> None:
    answer = lan.phone().log_in("yet another guess")
    assert answer.status_code == 429
    assert 1 <= int(answer.headers["retry-after"]) <= EACH_S + 1
    # What a caller says of its own address counts for nothing.
    forged = lan.phone(**{"X-Forwarded-For": "203.0.113.7"}).log_in("a guess")
    assert forged.status_code == 429
