"""What holds for all tests."""

from hypothesis import HealthCheck, settings

# How long an example took, or how long it took to think of one, tells of the machine alone.
settings.register_profile("tests", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("tests")
