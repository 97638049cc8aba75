"""Plays the cues, where the machine can: a second channel, never a reason to stop.

Without a sound device, or without QtMultimedia, `Player.why` says so in one sentence and nothing is
played; the window marks it in the alarm line. No call here raises.
"""

import contextlib
from typing import Any

from PyQt6.QtCore import QBuffer, QByteArray, QIODevice

from daq.console.cues import CUES, NEVER_OFF, RATE_HZ, samples


class Player:
    """One output; `is_on` false leaves only the cues that may never be off."""

    def __init__(self, *, is_on: bool = True) -> None:
        self.is_on = is_on
        self.why = ""
        self._sink: Any = None
        self._buffer: QBuffer | None = None
        self._waves = {cue: samples(cue) for cue in CUES}
        self._sink = self._opened()

    def play(self, cues: list[str]) -> None:
        """Play the first cue that may sound; one at a time, the most serious comes first."""
        for cue in cues:
            if self.is_on or cue in NEVER_OFF:
                self._start(self._waves[cue])
                return

    def _opened(self) -> Any:
        try:
            from PyQt6.QtMultimedia import QAudioFormat, QAudioSink, QMediaDevices

            device = QMediaDevices.defaultAudioOutput()
            if device.isNull():
                self.why = "No sound device: call the count and the alarms aloud."
                return None
            shape = QAudioFormat()
            shape.setSampleRate(RATE_HZ)
            shape.setChannelCount(1)
            shape.setSampleFormat(QAudioFormat.SampleFormat.Int16)
            return QAudioSink(device, shape)
        except (ImportError, RuntimeError, OSError):
            self.why = "Sound is not available here: call the count and the alarms aloud."
            return None

    def _start(self, wave: bytes) -> None:
        if self._sink is None:
            return
        with contextlib.suppress(Exception):
            self._sink.stop()
            self._buffer = QBuffer()
            self._buffer.setData(QByteArray(wave))
            self._buffer.open(QIODevice.OpenModeFlag.ReadOnly)
            self._sink.start(self._buffer)
