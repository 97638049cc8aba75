"""Charts from the record: what is drawn is what was received, gaps included."""

import json

import numpy as np
import pytest

from daq.console.recorded import JournalSource, follow
from daq.journal.follower import Follower
from daq.journal.format import RecordType
from daq.journal.writer import JournalWriter
from firmware_protocol.link import Link
from firmware_protocol.messages import Identity, Kind, ResetCause, Samples
from firmware_protocol.messages_board import Group
from firmware_protocol.session import session_seed

HZ = 1_000_000
STEP = 1000
UID = b"\x01" * 8
CARD = {
    "reference": "gauge",
    "c2": 0.0,
    "counts_lo": 0,
    "counts_hi": 65_536,
    "u_scale_rel": 0.005,
    "u_zero": 2e4,
    "noise_counts": 3.0,
    "made": "2026-01-10",
    "valid_until": "2027-01-10",
    "sensor_serial": "S1",
    "cable_serial": "K1",
    "amplifier_serial": "A1",
    "source": "invented",
}
CONFIG = {
    "calibration": {
        "p1": {**CARD, "channel": "p1", "unit": "pa", "c0": -1000.0, "c1": 100.0},
        "p2": {**CARD, "channel": "p2", "unit": "pa", "c0": -1000.0, "c1": 100.0},
        "f1": {**CARD, "channel": "f1", "unit": "n", "c0": 0.0, "c1": 0.1},
    },
    "channels": [
        {"name": "f1", "group": 0, "index": 2, "zero_counts": 50},
        {"name": "p1", "group": 0, "index": 0},
        {"name": "p2", "group": 0, "index": 1},
    ],
    "limits": {"expected_max_pa": 4.21e6},
    "prediction": {
        "peak_pa": 3.9e6,
        "curve": [
            {"at_s": 0.0, "pressure_pa": 0.0, "thrust_n": 0.0},
            {"at_s": 0.3, "pressure_pa": 3.9e6, "thrust_n": 1400.0},
            {"at_s": 2.2, "pressure_pa": 0.0, "thrust_n": 0.0},
        ],
    },
}


class Wire:
    """A board's side of the wire, as bytes."""

    def __init__(self, boot=5):
        self.link = Link("board")
        self.identity = Identity(
            kind=Kind.SIMULATED,
            uid=UID,
            boot_nonce=boot,
            host_nonce=9,
            reset_cause=next(iter(ResetCause)),
            firmware_hash=b"\2" * 8,
            tick_hz=HZ,
            ring_bytes=300_000,
            pulse_ceiling_ms=3000,
            armed_ceiling_s=300,
            groups=(Group(rate_mhz=HZ, step=STEP, channels=3, full_lo=0, full_hi=65_535),),
        )

    def hello(self):
        raw = self.link.send(self.identity)
        self.link.set_session(session_seed(UID, self.identity.boot_nonce, 9))
        return raw

    def samples(self, first, rows):
        blocks = range(0, len(rows), 20)
        return b"".join(self._block(first + at, rows[at : at + 20]) for at in blocks)

    def _block(self, first, rows):
        return self.link.send(Samples.of(0, first, 10_000 + first * STEP, STEP, rows))


def written(folder, *records):
    writer = JournalWriter(folder, rehearsal=True)
    writer.start()
    for kind, body in records:
        raw = body if isinstance(body, bytes) else json.dumps(body).encode()
        writer.put(kind, raw, 0)
    writer.close()
    return folder


def source_of(folder):
    made = JournalSource(follower=Follower(folder))
    made.poll()
    made.close()
    return made


def test_the_higher_pressure_is_drawn_in_pascal_and_a_gap_stays_a_gap(tmp_path):
    wire = Wire()
    first = wire.hello() + wire.samples(0, [(10, 2010, 50)] * 20)
    later = wire.samples(30, [(4010, 2010, 100)] * 20)
    source = source_of(
        written(
            tmp_path, (RecordType.CONFIG, CONFIG), (RecordType.RX, first), (RecordType.RX, later)
        )
    )
    trace = source.strip("pressure", 0.049, 200)
    assert np.nanmax(trace.high) == pytest.approx(4e5)
    assert np.nanmin(trace.low) == pytest.approx(2e5)
    assert np.isnan(trace.high).sum() == 10
    assert trace.at_s[-1] == pytest.approx(0.0, abs=1e-9)
    ((begin, end),) = trace.gaps
    assert end - begin == pytest.approx(0.010)
    assert np.nanmax(source.strip("thrust", 1.0, 100).high) == pytest.approx(5.0)


def test_seconds_count_from_go_and_flags_stand_at_their_ticks(tmp_path):
    wire = Wire()
    go = 10_000 + 40 * STEP
    source = source_of(
        written(
            tmp_path,
            (RecordType.CONFIG, CONFIG),
            (RecordType.RX, wire.hello() + wire.samples(0, [(10, 10, 0)] * 40)),
            (RecordType.FACT, {"fact": "GO", "t": 1.0, "tick": go}),
            (RecordType.RX, wire.samples(40, [(3010, 10, 0)] * 20)),
            (RecordType.FACT, {"fact": "LIT", "t": 1.0, "tick": go + 10 * STEP, "by": "p1"}),
        )
    )
    assert [(flag.word, round(flag.at_s, 6)) for flag in source.flags()] == [
        ("GO", 0.0),
        ("lit", 0.01),
    ]
    trace = source.burn("pressure", -1.0, 5.0, 2000)
    after = trace.at_s >= 0
    assert np.nanmin(trace.high[after]) == pytest.approx(3e5)
    assert np.nanmax(trace.high[~after]) == pytest.approx(0.0)


def test_a_clock_that_steps_an_hour_does_not_push_the_burn_out(tmp_path):
    wire = Wire()
    source = source_of(
        written(
            tmp_path,
            (RecordType.CONFIG, CONFIG),
            (RecordType.RX, wire.hello() + wire.samples(0, [(10, 10, 0)] * 40)),
            (RecordType.FACT, {"fact": "GO", "t": 1.0, "tick": 10_000 + 40 * STEP}),
            (RecordType.RX, wire.samples(40, [(3010, 10, 0)] * 20)),
            (RecordType.RX, wire.samples(3_600_000, [(10, 10, 0)] * 20)),
        )
    )
    trace = source.burn("pressure", -1.0, 5.0, 2000)
    assert np.nanmax(trace.high) == pytest.approx(3e5)
    assert trace.at_s[0] == pytest.approx(-0.04, abs=0.002)
    assert np.nanmax(source.strip("pressure", 30.0, 300).high) == pytest.approx(0.0)


def test_a_console_that_attaches_late_adopts_the_session_of_the_status(tmp_path):
    wire = Wire()
    wire.hello()
    source = source_of(written(tmp_path, (RecordType.CONFIG, CONFIG)))
    source._bytes(wire.samples(0, [(2010, 10, 0)] * 5))
    assert len(source.strip("pressure", 1.0, 100).at_s) == 0
    source.adopt(session_seed(UID, 5, 9))
    source._bytes(wire.samples(5, [(2010, 10, 0)] * 5))
    assert np.nanmax(source.strip("pressure", 1.0, 100).high) == pytest.approx(2e5)


def test_thrust_is_drawn_from_the_newest_zero(tmp_path):
    wire = Wire()
    source = source_of(
        written(
            tmp_path,
            (RecordType.CONFIG, CONFIG),
            (RecordType.FACT, {"fact": "TARE", "t": 1.0, "channel": "f1", "counts": 80}),
            (RecordType.RX, wire.hello() + wire.samples(0, [(10, 10, 100)] * 5)),
        )
    )
    assert np.nanmax(source.strip("thrust", 1.0, 100).high) == pytest.approx(2.0)


def test_a_new_arming_and_a_board_restart_start_the_charts_anew(tmp_path):
    wire, again = Wire(), Wire(boot=6)
    source = source_of(
        written(
            tmp_path,
            (RecordType.CONFIG, CONFIG),
            (RecordType.RX, wire.hello() + wire.samples(0, [(10, 10, 0)])),
            (RecordType.FACT, {"fact": "GO", "t": 1.0, "tick": 10_000}),
        )
    )
    assert source.flags()
    link = again.hello() + again.samples(0, [(20, 20, 0)])
    source._bytes(link)
    assert source.flags() == ()
    source._fact(source_fact({"fact": "GO", "tick": 5}))
    assert len(source.flags()) == 1
    source._fact(source_fact({"fact": "PHASE", "from": "SAFE", "to": "ARM"}))
    assert source.flags() == ()


def source_fact(body):
    from daq.console.readings import Status

    return Status(body)


def test_the_expected_band_reaches_the_highest_believable_and_stays_one_object(tmp_path):
    source = source_of(written(tmp_path, (RecordType.CONFIG, CONFIG)))
    band = source.outlook("pressure")
    assert band.high.max() == pytest.approx(4.21e6)
    assert 0.75 * 3.9e6 < band.low.max() <= 3.9e6 * (2 - 4.21 / 3.9)
    assert (band.low <= band.high).all()
    source._config(CONFIG)
    assert source.outlook("pressure") is band


def test_damage_and_nonsense_in_the_record_are_passed_over(tmp_path):
    source = source_of(
        written(
            tmp_path,
            (RecordType.CONFIG, b"not json"),
            (RecordType.CONFIG, {"calibration": {"p1": {"c0": 1}}}),
            (RecordType.FACT, b"[]"),
            (RecordType.RX, b"\xff" * 300 + b"\0"),
        )
    )
    assert len(source.strip("pressure", 30, 100).at_s) == 0


def test_a_folder_that_is_not_there_yet_has_no_traces(tmp_path):
    source = follow(tmp_path / "later")
    source.poll()
    assert source.flags() == ()
    assert source.outlook("thrust") is None
