"""Any bytes at all: every reader ends in a verdict, never in a traceback, and opens nothing else.

Good files of every kind are damaged at random. `tests/benchmarks/fuzz.py` does the same for ten
minutes.
"""

import sys

import pytest
from broken import GOOD
from fuzzing import damaged, damaged_source, opened_elsewhere, read, verdict_of
from hypothesis import HealthCheck, given, settings

SLOW_IS_FINE = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow]


@pytest.mark.parametrize("name", GOOD)
def test_damaged_files_end_in_a_verdict(name, tmp_path):
    """Whatever was done to its bytes, a file gives faults of four parts, or is read."""

    @settings(
        max_examples=12,
        deadline=None,
        suppress_health_check=SLOW_IS_FINE,
        database=None,
        derandomize=True,
    )
    @given(damage=damaged())
    def check(damage):
        verdict = verdict_of(name, damage, tmp_path)
        for fault in [*verdict.faults, *verdict.suspicions]:
            parts = (fault.found, fault.allowed, fault.consequence, fault.remedy)
            assert all(part.strip() for part in parts)
        assert verdict.faults or verdict.used

    check()


def test_nothing_outside_the_site_is_opened(tmp_path):
    """Reading the corpus opens files of the site's folder and of the installation, no others."""
    sources = [damaged_source(name, [], tmp_path / str(number)) for number, name in enumerate(GOOD)]
    with opened_elsewhere(tmp_path) as others:
        for source in sources:
            assert read(source).used
    assert [path for path in others if not path.startswith((sys.prefix, sys.base_prefix))] == []
