"""A record made by hand, frame by frame, so that every property of a reading can be chosen."""

import itertools
import json

import numpy as np
import pytest

from daq.channels.calibration import Calibration
from daq.journal.format import RecordType
from daq.journal.writer import JournalWriter
from firmware_protocol.link import Link
from firmware_protocol.messages_board import BackfillData, Group, Identity, Samples
from firmware_protocol.numbers import Kind, ResetCause
from firmware_protocol.session import session_seed

STEP = 1_000  # ticks: 1 kS/s
ZERO = 6_554
FULL = 65_535
PA_PER_COUNT = 200.0
N_PER_COUNT = 0.05


def gauge(name, unit, per_count):
    from datetime import date

    return Calibration(
        channel=name,
        unit=unit,
        reference="gauge",
        c0=-ZERO * per_count,
        c1=per_count,
        counts_lo=ZERO,
        counts_hi=58_982,
        u_scale_rel=0.01,
        u_zero=3.0 * per_count,
        noise_counts=2.0,
        made=date(2026, 8, 20),
        valid_until=date(2027, 8, 20),
        sensor_serial="S-1",
        cable_serial="C-1",
        amplifier_serial="A-1",
        source="invented",
    )


def default_config(**changes):
    body = {
        "run_id": "H-7",
        "mode": "REHEARSAL",
        "site": "Test range",
        "setup_id": 12345678,
        "settings": {
            "motor": {
                "name": "T-1",
                "propellant_kg": 1.0,
                "thrust_coefficient": 1.4,
                "throat_m": 0.018,
            },
            "casing": {"serial": "CA-1"},
            "stand": {
                "latency": {"filter_s": 0.0005},
                "pressure": [{"name": "p1", "line_lag_s": 0.0}],
            },
        },
        "channels": [
            {
                "name": "p1",
                "quantity": "pressure",
                "group": 0,
                "index": 0,
                "zero_counts": ZERO,
                "trip_counts": 30_000,
            },
            {
                "name": "f1",
                "quantity": "thrust",
                "group": 0,
                "index": 1,
                "zero_counts": ZERO,
                "trip_counts": None,
            },
        ],
        "calibration": {
            "p1": gauge("p1", "pa", PA_PER_COUNT).to_json(),
            "f1": gauge("f1", "n", N_PER_COUNT).to_json(),
        },
        "limits": {
            "trip_pa": (30_000 - ZERO) * PA_PER_COUNT,
            "allowable_pa": 5.2e6,
            "rated_burst_pa": 9.8e6,
            "expected_max_pa": 4.3e6,
        },
        "prediction": {"peak_pa": 4.0e6, "thrust_n": 1_425.0, "burn_s": 2.0, "curve": []},
    }
    return body | changes


class RecordMaker:
    """Writes a journal: boards, samples, facts; times are ticks of the present boot."""

    def __init__(self, folder, *, rehearsal=True, config=None):
        self.folder = folder
        clock = itertools.count(1_000_000_000, 1_000_000)
        self.writer = JournalWriter(folder, rehearsal=rehearsal, host_ns=lambda: next(clock))
        self.writer.start()
        self.host_ns = 1_000_000_000
        self.config = default_config() if config is None else config
        self.link = Link("board")
        self.boot_engine_s = 0.0
        self.put(RecordType.CONFIG, self.config)

    def put(self, kind, body):
        raw = body if isinstance(body, bytes) else json.dumps(body).encode()
        self.host_ns += 1_000_000
        self.writer.put(kind, raw, self.host_ns)

    def boot(self, nonce=1, cause=ResetCause.POWER, engine_s=0.0):
        uid = b"unit-008"
        self.identity = Identity(
            kind=Kind.SIMULATED,
            uid=uid,
            boot_nonce=nonce,
            host_nonce=9,
            reset_cause=cause,
            firmware_hash=bytes(8),
            tick_hz=1_000_000,
            ring_bytes=300_000,
            pulse_ceiling_ms=3_000,
            armed_ceiling_s=300,
            groups=(Group(rate_mhz=1_000_000, step=STEP, channels=2, full_lo=0, full_hi=FULL),),
        )
        self.boot_engine_s = engine_s
        self.link = Link("board")
        self.rx(self.identity)
        self.link.set_session(session_seed(uid, nonce, 9))
        self.fact("BOARD", engine_s, nonce=nonce, cause=cause.name)
        self.put(
            RecordType.CLOCK,
            {"kind": "fit", "nonce": nonce, "a": 1000.0, "tick0": 0, "ns0": round(engine_s * 1e9)},
        )

    def rx(self, *messages):
        self.put(RecordType.RX, b"".join(self.link.send(message) for message in messages))

    def fact(self, name, t, tick=None, **more):
        self.put(
            RecordType.FACT,
            {"fact": name, "t": t, **({} if tick is None else {"tick": tick}), **more},
        )

    def at(self, name, tick, **more):
        self.fact(name, self.boot_engine_s + tick / 1e6, tick, **more)

    def samples(self, first, counts, *, filled=False, tick=None, mask=3):
        """Blocks of 20 rows of (pressure, thrust) counts from index `first` on."""
        for at in range(0, len(counts), 20):
            rows = [tuple(int(c) for c in row) for row in counts[at : at + 20]]
            start = (first + at) * STEP if tick is None else tick + at * STEP
            block = Samples.of(0, first + at, start, STEP, rows)
            if mask != 3:
                only = Samples.of(0, first + at, start, STEP, [row[:1] for row in rows])
                block = only if mask == 1 else block
            self.rx(BackfillData(lost=0, block=block) if filled else block)

    def run_begin(self):
        self.put(RecordType.RUN, {"run": "begin", "id": self.config.get("run_id", "H-7")})

    def run_end(self):
        self.put(RecordType.RUN, {"run": "end", "id": self.config.get("run_id", "H-7")})
        return self.close()

    def close(self):
        self.writer.close()
        return self.folder


def counts_of_a_burn(
    seconds, begin=2.2, end=4.2, *, rate=1_000, seed=1, peak_pa=4.0e6, peak_n=1_425.0
):
    """Trapezoids of 50 ms ramps with noise, as counts (n, 2)."""
    t = np.arange(round(seconds * rate)) / rate
    knots = [begin, begin + 0.05, end - 0.05, end]
    shape = np.interp(t, knots, [0.0, 1.0, 1.0, 0.0])
    rng = np.random.default_rng(seed)
    noise = rng.normal(0, 2.0, (len(t), 2))
    rises = np.array([peak_pa / PA_PER_COUNT, peak_n / N_PER_COUNT])
    return np.round(ZERO + shape[:, None] * rises + noise).astype(int)


@pytest.fixture
def burn_counts():
    return counts_of_a_burn


@pytest.fixture
def maker(tmp_path):
    made = []

    def make(name="journal", **options):
        made.append(RecordMaker(tmp_path / name, **options))
        return made[-1]

    yield make
    for each in made:
        each.writer.close()


@pytest.fixture
def nominal(maker):
    """T-0 at tick 2.0 s, lit at 2.2 s, out at 4.2 s, 10 s of samples."""

    def make(counts=None, **options):
        record = maker(**options)
        record.boot()
        counts = counts_of_a_burn(10.0) if counts is None else counts
        record.samples(0, counts[:1_000])
        record.run_begin()
        record.samples(1_000, counts[1_000:2_000])
        record.fact("GO", 1.98)
        record.at("LINE_ON", 2_000_000, ma=5_000)
        record.samples(2_000, counts[2_000:2_300])
        record.at("LIT", 2_204_000, by="p1", pulse=1, commanded=True)
        record.samples(2_300, counts[2_300:])
        record.at("BURN_OUT", 5_200_000, quiet_from_tick=4_200_000)
        return record

    return make
