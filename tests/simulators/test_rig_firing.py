"""The simulated board on the simulated plant, over its own wire: firings good and bad, end to end.

A host of a few lines goes through the whole arming; what happened is then read from the plant (the
truth), the pins and the wire, and must agree.
"""

import pytest

from firmware_protocol.link import Link, Received
from firmware_protocol.messages import (
    BoardState,
    ChannelLimits,
    EventKind,
    Flag,
    Identity,
    LimitsCommit,
    LimitsStage,
    Out,
    ProcedureKind,
    Reason,
    Role,
    Safe,
    Samples,
    SelftestResult,
    Status,
)
from simulators.demo import start_message
from simulators.rig import Rig
from simulators.scenarios_io import load
from simulators.setup import StandSetup
from simulators.truth import outcome, truth
from tests.simulators.bench import Bench

TRIP_COUNTS = 31_614  # 4.78 MPa, the worked example of the redline
PRESSURE = ChannelLimits(
    lo=1311, hi=TRIP_COUNTS, role=Role.PRESSURE_TRIP, lit=7600, stuck_samples=200
)
THRUST = ChannelLimits(lo=1311, hi=64_224, role=Role.THRUST, lit=8000, stuck_samples=200)


class RigBench(Bench):
    """The host side of a bench, with a whole rig behind the cable."""

    def __init__(self, scenario=None, rate_hz=4000, **changes):
        message = start_message(**changes)
        groups = [{"rate_hz": rate_hz, "channels": ["p1", "p2", "f1"]}]
        message["stand"] = {**message["stand"], "joined": True, "groups": groups}
        if scenario is not None:
            message = load(scenario).apply(message)
        self.rig = Rig(StandSetup.from_json(message))
        self.host = Link("host")
        self.nonce = 100
        self.got = []
        self.grip_n = 0
        self.challenge = 0
        self.limits = None
        self._pending = b""

    @property
    def board(self):
        return self.rig.board

    def run(self, ms, every_ms=None):
        for _ in range(ms):
            out = self.rig.advance_ms(self._pending)
            self._pending = b""
            for event in self.host.receive(out):
                if isinstance(event, Received):
                    self.got.append(event.message)

    def listen(self):
        pass

    def send_raw(self, data):
        self._pending += data
        self.run(3)
        return data

    def key(self, level):
        self.rig.plant.line.key_in = level
        self.run(60)

    def load(self, procedure=ProcedureKind.FIRE, **changes):
        self.limits = LimitsStage(
            procedure=procedure,
            limits_id=1,
            setup_id=48172093,
            pulse_ms=1000,
            armed_s=180,
            continuity_lo_mohm=1600,
            continuity_hi_mohm=3200,
            igniter_lo_mohm=1600,
            igniter_hi_mohm=3200,
            dummy_lo_mohm=5000,
            dummy_hi_mohm=7500,
            supply_lo_mv=11_000,
            supply_hi_mv=14_600,
            ring_post_s=8,
            channels=(PRESSURE, PRESSURE, THRUST),
        )
        reason = self.ask(self.limits)
        if reason == Reason.OK:
            reason = self.ask(LimitsCommit(staged_crc=self.limits.crc))
        return reason


def line_edges(bench):
    return [(pin, on) for _, _, pin, on in bench.rig.pins.changes if pin in ("high", "low")]


def energised_s(bench):
    """How long both switches were driven closed, from the pin log."""
    levels, since, total = {}, None, 0.0
    for _, time_s, pin, on in bench.rig.pins.changes:
        levels[pin] = on
        both = levels.get("high", False) and levels.get("low", False)
        if both and since is None:
            since = time_s
        elif not both and since is not None:
            total += time_s - since
            since = None
    return total


def test_the_boards_self_test_passes_on_the_simulated_hardware():
    bench = RigBench()
    bench.hello()
    assert bench.load() == Reason.OK
    assert bench.selftest() == Reason.OK
    result = bench.newest(SelftestResult)
    assert result.shunt_steps == pytest.approx((20_971, 20_971, 20_971), abs=10)
    assert result.supply_loaded_mv == 12_600 - 200
    assert energised_s(bench) == 0


def test_a_whole_firing_on_the_rig():
    bench = RigBench("nominal")
    bench.fire()
    for _ in range(8):
        bench.hold(50)
    assert bench.status.state == BoardState.BURN
    bench.run(5000)
    plant = bench.rig.plant
    assert outcome(plant) == "burnt"
    assert bench.events(EventKind.LINE_ON)[0] == pytest.approx(12_600 / 2.4, abs=2)
    lit_to_drop = energised_s(bench)
    assert 0.1 < lit_to_drop < 0.4
    assert not bench.events(EventKind.TRIP)
    burn = [block for block in bench.of(Samples) if block.tick > plant.t0_tick]
    rows = [row for block in burn for row in block.rows()]
    top = max(row[0] for row in rows)
    seen_pa = (top - 6553.6) / 52_428.8 * 10e6
    told = truth(bench.rig)["figures"]["peak_pressure_pa"]["value"]
    assert seen_pa == pytest.approx(told, rel=0.01)
    assert bench.status.fired_latched


def test_overpressure_trips_the_board_and_the_motor_burns_on():
    bench = RigBench("overpressure")
    bench.fire()
    bench.hold(300)
    bench.run(1000)
    plant = bench.rig.plant
    assert bench.board.state == BoardState.TRIPPED
    assert bench.rig.pins.levels["siren"]
    assert plant.motor.lit
    trip_s = next(e["time_s"] for e in bench.rig.events if e["what"] == "tripped")
    at_trip = next(row[1] for row in plant.trace if row[0] >= trip_s) - 101_325
    assert 4.78e6 < at_trip < 5.26e6
    bench.run(4000)
    assert outcome(plant) == "burnt"
    assert plant.out_s > trip_s + 0.5


def test_a_brownout_in_the_pulse_drops_the_line_and_the_burn_is_seen_after_it():
    bench = RigBench("logger-brownout")
    bench.fire()
    bench.run(100)
    assert bench.board is None
    assert energised_s(bench) == pytest.approx(0.03, abs=0.003)
    bench.run(700)
    assert bench.newest(Identity).reset_cause.name == "BROWN_OUT"
    bench.hello()
    bench.run(300)
    assert bench.status.fired_latched
    assert not bench.rig.plant.line.powered
    assert bench.rig.plant.motor.lit
    rows = [row for block in bench.of(Samples)[-10:] for row in block.rows()]
    assert min(row[2] for row in rows) > 20_000


def test_a_misfire_shows_current_then_an_open_line():
    bench = RigBench("misfire-opened")
    bench.fire()
    bench.hold(1200)
    assert bench.events(EventKind.LINE_ON)
    assert bench.events(EventKind.LINE_OFF)[0] == pytest.approx(20, abs=2)
    assert bench.status.continuity_mohm == 0xFFFF
    assert bench.status.state == BoardState.DISARMED
    assert outcome(bench.rig.plant) == "misfire"
    assert not bench.events(EventKind.LIT)


def test_no_current_through_a_dead_key_contact():
    bench = RigBench("misfire-no-current")
    bench.fire()
    bench.hold(1200)
    assert not bench.events(EventKind.LINE_ON)
    assert energised_s(bench) == pytest.approx(1.0, abs=0.002)
    assert outcome(bench.rig.plant) == "misfire"


def test_a_hang_fire_lights_after_a_rehearsal_step_up_to_it():
    bench = RigBench("hang-fire")
    bench.fire()
    bench.hold(1500)
    bench.run(1500)
    assert bench.rig.plant.lit_s is None
    granted = bench.rig.step(60.0)
    assert 8.0 < granted < 9.5
    bench.run(500)
    assert bench.status.state == BoardState.BURN
    assert outcome(bench.rig.plant) == "burnt"


def test_the_key_out_in_the_count_disarms_and_back_in_arms_nothing():
    bench = RigBench("key-out-count")
    bench.arm()
    bench.ping(20_100)
    assert bench.status.state == BoardState.DISARMED
    bench.ping(3000)
    assert bench.status.key_in
    assert bench.status.state == BoardState.DISARMED
    assert energised_s(bench) == 0


@pytest.mark.parametrize("scenario", ["key-left-in", "key-contact-welded", "switch-welded"])
def test_arming_is_refused_on_a_stand_that_is_not_right(scenario):
    bench = RigBench(scenario)
    bench.hello()
    bench.load()
    bench.selftest()
    bench.key(True)
    assert bench.arm_ask() != Reason.OK
    assert bench.board.state == BoardState.DISARMED
    assert energised_s(bench) == 0


def test_a_step_in_an_armed_board_is_charged_to_the_arming_and_not_to_the_silence():
    bench = RigBench()
    bench.arm()
    bench.ping(500)
    before = bench.status.armed_left_ms
    assert bench.rig.step(20.0) == 20.0
    bench.ping(200)
    assert bench.status.state == BoardState.ARMED
    assert before - bench.status.armed_left_ms == pytest.approx(20_200, abs=150)


def test_silence_disarms_within_half_a_second():
    bench = RigBench("link-lost-count")
    bench.arm()
    bench.ping(20_000)
    bench.run(600)
    assert bench.board.state == BoardState.DISARMED


def test_a_motor_that_lights_in_the_count_is_a_burn_to_the_board():
    bench = RigBench("lights-in-count")
    bench.arm()
    bench.ping(20_600)
    assert bench.status.flags & Flag.LIT
    assert bench.status.fired_latched
    assert energised_s(bench) == 0


def test_spikes_do_not_trip():
    bench = RigBench("spikes")
    bench.fire()
    bench.hold(300)
    bench.run(4000)
    assert not bench.events(EventKind.TRIP)
    top = max(row[0] for block in bench.of(Samples) for row in block.rows())
    assert top > TRIP_COUNTS


def test_safe_in_the_pulse_opens_the_line_within_milliseconds():
    bench = RigBench()
    bench.fire()
    bench.send(Safe())
    assert not bench.rig.plant.line.powered
    assert bench.board.state == BoardState.DISARMED
    assert bench.rig.pins.levels["high"] is False


def test_outputs_reach_the_pins_by_name():
    bench = RigBench()
    bench.fire()
    bench.hold(300)
    names = {pin for _, _, pin, _ in bench.rig.pins.changes}
    assert {"high", "low", "siren", "lamp_horn"} <= names | {out.name.lower() for out in Out}
    assert isinstance(bench.status, Status)


def test_pickup_of_the_firing_current_neither_trips_nor_lights():
    bench = RigBench("igniter-pickup")
    bench.fire()
    bench.hold(100)
    assert not bench.events(EventKind.TRIP)
    assert not bench.events(EventKind.LIT)
    burn = [block for block in bench.of(Samples) if block.tick > bench.rig.plant.t0_tick - 20_000]
    top = max(row[0] for block in burn for row in block.rows())
    assert top > 15_000
