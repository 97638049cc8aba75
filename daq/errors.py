"""Who is at fault. Expected bad input (noise, a bad checksum) is an event, never one of these.

Every message is one sentence: where, what was expected, what came.
"""


class StandError(Exception):
    """Root of everything this product raises on purpose; the command line prints it and exits 1."""

    exit_code = 1


class ConfigError(StandError, ValueError):
    """A settings file is wrong: `file [table] key: expected, got`."""

    exit_code = 2


class LinkError(StandError, OSError):
    """The serial line or the socket is gone or cannot be opened."""


class DeviceFault(StandError):  # noqa: N818 - the board is at fault, which is not our error
    """The board answered with something that no healthy board sends."""


class OperatorRefused(StandError):  # noqa: N818 - a refusal is an answer
    """The crew asked for something that is refused for safety; the text says what to do."""

    exit_code = 3


class JournalError(StandError, OSError):
    """The record cannot be written or read."""
