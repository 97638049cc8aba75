"""A start message from a site's settings, given as plain JSON with the keys of the settings files.

Nothing of the controller is imported: the caller hands over numbers. A channel's truth is its
declared electrical range (not its certificate), so a wrong certificate shows.
"""

from collections.abc import Mapping
from typing import Any, Final

FIRE_AFTER_S: Final = 0.02  # invented: what the demonstration igniter needs far above all-fire
SOURCE_OHM: Final = 0.10  # invented: battery and box wiring


def start_message(settings: Mapping[str, Any], **changes: Any) -> dict[str, Any]:
    """`settings` has "stand", "motor" and "rules" in SI; `changes` are top-level keys to add.

    KeyError names a key that the settings do not have.
    """
    stand, motor = settings["stand"], settings["motor"]
    circuit = stand["circuit"]
    columns = _columns(stand)
    message: dict[str, Any] = {
        "stand": {
            "groups": [
                {
                    "rate_hz": int(group["rate_hz"]),
                    "channels": [one["name"] for one in columns if one["group"] == group["index"]],
                }
                for group in stand["groups"]
            ],
            "baud": int(stand["port"]["baud"]),
            "ambient_pa": settings["rules"]["site"]["ambient_pa"],
            "line": {
                "supply_mv": 500.0 * (circuit["supply_min_v"] + circuit["supply_max_v"]),
                "source_ohm": SOURCE_OHM,
                "line_ohm": circuit["line_ohm"],
                "dummy_ohm": circuit["dummy_ohm"],
            },
        },
        "channels": [_channel(one, stand["latency"]["filter_s"]) for one in columns],
        "motor": {
            **motor["simulation"],
            "throat_m": motor["throat_m"],
            "exit_m": motor["exit_m"],
        },
        "igniter": {
            "ohm": circuit["igniter_ohm"],
            "all_fire_a": circuit["all_fire_a"],
            "fire_after_s": FIRE_AFTER_S,
            "opens": True,
        },
        "faults": [],
        "seed": 1,
        "out_dir": None,
        "port": "pty",
    }
    return {**message, **changes}


def _columns(stand: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    both = [*stand["pressure"], *stand["thrust"]]
    return sorted(both, key=lambda one: (one["group"], one["index"]))


def _channel(one: Mapping[str, Any], filter_s: float) -> dict[str, Any]:
    full = 1 << int(one["bits"])
    pressure = "range_pa" in one
    span = one["range_pa"] if pressure else one["range_n"]
    told = {
        "name": one["name"],
        "kind": "pressure" if pressure else "thrust",
        "counts_at_zero": one["low_fraction"] * full,
        "counts_per_si": (one["high_fraction"] - one["low_fraction"]) * full / span,
        "counts_lo": 0,
        "counts_hi": full - 1,
        "noise_counts": one["noise_counts"],
        "shunt_counts": one["shunt_counts"],
        "filter_s": filter_s,
    }
    if pressure:
        told |= {"reference": one["reference"], "line_lag_s": one["line_lag_s"]}
    return told
