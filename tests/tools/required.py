"""What a test needs from the machine: skipped for a user, failed in CI."""

import os

import pytest


def require(missing, remedy):
    """Skip with the reason where something is missing; fail in CI."""
    if missing:
        reason = f"needs {missing}: {remedy}"
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
