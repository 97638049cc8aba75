"""The whole vocabulary in one place, and who may say what."""

from typing import Any, Final

from firmware_protocol.fixed import Message
from firmware_protocol.messages_board import (
    BackfillData,
    Event,
    Group,
    Identity,
    LimitsEcho,
    Offer,
    Pong,
    Refused,
    Samples,
    SelftestResult,
    rows_per_block,
)
from firmware_protocol.messages_host import (
    Abort,
    ArmAsk,
    ArmTake,
    Backfill,
    ChannelLimits,
    EventAck,
    Go,
    Grip,
    Hello,
    LimitsCommit,
    LimitsStage,
    Output,
    Ping,
    Released,
    Safe,
    Selftest,
)
from firmware_protocol.messages_status import Status
from firmware_protocol.numbers import (
    BoardState,
    EventKind,
    Flag,
    Kind,
    Out,
    ProcedureKind,
    ResetCause,
    Role,
    SelftestWhat,
    place_value,
    split_value,
)
from firmware_protocol.reasons import REASON_TEXT, Reason

HOST_KINDS: Final[dict[int, type[Any]]] = {
    message.KIND: message
    for message in (
        Hello,
        Ping,
        Safe,
        Abort,
        Released,
        LimitsStage,
        LimitsCommit,
        Selftest,
        ArmAsk,
        ArmTake,
        Grip,
        Go,
        Backfill,
        Output,
        EventAck,
    )
}
BOARD_KINDS: Final[dict[int, type[Any]]] = {
    message.KIND: message
    for message in (
        Identity,
        Status,
        Samples,
        Event,
        Offer,
        Refused,
        LimitsEcho,
        Pong,
        BackfillData,
        SelftestResult,
    )
}
SEED_ZERO_KINDS: Final = frozenset({Hello.KIND, Safe.KIND, Abort.KIND, Identity.KIND})
ANY_SESSION_KINDS: Final = frozenset({Safe.KIND, Abort.KIND})

__all__ = [
    "ANY_SESSION_KINDS",
    "BOARD_KINDS",
    "HOST_KINDS",
    "REASON_TEXT",
    "SEED_ZERO_KINDS",
    "Abort",
    "ArmAsk",
    "ArmTake",
    "Backfill",
    "BackfillData",
    "BoardState",
    "ChannelLimits",
    "Event",
    "EventAck",
    "EventKind",
    "Flag",
    "Go",
    "Grip",
    "Group",
    "Hello",
    "Identity",
    "Kind",
    "LimitsCommit",
    "LimitsEcho",
    "LimitsStage",
    "Message",
    "Offer",
    "Out",
    "Output",
    "Ping",
    "Pong",
    "ProcedureKind",
    "Reason",
    "Refused",
    "Released",
    "ResetCause",
    "Role",
    "Safe",
    "Samples",
    "Selftest",
    "SelftestResult",
    "SelftestWhat",
    "Status",
    "place_value",
    "rows_per_block",
    "split_value",
]
