"""Settings are read once, checked completely, and every fault is a sentence."""

from dataclasses import MISSING, fields, is_dataclass
from datetime import date
from math import pi
from typing import get_args

import pytest

from daq.errors import ConfigError
from daq.settings import Settings, load_settings, settings_from_json
from daq.settings_demo import config_root, demo_settings
from daq.settings_stand import Stand
from daq.settings_table import TableReader, as_json, keys_of, read_one
from daq.units import UNITS, split_key
from simulators.motor import Motor, MotorSpec

TODAY = date(2026, 9, 14)


@pytest.fixture
def folder(tmp_path):
    return demo_settings("fast", tmp_path / "settings", TODAY)


def change(folder, file, old, new):
    path = folder / file
    text = path.read_text(encoding="utf-8")
    assert old in text, f"{old!r} is not in {file}"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def sentence(folder):
    with pytest.raises(ConfigError) as caught:
        load_settings(folder)
    return str(caught.value)


@pytest.mark.parametrize("stand", ["fast", "avr"])
def test_the_examples_load_and_survive_the_journal(tmp_path, stand):
    settings = load_settings(demo_settings(stand, tmp_path, TODAY))
    assert settings.stand.name == stand
    assert settings_from_json(settings.to_json(codes=True)) == settings
    assert [channel.index for channel in settings.stand.channels] == list(
        range(len(settings.stand.channels))
    )


def test_the_record_and_the_screen_never_carry_the_codes(folder):
    settings = load_settings(folder)
    codes = {person.code for person in settings.crew.people}
    kept = {person["code"] for person in settings.to_json()["crew"]["people"]}
    assert not codes & kept
    assert not codes & {text for _, text in settings.shown()}
    assert settings_from_json(settings.to_json()).stand == settings.stand


def test_the_examples_calibrations_are_in_date_on_the_day(folder):
    for channel in load_settings(folder).stand.channels:
        assert channel.calibration.made <= TODAY <= channel.calibration.valid_until


def test_a_value_may_be_given_in_any_unit_of_its_dimension(folder):
    settings = load_settings(folder)
    change(folder, "casing.toml", "wall_mm = 3.0", f"wall_in = {3.0 / 25.4!r}")
    change(folder, "motor.toml", "meop_mpa = 4.21", f"meop_psi = {4.21e6 / 6894.757293168!r}")
    change(folder, "motor.toml", "expected_thrust_n = 1410", "expected_thrust_lbf = 317")
    again = load_settings(folder)
    assert again.casing.tube.wall_m == pytest.approx(settings.casing.tube.wall_m, rel=1e-12)
    assert again.motor.meop_pa == pytest.approx(4.21e6, rel=1e-12)
    assert again.motor.expected_thrust_n == pytest.approx(317 * 4.4482216152605, rel=1e-12)


def test_values_are_shown_in_both_systems(folder):
    rows = dict(load_settings(folder).shown())
    assert rows["casing.tube.wall"] == "3 mm = 0.1181 in"
    assert rows["motor.meop"] == "4.21 MPa = 610.6 psi"
    assert rows["casing.history.proof_tested"] == "yes"


FAULTS = [
    ("stand.toml", "pulse_ms = 1000", "pulse_ms = 3100", "[circuit] pulse_ms: expected a number more than 0 ms and at most 3000 ms, got 3100"),
    ("stand.toml", "pulse_ms = 1000", "pulse_ms = true", "pulse_ms: expected a finite number, got True"),
    ("stand.toml", "pulse_ms = 1000", "pulse_ms = nan", "pulse_ms: expected a finite number, got nan"),
    ("stand.toml", "pulse_ms = 1000", "puls_ms = 1000", "puls_ms: expected a known key (nearest: pulse_ms), got this one, which is unknown"),
    ("stand.toml", "lit_within_s = 3.0", "", "[circuit] lit_within_<unit of time>: expected a value (there is no default), got nothing"),
    ("stand.toml", "lit_within_s = 3.0", "lit_within_s = 1.2", "lit_within_s: expected at least pulse + 0.5 s = 1.5 s"),
    ("stand.toml", "pulse_ms = 1000", "pulse_ms = 1000\npulse_s = 1.0", "pulse: expected this value once, got pulse_s and pulse_ms"),
    ("stand.toml", "continuity_ma = 10", "continuity_ma = 26", "continuity_a: expected at most 0.025 A (a tenth of no_fire_a, never above 0.050 A), got 0.026 A"),
    ("stand.toml", "supply_min_v = 11.0", "supply_min_v = 6.0", "supply_min_v: expected a supply that drives 2 A"),
    ("stand.toml", "dummy_low_ohm = 5.0", "dummy_low_ohm = 3.0", "dummy_low_ohm: expected a window apart from the igniter's, got an overlap"),
    ("stand.toml", 'role = "trip"', 'role = "watch"', 'role: expected one of "trip", "record", got \'watch\''),
    ("stand.toml", 'role = "trip"', 'role = "record"', 'at least one channel with role = "trip"'),
    ("stand.toml", "bits = 16", "bits = 16.0", "[pressure.1] bits: expected a whole number, got 16.0"),
    ("stand.toml", "made = 2026-08-20", 'made = "yesterday"', "[pressure.1.calibration] made: expected a date like 2026-09-14"),
    ("stand.toml", "[port]", "[port", "stand.toml: expected TOML, got a syntax fault"),
    ("stand.toml", "needed = 3", "needed = 6", "[votes] needed: expected at most of = 5, got 6"),
    ("stand.toml", "stuck_s = 0.05", "stuck_s = 0.01", "p1 stuck_s: expected at least 100 samples"),
    ("casing.toml", "wall_mm = 3.0", "wall_mm = 0", "[tube] wall_mm: expected a number more than 0 mm, got 0"),
    ("casing.toml", "bearing = 2.0", "bearing = 1.2", "reason_below_1_5: expected the reason for bearing = 1.2, got an empty text"),
    ("casing.toml", "hoop_yield = 2.0", "hoop_yield = 1.4", "not_proof_tested hoop_yield: expected at least 1.5, got 1.4"),
    ("casing.toml", 'proof_record = "P-2026-007 (invented)"', 'proof_record = ""', "proof_record: expected the record of the proof test"),
    ("casing.toml", "firings = 4, tube = 0.98", "firings = 4, tube = 1.00", ""),
    ("casing.toml", "firings = 10, tube = 0.95", "firings = 10, tube = 0.99", "wear: expected shares that never rise with firings"),
    ("motor.toml", "design_mpa_s = 40", "design_mpa_s = 37", "[rise] design_pa_s: expected at least 38 MPa/s"),
    ("motor.toml", "meop_mpa = 4.21", "meop_mpa = 3.8", "meop_pa: expected at least the expected peak"),
    ("crew.toml", 'roles = ["TC"]', 'roles = ["TC", "RSO"]', "RSO and TC to be two people, got Jonas Brandt in both"),
    ("crew.toml", 'roles = ["RSO"]', 'roles = ["LOOKOUT"]', "exactly one RSO, got nobody"),
    ("crew.toml", 'code = "2741"', 'code = "27411"', "code: expected four digits for Marta Lindqvist, got 5 characters"),
    ("crew.toml", 'code = "2741"', 'code = "6380"', "another code for everybody"),
    ("range.toml", "misfire_min = 30", "misfire_min = 14.9", "[waits] misfire_min: expected a number at least 15 min, got 14.9"),
    ("range.toml", 'misfire_source = "site rule', 'misfire_source = ""#', "misfire_source: expected a text that is not empty"),
    ("range.toml", "warning_s = 120", "warning_s = 121", "[clear] warning_s: expected a number more than 0 s and at most 120 s, got 121"),
    ("range.toml", "crew_measured_m = 165", "crew_measured_m = 100", "crew_measured_m: expected at least the required 152 m, got 100 m"),
]  # fmt: skip


@pytest.mark.parametrize("file, old, new, says", FAULTS)
def test_a_fault_is_one_sentence_that_names_the_place(folder, file, old, new, says):
    """Rows: practice 1.2, 2.15 (check 7.17), 2.18, 3.6, 5.2, section 8."""
    change(folder, file, old, new)
    if not says:
        load_settings(folder)
        return
    text = sentence(folder)
    assert says in text
    assert text.startswith(file)
    assert "Traceback" not in text


def test_all_files_are_read_before_anything_is_refused(folder):
    change(folder, "stand.toml", "baud = 921600", "baud = 0")
    change(folder, "crew.toml", 'code = "2741"', "code = 2741")
    (folder / "range.toml").unlink()
    lines = sentence(folder).splitlines()
    assert [line.split()[0] for line in lines] == ["stand.toml", "crew.toml", "range.toml:"]


def record_types(cls=Settings):
    """Every dataclass that a settings file can hold."""
    found = [cls]
    for key in keys_of(cls):
        for hint in (key.hint, *get_args(key.hint)):
            if isinstance(hint, type) and is_dataclass(hint):
                found += record_types(hint)
    return found


def test_no_measured_field_hides_behind_a_unit_that_is_no_si_unit():
    """A field called `..._min` would be read as minutes, `..._in` as inches."""
    for cls in record_types():
        for key in keys_of(cls):
            if key.dimension:
                unit = UNITS[split_key(key.field.name)[1]]
                assert (unit.factor, unit.offset) == (1.0, 0.0), f"{cls.__name__}.{key.field.name}"


# Parts a casing need not have, and what nobody measured: empty means none.
ABSENT = {"threaded_ends", "rings", "carriers", "joints", "thread_strip", "ring", "carrier"}
ABSENT |= {"engagement_m", "tapped_in", "section_tol_m", "gland_tol_m", "gland_width_m"}
ABSENT |= {"peaks_pa", "wear_peak_pa", "hole_kt", "heats", "softening", "softening_source"}
ABSENT |= {"strength_curve", "modulus_curve", "curve_source"}


def test_nothing_that_limits_has_a_default():
    allowed = {"coefficients_pa", "coefficients_n", "points", "bridge_mv_per_volt", "u_bench"}
    allowed |= ABSENT
    allowed |= {"board_channel", "points_sha256", "budget", "averages"}
    allowed |= {"freedom"}  # of one part of a budget; 0 stands for infinite
    with_default = {e.name for c in record_types() for e in fields(c) if e.default is not MISSING}
    assert with_default == allowed


def test_an_unknown_stand_is_refused(tmp_path):
    with pytest.raises(ConfigError, match="expected one of fast, avr"):
        demo_settings("huge", tmp_path)


def test_the_example_folder_is_found():
    assert (config_root() / "stands" / "fast.toml").is_file()


def test_a_wrong_shape_is_a_sentence():
    reader = TableReader("x.toml")
    assert reader.record(Stand, {"groups": 3, "port": []}, "") is None
    assert "x.toml groups: expected a list, got 3" in reader.faults
    assert "x.toml port: expected a table, got []" in reader.faults


def test_a_file_that_is_no_text_is_a_sentence(tmp_path):
    path = tmp_path / "stand.toml"
    path.write_bytes(b"name = \xff")
    with pytest.raises(ConfigError, match="expected UTF-8 text"):
        read_one(path, Stand)


def test_the_example_motor_burns_with_a_hump_that_peaks_at_the_expected_pressure(folder):
    """Equilibrium over the web: p = ref (rho r_ref Ab c* / (At ref))^(1/(1-n)), absolute."""
    settings = load_settings(folder)
    motor, gas = settings.motor, settings.motor.simulation
    web = (gas.outer_m - gas.core_m) / 2
    curve = [gas.steady_pa(web * k / 200, motor.throat_area_m2) for k in range(200)]
    ambient = settings.rules.site.ambient_pa
    peak = max(curve) - ambient
    assert peak == pytest.approx(motor.expected_peak_pa, rel=0.005)
    assert peak < motor.meop_pa
    assert 60 < curve.index(max(curve)) < 140
    burn_s = sum(
        web / 200 / (gas.rate_at_ref_m_s * (pressure / gas.ref_pa) ** gas.n) for pressure in curve
    )
    assert burn_s == pytest.approx(2.04, abs=0.02)
    assert gas.propellant_kg() == pytest.approx(motor.propellant_kg, rel=1e-3)
    thrust = motor.thrust_coefficient * motor.throat_area_m2 * motor.expected_peak_pa
    assert thrust == pytest.approx(motor.expected_thrust_n, rel=0.02)
    assert gas.burning_area_m2(0.0) == pytest.approx(
        3 * (pi * 0.028 * 0.1 + 2 * pi / 4 * (0.064**2 - 0.028**2)), rel=1e-12
    )
    assert gas.burning_area_m2(web) == 0.0


def test_the_simulated_motor_behaves_as_the_example_predicts(folder):
    """The simulator is an independent witness: its own grain, chamber and nozzle."""
    settings = load_settings(folder)
    expected, ambient = settings.motor, settings.rules.site.ambient_pa
    numbers = as_json(expected.simulation) | {
        "throat_m": expected.throat_m,
        "exit_m": expected.exit_m,
    }
    motor = Motor(MotorSpec.from_json(numbers), ambient)
    motor.ignite(expected.simulation.ignition_delay_s)
    step_s = 0.25e-3
    pressure, thrust = [], []
    for _ in range(int(4.0 / step_s)):
        motor.step(step_s)
        pressure.append(motor.pressure_pa - ambient)
        thrust.append(motor.thrust_n)
    peak = max(pressure)
    assert peak == pytest.approx(expected.expected_peak_pa, rel=0.02)
    assert max(thrust) == pytest.approx(expected.expected_thrust_n, rel=0.03)
    assert sum(thrust) * step_s == pytest.approx(expected.expected_impulse_n_s, rel=0.03)
    burning = [value > 0.1 * peak for value in pressure]
    assert sum(burning) * step_s == pytest.approx(expected.expected_burn_s, abs=0.1)
    rises = [
        (after - before) / (4 * step_s)
        for before, after in zip(pressure, pressure[4:], strict=False)
        if before > 0.8 * peak
    ]
    assert 2 * max(rises) < expected.rise.design_pa_s
    assert motor.burned_kg == pytest.approx(expected.propellant_kg, rel=1e-3)
