"""Settings shared by all tests."""

from __future__ import annotations

from hypothesis import settings

# Machines are shared and noisy: a deadline per example would fail tests for being slow, and the same examples
# are tried in every run so that a failure can be repeated.
settings.register_profile("orchardsim", deadline=None, derandomize=True, max_examples=40)
settings.load_profile("orchardsim")
