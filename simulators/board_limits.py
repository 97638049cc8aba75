"""The limits on the board: a staged copy, an active copy, and what makes a set of them impossible."""

from zlib import crc32

from firmware_protocol.messages import LimitsStage, ProcedureKind, Reason, Role
from firmware_protocol.numbers import LIT_UNUSED
from simulators.board_channels import RAIL_SHARE
from simulators.board_hal import BoardConfig

NO_FIRE: frozenset[int] = frozenset({ProcedureKind.BENCH, ProcedureKind.PROOF})


class Limits:
    """`body` is the memory that a fault may change; it is checked against its CRC at every poll."""

    def __init__(self, config: BoardConfig) -> None:
        self._config = config
        self.staged: bytes | None = None
        self.body: bytearray | None = None
        self.crc = 0
        self.active: LimitsStage | None = None

    def stage(self, limits: LimitsStage) -> Reason:
        reason = wrong(limits, self._config)
        self.staged = limits.pack() if reason == Reason.OK else None
        return reason

    def commit(self, staged_crc: int) -> Reason:
        """Copy staged to active; the staged copy is used up either way."""
        staged, self.staged = self.staged, None
        if staged is None or crc32(staged) != staged_crc:
            return Reason.STAGED_CRC
        self.body, self.crc = bytearray(staged), staged_crc
        self.active = LimitsStage.unpack(staged)
        return Reason.OK

    def is_intact(self) -> bool:
        return self.body is None or crc32(self.body) == self.crc

    def drop(self) -> None:
        self.staged = self.body = self.active = None
        self.crc = 0

    @property
    def procedure(self) -> ProcedureKind:
        """What the board is set for; BENCH while nothing is active."""
        return ProcedureKind(self.active.procedure) if self.active else ProcedureKind.BENCH


def wrong(limits: LimitsStage, config: BoardConfig) -> Reason:
    """Why these limits cannot be used on this board; OK if they can."""
    if limits.procedure not in set(ProcedureKind):
        return Reason.LIMITS_BAD
    may_fire = limits.procedure not in NO_FIRE
    if limits.pulse_ms > config.pulse_ceiling_ms or (may_fire and limits.pulse_ms == 0):
        return Reason.PULSE
    proof = limits.procedure == ProcedureKind.PROOF
    ceiling = config.armed_ceiling_proof_s if proof else config.armed_ceiling_s
    if not 0 < limits.armed_s <= ceiling:
        return Reason.ARMED_TIME
    if not (_windows_fit(limits) and _channels_fit(limits, config)):
        return Reason.LIMITS_BAD
    return Reason.OK


def _windows_fit(limits: LimitsStage) -> bool:
    windows = (
        (limits.continuity_lo_mohm, limits.continuity_hi_mohm),
        (limits.igniter_lo_mohm, limits.igniter_hi_mohm),
        (limits.dummy_lo_mohm, limits.dummy_hi_mohm),
        (limits.supply_lo_mv, limits.supply_hi_mv),
    )
    apart = (
        limits.dummy_lo_mohm > limits.igniter_hi_mohm
        or limits.dummy_hi_mohm < limits.igniter_lo_mohm
    )
    return apart and all(lo <= hi for lo, hi in windows) and limits.ring_post_s > 0


def _channels_fit(limits: LimitsStage, config: BoardConfig) -> bool:
    if not 2 <= limits.votes_needed <= limits.votes_of <= 8:
        return False
    if len(limits.channels) != config.channels:
        return False
    specs = [group for group in config.groups for _ in range(group.channels)]
    for channel, spec in zip(limits.channels, specs, strict=True):
        top = spec.full_hi - int(RAIL_SHARE * (spec.full_hi - spec.full_lo))
        if channel.lo >= channel.hi:
            return False
        if channel.role == Role.PRESSURE_TRIP:
            lit_fits = channel.lit == LIT_UNUSED or channel.lit < channel.hi
            if channel.hi >= top or not lit_fits:
                return False
    return True
