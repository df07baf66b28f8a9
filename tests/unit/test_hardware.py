"""Stamps of the controller's 32-bit clock become times since the start of the touch."""

from hypothesis import given
from hypothesis import strategies as st

from rig.bench.hardware import WRAP_US, since_start


@given(start=st.integers(0, WRAP_US - 1), elapsed=st.integers(0, WRAP_US - 1))
def test_times_are_right_across_the_clock_s_wrap(start, elapsed):
    assert since_start(start, (start + elapsed) % WRAP_US) == elapsed


def test_a_step_that_never_happened_has_no_time():
    assert since_start(4_000_000_000, -1) is None


def test_a_wrap_between_start_and_close():
    # 0xFFFFFF00 + 300,000 us is 299,744 on a 32-bit clock.
    assert since_start(0xFFFFFF00, 299_744) == 300_000
