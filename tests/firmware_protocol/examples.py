"""One example of every message, used by several tests and by the golden vectors."""

from firmware_protocol.messages import (
    Abort,
    ArmAsk,
    ArmTake,
    Backfill,
    BackfillData,
    BoardState,
    ChannelLimits,
    Event,
    EventAck,
    EventKind,
    Flag,
    Go,
    Grip,
    Group,
    Hello,
    Identity,
    Kind,
    LimitsCommit,
    LimitsEcho,
    LimitsStage,
    Offer,
    Output,
    Ping,
    Pong,
    ProcedureKind,
    Reason,
    Refused,
    Released,
    ResetCause,
    Role,
    Safe,
    Samples,
    Selftest,
    SelftestResult,
    Status,
    place_value,
)

UID = bytes.fromhex("0102030405060708")
BOOT = 0x00012ABC
HOST = 0x5EED0001

LIMITS = LimitsStage(
    procedure=ProcedureKind.FIRE,
    limits_id=7,
    setup_id=48172093,
    pulse_ms=1000,
    armed_s=180,
    continuity_lo_mohm=800,
    continuity_hi_mohm=2600,
    igniter_lo_mohm=500,
    igniter_hi_mohm=4000,
    dummy_lo_mohm=8000,
    dummy_hi_mohm=12000,
    supply_lo_mv=11500,
    supply_hi_mv=14600,
    ring_post_s=3,
    channels=(
        ChannelLimits(lo=1311, hi=31614, role=Role.PRESSURE_TRIP, lit=8800, stuck_samples=400),
        ChannelLimits(lo=1311, hi=31610, role=Role.PRESSURE_TRIP, lit=8810, stuck_samples=400),
        ChannelLimits(lo=-800000, hi=8000000, role=Role.THRUST, lit=420000, stuck_samples=100),
    ),
)

FAST = Group(rate_mhz=4_000_000, step=250, channels=2, full_lo=0, full_hi=65535)
SLOW = Group(rate_mhz=80_000, step=12_500, channels=1, full_lo=-8388608, full_hi=8388607)

IDENTITY = Identity(
    kind=Kind.SIMULATED,
    uid=UID,
    boot_nonce=BOOT,
    host_nonce=HOST,
    reset_cause=ResetCause.POWER,
    firmware_hash=bytes(range(0x10, 0x18)),
    tick_hz=1_000_000,
    ring_bytes=288_000,
    pulse_ceiling_ms=3000,
    armed_ceiling_s=300,
    groups=(FAST, SLOW),
)

STATUS = Status(
    number=901,
    tick=45_000_123,
    state=BoardState.ARMED,
    key_in=True,
    stop_in=False,
    key_seen_out=True,
    high_closed=False,
    low_closed=False,
    line_mv=-3,
    line_ma=0,
    continuity_mohm=1620,
    limits_crc=LIMITS.crc,
    setup_id=48172093,
    armed_left_ms=171_250,
    grip_n=12,
    last_kind=ArmTake.KIND,
    last_seq=77,
    last_result=Reason.OK,
    trip_latched=False,
    fired_latched=False,
    supply_mv=12650,
    rx_bad=1,
    procedure=ProcedureKind.FIRE,
    outputs_commanded=2,
    outputs_read=2,
    flags=Flag.GRIP_FRESH | Flag.LIMITS_ACTIVE,
)

SAMPLES = Samples.of(0, 400_000, 100_000_000, 250, [(9876, 9880), (9877, -1), (0, 65535)])
LOST = Samples(group=0, first_index=5, tick=0, step=250, n=0, mask=3, data=b"")

HOST_MESSAGES = [
    Hello(host_nonce=HOST),
    Ping(n=3),
    Safe(reason=1),
    Abort(reason=2),
    Released(run=20260914),
    LIMITS,
    LimitsCommit(staged_crc=LIMITS.crc),
    Selftest(what=0),
    ArmAsk(limits_crc=LIMITS.crc, setup_id=48172093),
    ArmTake(challenge=0xC0FFEE11, limits_crc=LIMITS.crc),
    Grip(challenge=0xC0FFEE11, n=21, seen=901),
    Go(challenge=0xC0FFEE11, seen=902, limits_crc=LIMITS.crc, pulse_ms=1000),
    Backfill(group=0, first_index=399_000, count=1000),
    Output(output=0, level=1),
    EventAck(number=5),
]
BOARD_MESSAGES = [
    IDENTITY,
    STATUS,
    SAMPLES,
    Event(number=5, tick=44_000_000, kind=EventKind.TRIP, value=place_value(1, 31_700)),
    Offer(challenge=0xC0FFEE11, limits_crc=LIMITS.crc, setup_id=48172093, expires_ms=60_000),
    Refused(seq=78, command=ArmAsk.KIND, reason=Reason.KEY_NOT_SEEN_OUT),
    LimitsEcho(body=LIMITS.pack()),
    Pong(n=3, tick=45_000_200),
    BackfillData(lost=0, block=SAMPLES),
    BackfillData(lost=20, block=LOST),
    SelftestResult(
        what=0,
        result=Reason.OK,
        tick=9_000_000,
        supply_rest_mv=12900,
        supply_loaded_mv=12650,
        continuity_mohm=1620,
        shunt_steps=(20120, 20118, -5),
    ),
]
