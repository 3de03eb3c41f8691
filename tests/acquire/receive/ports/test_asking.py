"""The timetable of requests, with a clock of its own."""

from itertools import pairwise

from acquire.receive.ports.asking import PATIENCE_S, QUIET_S, Asking, Request


def asked_times(requests, reply_after_s, until_s, step_s=0.001):
    """Walk through time; reply to every request after so long (None: never)."""
    asking, now_s, reply_s, log = Asking(requests, 0.0), 0.0, None, []
    while now_s < until_s:
        if reply_s is not None and now_s >= reply_s:
            asking.heard(now_s)
            reply_s = None
        request = asking.due(now_s)
        if request is not None:
            asking.sent(now_s)
            log.append((round(now_s, 3), request.instrument))
            reply_s = None if reply_after_s is None else now_s + reply_after_s
        now_s += step_s
    return log


def test_prompt_instrument_is_asked_at_its_own_pace():
    log = asked_times([Request("dial", b"?", 0.1)], 0.01, 1.0)
    gaps = [b[0] - a[0] for a, b in pairwise(log)]
    assert len(log) == 10 and max(abs(gap - 0.1) for gap in gaps) < 0.002


def test_two_instruments_on_one_wire_never_have_two_requests_out():
    log = asked_times([Request("a", b"a", 0.1), Request("b", b"b", 0.1)], 0.03, 2.0)
    gaps = [b[0] - a[0] for a, b in pairwise(log)]
    assert min(gaps) >= 0.03 + QUIET_S - 0.002
    assert abs(sum(name == "a" for _, name in log) - sum(name == "b" for _, name in log)) <= 1


def test_dead_instrument_is_given_up_and_the_other_still_gets_its_turn():
    log = asked_times([Request("dead", b"?", 0.1)], None, 3.0)
    gaps = [b[0] - a[0] for a, b in pairwise(log)]
    assert all(abs(gap - PATIENCE_S) < 0.002 for gap in gaps)


def test_missed_turns_are_not_made_up_for():
    asking = Asking([Request("dial", b"?", 0.1)], 0.0)
    assert asking.due(10.0) is not None
    asking.sent(10.0)
    asking.heard(10.01)
    assert asking.due(10.05) is None
    assert asking.due(10.1001) is not None


def test_port_that_is_never_asked_waits_for_ever():
    assert Asking([], 0.0).wait_s(5.0) == float("inf") and Asking([], 0.0).due(5.0) is None
