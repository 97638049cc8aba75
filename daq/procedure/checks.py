"""Names that checklists and the engine share: what the tool can verify, and what a line sets off.

A checklist file may only use these names; the engine computes every one of `TOOL_CHECKS` and can
perform every one of `ACTS`. A test of either side walks this page.
"""

from typing import Final

TOOL_CHECKS: Final[dict[str, str]] = {
    "roles_filled": "every role is filled and the RSO is not the TC",
    "rules_filled": "permit, site and range rules are filled in",
    "distance_kept": "each measured distance is at least the required one",
    "latch_open": "the approach latch is OPEN",
    "latch_closed": "the approach latch is CLOSED",
    "key_out": "the key is sensed out",
    "key_in_seen": "the key is sensed in, after it was seen out in this session",
    "stop_in": "the stop button is pressed in",
    "stop_out": "the stop button is out",
    "line_dead": "the line is measured dead",
    "switches_open": "both fire switches read open",
    "line_open": "the line is measured open, no load on it",
    "dummy_fitted": "the load is inside the dummy's window",
    "continuity_in_window": "continuity is inside the igniter's window",
    "board_identified": "the board is the expected one and its clock fits",
    "reset_explained": "the board's last reset was a power-on or was asked for",
    "selftest_young": "the board's self-test passed less than 10 min ago",
    "supply_ok": "the firing supply stays in its window under test load",
    "interlocks_moved": "key, stop button and fire control were each seen to move today",
    "disk_space": "disk space for burn, longest wait and as much again",
    "host_power_ok": "the laptop has its power and does not sleep",
    "recorder_durable": "the record is on disk less than 1 s behind, on both media",
    "calibration_in_date": "every calibration is in date and fits its sensor",
    "zero_and_noise": "every channel's zero and noise are inside their limits",
    "check_load_read": "the check load was read within its limit",
    "puff_seen": "a small pressure was seen to rise and to return",
    "rating_clears": "the casing's rating and the trip clear the expected pressure",
    "limits_equal": "the limits read back from the board equal the computed ones",
    "hashes_equal": "both copies of the run were read back with equal hashes",
    "dry_count_done": "a dry count with the dummy load ran with this set-up",
    "no_storm": "no thunder within the range's storm wait",
    "tare_young": "the zero taken with the motor mounted is young enough and has not drifted",
    "pressure_ambient": "every pressure channel is at ambient within its uncertainty",
    "thrust_zero": "thrust is at zero within its limit",
    "range_clear_fresh": "the last report of a clear range is young enough",
    "long_warning": "the long warning sounded in this count, read back from its output",
    "short_warning": "the short warning sounded, read back from its output, young enough",
    "go_table": "every condition of the go table holds",
    "outcome_known": "the motor was seen lit, or the misfire was announced",
    "burn_over": "the burn is over, or there was none",
    "wait_over": "the wait has run its full length",
    "post_zero_taken": "zero and check load were read after the test",
    "form_complete": "the debrief form is complete",
}

ACTS: Final[dict[str, str]] = {
    "open_range": "the approach latch is asked to open, with the signing names; OPEN already is well",
    "selftest": "the board tests itself",
    "supply_test": "the supply is measured under test load",
    "zero": "zero and noise are measured for 60 s",
    "check_load": "the check load is measured",
    "puff": "the pressure channels are watched for a rise and a return",
    "tare": "the zero with the motor mounted is taken",
    "mark": "a mark goes into the record",
    "load_limits": "limits are sent to the board and read back",
    "igniter_joined": "the latch learns that an igniter is on the line",
    "people_clear": "the approach latch closes",
    "range_clear": "the report of a clear range is renewed",
    "planned_clock": "the planned clock starts at T−10 min",
    "siren_long": "long warning: blasts for 1 min",
    "siren_short": "short warning before firing",
    "key_in": "the key may go in now",
    "arm": "the board is asked to arm",
    "unplugged": "the latch learns who saw the line unplugged and shorted",
    "copy_run": "the run is copied twice and read back",
    "all_clear": "one long blast: all clear",
    "inspected": "the inspection is closed; the phase is SAFE again",
}

KNOWN: Final[dict[str, str]] = {
    "wind_max_m_s": "most wind of the range, m/s",
    "humidity_min_percent": "least humidity, %RH",
    "stray_current_max_a": "most stray current, A",
}
"""Limits a typed value may name; the engine takes them from the range's rules."""
