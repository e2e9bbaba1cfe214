"""`fermd try`: an output by hand, protection kept, given back however the command ends."""

import os
import signal
import subprocess
from collections.abc import Iterator

import pytest
from cli_rig import BOUND_S, COMMAND, RealDaemon, on_terminal, process_environment, run

from fermd.control.settings import Duty


def _is_on(daemon: RealDaemon, duty: Duty) -> bool:
    seen = daemon.until(lambda seen: seen is not None)
    outputs = seen.chambers["lager"].decision.outputs
    return next(output.on for output in outputs if output.duty is duty)


def test_a_compressor_waits_and_the_command_says_so(lager: RealDaemon) -> None:
    ended = run("try", "fridge", "on", "--for", "0.5s", env=lager.environment)
    assert ended.code == os.EX_TEMPFAIL
    assert "0:00  cooling is called for; it stays off for another" in ended.out
    assert "fridge was on for 0 s" in ended.out
    assert "fridge did not go on in 0.5 s" in ended.err
    assert not any(lager.relays.on.values())


def test_a_heater_goes_on_and_is_given_back(lager: RealDaemon) -> None:
    ended = run("try", "heat", "on", "--for", "1s", "--yes", env=lager.environment)
    assert ended.code == 0
    assert "heating is on: set by hand for another 1 s" in ended.out
    assert "given back: heating is off: no target is set" in ended.out
    assert "belt was on for 1 s of 1 s" in ended.out
    assert "beer: 19.50 °C before, 19.50 °C after" in ended.out
    lager.until(lambda _: not any(lager.relays.on.values()))


def test_a_program_gets_all_of_it_as_one_object(lager: RealDaemon) -> None:
    args = ("try", "belt", "on", "--for", "0.5s", "--yes", "--json")
    told = run(*args, env=lager.environment).json
    assert (told["output"], told["duty"], told["asked"]) == ("belt", "heat", "on")
    assert told["as_asked_s"] > 0
    assert told["vessel_before"]["temp_c"] == 19.5
    assert [one["on"] for one in told["told"]] == [True]


def test_an_output_that_the_chamber_has_not_got_is_told_with_those_it_has(
    lager: RealDaemon,
) -> None:
    ended = run("try", "fan", "on", env=lager.environment)
    assert ended.code == os.EX_USAGE
    assert "'fan': not an output of chamber lager; it has fridge (cool), belt (heat)" in ended.err


def test_a_time_that_is_too_long_is_refused_by_the_daemon(lager: RealDaemon) -> None:
    ended = run("try", "fridge", "on", "--for", "2d", env=lager.environment)
    assert ended.code == os.EX_TEMPFAIL
    assert "at most 14400 s" in ended.err


def test_heat_asks_a_person_first_and_needs_yes_without_one(lager: RealDaemon) -> None:
    ended = run("try", "heat", "on", env=lager.environment, typed="y\n")
    assert ended.code == os.EX_USAGE
    assert "--yes" in ended.err
    no = on_terminal("try", "heat", "on", "--for", "1s", env=lager.environment, typed="n\n")
    assert no.code == 1
    assert not _is_on(lager, Duty.HEAT)
    yes = on_terminal("try", "heat", "on", "--for", "1s", env=lager.environment, typed="y\n")
    assert yes.code == 0
    assert "heating is on" in yes.out


@pytest.fixture
def trial(lager: RealDaemon) -> Iterator[subprocess.Popen[str]]:
    """A trial of the heater for ten minutes, under way."""
    child = subprocess.Popen(
        [*COMMAND, "try", "heat", "on", "--for", "10min", "--yes"],
        env=process_environment(lager.environment),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    lager.until(lambda _: _is_on(lager, Duty.HEAT))
    # It has said so, and so it is following what happens.
    assert child.stdout is not None
    assert "heating is on" in child.stdout.readline()
    yield child
    child.kill()
    child.communicate()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_the_output_is_given_back_however_the_trial_is_ended(
    lager: RealDaemon, trial: subprocess.Popen[str], number: signal.Signals
) -> None:
    trial.send_signal(number)
    out, err = trial.communicate(timeout=BOUND_S)
    assert trial.returncode == 128 + number
    assert "Traceback" not in err
    assert "given back" in out
    lager.until(lambda _: not _is_on(lager, Duty.HEAT))
