"""Hypothesis profiles: dev by default, ci and deep by HYPOTHESIS_PROFILE."""

import os

from hypothesis import HealthCheck, settings

_COMMON = {
    "deadline": None,
    "suppress_health_check": [HealthCheck.too_slow],
    "print_blob": True,
}
settings.register_profile("dev", max_examples=40, **_COMMON)
settings.register_profile("ci", max_examples=150, derandomize=True, **_COMMON)
settings.register_profile("deep", max_examples=2_000, **_COMMON)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "dev"))

# Runs on MicroPython only.
collect_ignore = ["tools/failing_blocks.py"]
