"""A board on a test bench: hardware whose terminals the test sets, and a host that speaks the wire.

`FakeHal` is the whole outside world of the board as plain attributes. `Bench` owns time: it polls
every millisecond, converts samples at their rates, and lets a host `Link` speak and listen.
"""

from firmware_protocol.link import Link, Received
from firmware_protocol.messages import (
    ArmAsk,
    ArmTake,
    BoardState,
    ChannelLimits,
    Event,
    Go,
    Grip,
    Group,
    Hello,
    LimitsCommit,
    LimitsStage,
    Offer,
    Out,
    Ping,
    ProcedureKind,
    Reason,
    Refused,
    ResetCause,
    Role,
    Selftest,
    SelftestResult,
    Status,
)
from simulators.board import BoardConfig, VirtualBoard

MS = 1000  # ticks
UID = b"bench001"
FAST = Group(rate_mhz=4_000_000, step=250, channels=2, full_lo=0, full_hi=65535)
SLOW = Group(rate_mhz=80_000, step=12_500, channels=1, full_lo=-8388608, full_hi=8388607)
SMALL = Group(rate_mhz=1_000_000, step=1000, channels=2, full_lo=0, full_hi=65535)
AMBIENT, TRIP_AT, LIT_AT = 6800, 31614, 9200
IGNITER, DUMMY, OPEN = 1600, 10_000, 0xFFFF


def limits(procedure=ProcedureKind.FIRE, groups=(SMALL,), **changes):
    channels = tuple(
        ChannelLimits(
            lo=1400,
            hi=TRIP_AT,
            role=Role.PRESSURE_TRIP,
            lit=LIT_AT,
            stuck_samples=0,
        )
        if group.full_lo == 0
        else ChannelLimits(lo=-8_000_000, hi=8_000_000, role=Role.THRUST, lit=400_000)
        for group in groups
        for _ in range(group.channels)
    )
    fields = {
        "procedure": procedure,
        "limits_id": 3,
        "setup_id": 48172093,
        "pulse_ms": 1000,
        "armed_s": 180,
        "continuity_lo_mohm": 800,
        "continuity_hi_mohm": 2600,
        "igniter_lo_mohm": 500,
        "igniter_hi_mohm": 4000,
        "dummy_lo_mohm": 8000,
        "dummy_hi_mohm": 12000,
        "supply_lo_mv": 11000,
        "supply_hi_mv": 14600,
        "ring_post_s": 3,
        "channels": channels,
    }
    return LimitsStage(**{**fields, **changes})


class FakeHal:
    """Attributes are the outside world; `drives` records every change of the two switches."""

    def __init__(self):
        self.key = False
        self.stop = False
        self.load = IGNITER
        self.supply = 12_600
        self.high = self.low = False
        self.high_welded = self.low_welded = False
        self.outs = dict.fromkeys(Out, False)
        self.stuck_outs = {}
        self.nv = b""
        self.nv_writes = 0
        self.line_opens = True
        self.random = 0x1234_5678
        self.drives = []
        self.after_drive = None  # called when both switches have just been closed
        self.entropies = 0

    def key_in(self):
        return self.key

    def stop_in(self):
        return self.stop

    def high_closed(self):
        return self.high or self.high_welded

    def low_closed(self):
        return self.low or self.low_welded

    @property
    def driven(self):
        return self.high or self.low

    @property
    def live(self):
        return self.key and not self.stop and self.high_closed() and self.low_closed()

    def line_mv(self):
        return self.supply if self.live else 0

    def line_ma(self):
        return self.supply * 1000 // self.load if self.live and self.load < OPEN else 0

    def continuity_mohm(self):
        return self.load

    def supply_mv(self):
        return self.supply - (200 if self.outs[Out.TEST_LOAD] else 0)

    def drive(self, high, low):
        if (high, low) != (self.high, self.low):
            self.drives.append((high, low))
        self.high, self.low = high, low
        if high and low and self.after_drive:
            self.after_drive()

    def output(self, out, level):
        self.outs[out] = level

    def read_output(self, out):
        return self.stuck_outs.get(out, self.outs[out])

    def nv_read(self):
        return self.nv

    def nv_write(self, data):
        self.nv = data
        self.nv_writes += 1

    def entropy(self):
        self.entropies += 1
        return (self.random + 0x9E3779B9 * self.entropies) & 0xFFFFFFFF


class Bench:
    """Board, hardware, host and time. Pressure counts are `counts`, noise alternates the last bit."""

    def __init__(self, *, groups=(SMALL,), tick=0, power=True, uid=UID, **config):
        self.hal = FakeHal()
        self.groups = groups
        self.board = VirtualBoard(self.hal, BoardConfig(uid=uid, groups=groups, **config))
        self.tick = tick
        self.host = Link("host")
        self.nonce = 100
        self.counts = AMBIENT
        self.thrust = 0
        self.sampling = True
        self.got = []  # messages from the board, in order
        self.sent = []  # (tick, bytes)
        self.key_moves = []  # (tick, level)
        self.raw = bytearray()
        self.grip_n = 0
        self.challenge = 0
        self.limits = None
        self.cable = True
        self.energised_ticks = []
        if power:
            self.board.power_on(tick)

    # ---- time

    def run(self, ms, every_ms=None):
        """Let time pass; `every_ms()` is called after each millisecond."""
        for _ in range(ms):
            self.tick += MS
            self._sample()
            self.board.poll(self.tick)
            self.listen()
            if self.hal.live:
                self.energised_ticks.append(self.tick)
            if every_ms:
                every_ms()

    def _sample(self):
        if not self.sampling:
            return
        flip = self.tick // MS & 1
        for number, group in enumerate(self.groups):
            for tick in range(self.tick - MS + group.step, self.tick + 1, group.step):
                value = self.counts if group.full_lo == 0 else self.thrust
                self.board.sample(tick, number, (value + flip,) * group.channels)
            if group.step > MS and self.tick % group.step < MS:
                value = self.counts if group.full_lo == 0 else self.thrust
                self.board.sample(self.tick, number, (value + flip,) * group.channels)

    def listen(self):
        data = self.board.take_tx()
        if not self.cable:
            return
        self.raw += data
        for event in self.host.receive(data):
            if isinstance(event, Received):
                self.got.append(event.message)

    # ---- the host

    def send(self, message):
        return self.send_raw(self.host.send(message))

    def send_raw(self, data):
        self.sent.append((self.tick, data))
        if self.cable:
            self.board.receive(self.tick, data)
        self.listen()
        return data

    def of(self, kind):
        return [message for message in self.got if isinstance(message, kind)]

    def newest(self, kind):
        found = self.of(kind)
        return found[-1] if found else None

    @property
    def status(self):
        return self.newest(Status)

    @property
    def seen(self):
        return self.status.number

    def events(self, kind):
        """Values of the events of this kind, each number once."""
        return list({e.number: e.value for e in self.of(Event) if e.kind == kind}.values())

    def refusal(self):
        found = self.newest(Refused)
        return Reason(found.reason) if found else Reason.OK

    def ask(self, message):
        """Send one command; the reason it was refused for, or OK."""
        before = len(self.of(Refused))
        self.send(message)
        now = self.of(Refused)
        return Reason(now[-1].reason) if len(now) > before else Reason.OK

    # ---- the steps of the procedure

    def hello(self):
        self.nonce += 1
        self.send(Hello(host_nonce=self.nonce))
        self.run(60)

    def load(self, procedure=ProcedureKind.FIRE, **changes):
        self.limits = limits(procedure, self.groups, **changes)
        reason = self.ask(self.limits)
        if reason == Reason.OK:
            reason = self.ask(LimitsCommit(staged_crc=self.limits.crc))
        return reason

    def selftest(self, what=0):
        reason = self.ask(Selftest(what=what))
        if reason == Reason.OK:
            self.run(900)
            reason = Reason(self.newest(SelftestResult).result)
        return reason

    def key(self, level):
        self.hal.key = level
        self.key_moves.append((self.tick, level))
        self.run(60)

    def ready(self, procedure=ProcedureKind.FIRE, **changes):
        """HELLO to key in: all that comes before ARM_ASK."""
        if procedure == ProcedureKind.DRY:
            self.hal.load = DUMMY
        if procedure == ProcedureKind.PROOF:
            self.hal.load = OPEN
        self.hello()
        assert self.load(procedure, **changes) == Reason.OK
        assert self.selftest() == Reason.OK
        self.key(True)

    def arm_ask(self):
        reason = self.ask(ArmAsk(limits_crc=self.limits.crc, setup_id=self.limits.setup_id))
        offer = self.newest(Offer)
        if reason == Reason.OK and offer:
            self.challenge = offer.challenge
        return reason

    def arm_take(self):
        reason = self.ask(ArmTake(challenge=self.challenge, limits_crc=self.limits.crc))
        self.run(5)
        return reason

    def arm(self, procedure=ProcedureKind.FIRE, **changes):
        self.ready(procedure, **changes)
        assert self.arm_ask() == Reason.OK
        assert self.arm_take() == Reason.OK
        assert self.board.state == BoardState.ARMED

    def grip(self):
        self.grip_n += 1
        return self.ask(Grip(challenge=self.challenge, n=self.grip_n, seen=self.seen))

    def hold(self, ms, period=50):
        """Hold the fire control for a while."""
        for _ in range(ms // period):
            self.grip()
            self.run(period)

    def ping(self, ms, period=50):
        for n in range(ms // period):
            self.send(Ping(n=n))
            self.run(period)

    def go(self, **changes):
        fields = {
            "challenge": self.challenge,
            "seen": self.seen,
            "limits_crc": self.limits.crc,
            "pulse_ms": self.limits.pulse_ms,
        }
        return self.ask(Go(**{**fields, **changes}))

    def fire(self, procedure=ProcedureKind.FIRE, **changes):
        """Everything up to a live line."""
        self.arm(procedure, **changes)
        self.hold(1200)
        self.grip()
        assert self.go() == Reason.OK
        assert self.board.state == BoardState.ENERGISED

    def reset(self, cause=ResetCause.WATCHDOG):
        self.board.power_on(self.tick, cause)
        self.run(5)
