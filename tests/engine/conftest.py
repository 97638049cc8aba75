import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from bench import Bench


@pytest.fixture(scope="session")
def counting_once(tmp_path_factory):
    """One bench played to T−12 s; tests take snapshots of it."""
    bench = Bench(tmp_path_factory.mktemp("bench"))
    bench.until_count(12.0)
    return bench


@pytest.fixture
def counting(counting_once):
    """A bench in COUNTDOWN at T−12 s, armed, everything signed."""
    return counting_once.snapshot()


@pytest.fixture
def fresh(tmp_path):
    """A bench that has just been switched on."""
    return Bench(tmp_path)
