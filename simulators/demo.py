"""The invented demonstration stand as a start message: for the benchmark, for tests, for a try.

The numbers follow the example files of the site (a fast stand, 4 kS/s), but nothing is read from
there: the simulated stand is told plain numbers and this is one set of them.
"""

from typing import Any


def pressure_channel(name: str) -> dict[str, Any]:
    """0 to 10 MPa gauge on 0.1 to 0.9 of 16 bits (check 8.4)."""
    return {
        "name": name,
        "kind": "pressure",
        "counts_at_zero": 6553.6,
        "counts_per_si": 52_428.8 / 10e6,
        "counts_lo": 0,
        "counts_hi": 65_535,
        "noise_counts": 20.0,
        "reference": "gauge",
        "filter_s": 0.0005,
        "line_lag_s": 0.002,
        "shunt_counts": 20_971.0,
    }


def thrust_channel(name: str) -> dict[str, Any]:
    """0 to 2.5 kN on 0.1 to 0.9 of 16 bits."""
    return {
        "name": name,
        "kind": "thrust",
        "counts_at_zero": 6553.6,
        "counts_per_si": 52_428.8 / 2500.0,
        "counts_lo": 0,
        "counts_hi": 65_535,
        "noise_counts": 12.0,
        "filter_s": 0.0005,
        "natural_hz": 180.0,
        "damping": 0.04,
        "shunt_counts": 20_971.0,
    }


MOTOR: dict[str, Any] = {
    "outer_m": 0.064,
    "core_m": 0.028,
    "segment_length_m": 0.100,
    "segments": 3,
    "burning_ends": 2,
    "density_kg_m3": 1720.0,
    "rate_at_ref_m_s": 0.009,
    "ref_pa": 4.0e6,
    "n": 0.34,
    "c_star_m_s": 1460.0,
    "gamma": 1.22,
    "thrust_efficiency": 0.93,
    "free_volume_m3": 450e-6,
    "ignition_delay_s": 0.12,
    "flame_spread_s": 0.30,
    "throat_m": 0.018,
    "exit_m": 0.042,
}
IGNITER: dict[str, Any] = {"ohm": 1.8, "all_fire_a": 1.0, "fire_after_s": 0.02, "opens": True}


def start_message(**changes: Any) -> dict[str, Any]:
    """A complete start message; top-level keys may be replaced."""
    message: dict[str, Any] = {
        "stand": {
            "groups": [{"rate_hz": 4000, "channels": ["p1", "p2", "f1"]}],
            "baud": 921_600,
            "line": {"supply_mv": 12_600, "source_ohm": 0.10, "line_ohm": 0.5, "dummy_ohm": 5.6},
        },
        "channels": [pressure_channel("p1"), pressure_channel("p2"), thrust_channel("f1")],
        "motor": dict(MOTOR),
        "igniter": dict(IGNITER),
        "faults": [],
        "seed": 1,
        "out_dir": None,
        "port": "pty",
    }
    return {**message, **changes}
