"""Type K against the ITS-90 table (checks 8.1 and 8.2)."""

from pathlib import Path

import numpy as np
import pytest

from daq.channels.thermocouple import expected_mv, junction_celsius, type_k_celsius, type_k_mv

TABLE = Path(__file__).parent.parent / "data" / "type_k_its90.csv"


def test_the_whole_table_both_ways():
    """Check 8.1: 0.1 µV forth, and back within the table's rounding."""
    rows = np.loadtxt(TABLE, delimiter=",", comments="#", skiprows=2)
    for celsius, mv in rows:
        assert type_k_mv(celsius) == pytest.approx(mv, abs=1e-4)
        assert type_k_celsius(type_k_mv(celsius)) == pytest.approx(celsius, abs=1e-6)
    assert len(rows) > 100


@pytest.mark.parametrize(
    "celsius, mv",
    [(-200, -5.891), (-100, -3.554), (0, 0), (25, 1.0), (100, 4.096), (200, 8.138),
     (250, 10.153), (500, 20.644), (1000, 41.276), (1372, 54.886)],
)  # fmt: skip
def test_printed_values(celsius, mv):
    """Check 8.1."""
    assert type_k_mv(celsius) == pytest.approx(mv, abs=5e-4)


def test_the_cold_junction_is_added_as_a_voltage():
    """Check 8.2: adding 25 °C to T(mV) reads 100.89 °C."""
    mv = expected_mv(100, 25)
    assert mv == pytest.approx(3.0960, abs=5e-4)
    assert junction_celsius(mv, 25) == pytest.approx(100.0, abs=0.01)
    assert type_k_celsius(mv) + 25 == pytest.approx(100.89, abs=0.01)


def test_what_no_junction_gives_is_refused():
    with pytest.raises(ValueError, match="open wire"):
        type_k_celsius(60.0)
    with pytest.raises(ValueError, match="runs from"):
        type_k_mv(1500)
