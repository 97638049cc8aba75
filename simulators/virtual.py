"""How the simulated stand configures its simulated board: uid, groups, full scale, ring memory."""

from firmware_protocol.messages import Group
from firmware_protocol.numbers import TICK_HZ
from simulators.board import BoardConfig
from simulators.setup import StandSetup


def board_config(setup: StandSetup) -> BoardConfig:
    """One wire group for each group of the setup, in order."""
    rails = {spec.name: (spec.counts_lo, spec.counts_hi) for spec in setup.channels}
    groups = tuple(
        Group(
            rate_mhz=group.rate_hz * 1000,
            step=TICK_HZ // group.rate_hz,
            channels=len(group.channels),
            full_lo=min(rails[name][0] for name in group.channels),
            full_hi=max(rails[name][1] for name in group.channels),
        )
        for group in setup.groups
    )
    return BoardConfig(uid=setup.uid, groups=groups, ring_bytes=setup.ring_bytes)
