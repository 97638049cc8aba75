"""The simulated stand as a process of its own: `python -m simulators.stand`.

Reads one JSON object (simulators/setup.py) from the first line of its input, answers with one JSON
line {"port": ..., "control": ..., "uid": ...} and then runs in real time, a millisecond at a time,
until it is told to end, is terminated, or the process that started it is gone. At the end it
writes truth.json beside the pins.csv it has kept all along.

`python -m simulators.stand --load` runs the demonstration stand as fast as it can and prints what
share of one core real time would take.
"""

import gc
import json
import os
import signal
import sys
import time
from collections.abc import Mapping
from typing import Any, Final

from firmware_protocol.link import Link
from firmware_protocol.messages import Hello
from firmware_protocol.numbers import PROTOCOL_VERSION
from simulators.control import Answer, ControlServer, obey
from simulators.demo import start_message
from simulators.port import BoardPort, open_port
from simulators.rig import Rig
from simulators.setup import StandSetup
from simulators.truth import truth

SLICE_S: Final = 0.001
SLIP_MS: Final = 1_000
PARENT_CHECK_MS: Final = 500


class StandProcess:
    """Rig, port and control socket, paced to the wall clock."""

    def __init__(self, setup: StandSetup) -> None:
        self.setup = setup
        self.rig = Rig(setup, setup.out_dir)
        self.port: BoardPort = open_port(setup.port)
        self.control = ControlServer(self.answer)
        self.ended = False
        self.slipped_ms = 0
        self.worst_late_ms = 0
        self._parent = os.getppid()
        self._run_ms = 0
        self._start_s = 0.0
        self._cpu_s = 0.0

    def hello(self) -> dict[str, str]:
        """The answer to the start message."""
        return {
            "port": self.port.name,
            "control": self.control.address,
            "uid": self.setup.uid.hex(),
        }

    def answer(self, order: Mapping[str, Any]) -> Answer:
        if order.get("do") == "end":
            self.ended = True
            return {"ok": True}
        answer = obey(self.rig, order)
        if order.get("do") == "state":
            answer |= self.pace()
        return answer

    def pace(self) -> dict[str, float]:
        """How well real time is kept: share of a core, worst lateness, time that was given up."""
        wall = max(1e-9, time.perf_counter() - self._start_s)
        return {
            "core_share": (time.process_time() - self._cpu_s) / wall,
            "worst_late_ms": self.worst_late_ms,
            "slipped_ms": self.slipped_ms,
            "port_lost_bytes": self.port.lost,
        }

    def run(self) -> None:
        """Until the end. A process that was suspended goes on from where it stood."""
        self._start_s = time.perf_counter()
        self._cpu_s = time.process_time()
        while not self.ended:
            self._slice()
            ahead = self._start_s + (self._run_ms + 1) * SLICE_S - time.perf_counter()
            if ahead > 0.0:
                time.sleep(ahead)

    def _slice(self) -> None:
        self.control.poll()
        late = int((time.perf_counter() - self._start_s) / SLICE_S) - self._run_ms
        if late > SLIP_MS:
            self.slipped_ms += late - 1
            self._start_s += (late - 1) * SLICE_S
            late = 1
        self.worst_late_ms = max(self.worst_late_ms, late)
        for _ in range(late):
            out = self.rig.advance_ms(self.port.read())
            if out:
                self.port.write(out)
            self._run_ms += 1
        if self._run_ms % PARENT_CHECK_MS == 0 and os.getppid() != self._parent:
            self.ended = True

    def close(self) -> None:
        """Write truth.json, then let go of everything."""
        if self.setup.out_dir is not None:
            told = {**truth(self.rig), "pace": self.pace()}
            path = self.setup.out_dir / "truth.json"
            path.write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")
        self.rig.close()
        self.control.close()
        self.port.close()


def serve(line: str) -> int:
    """Run one stand from its start message; 2 with a sentence when that is wrong."""
    try:
        setup = StandSetup.from_json(json.loads(line))
    except (ValueError, TypeError) as wrong:
        print(json.dumps({"error": str(wrong)}), flush=True)
        print(f"simulated stand: {wrong}", file=sys.stderr)
        return 2
    stand = StandProcess(setup)

    def end(_signal: int, _frame: object) -> None:
        stand.ended = True

    signal.signal(signal.SIGTERM, end)
    signal.signal(signal.SIGINT, end)
    print(json.dumps(stand.hello()), flush=True)
    gc.freeze()
    try:
        stand.run()
    finally:
        stand.close()
    return 0


def load(seconds: int = 10) -> dict[str, float]:
    """CPU seconds per simulated second with a host listening: at rest, and with a burning motor."""
    rig = Rig(StandSetup.from_json(start_message()), None)
    rig.advance_ms(Link("host").send(Hello(host_nonce=1, protocol=PROTOCOL_VERSION)))
    shares = {}
    for name in ("at rest", "burning"):
        if name == "burning":
            rig.plant.ignite()
        started = time.process_time()
        length = 2 if name == "burning" else seconds
        for _ in range(length * 1000):
            rig.advance_ms()
        shares[name] = (time.process_time() - started) / length
    return shares


def main(arguments: list[str]) -> int:
    if arguments == ["--load"]:
        for name, share in load().items():
            print(f"4 kS/s x 3 channels, {name}: {100 * share:.1f} % of one core")
        return 0
    if arguments:
        print(__doc__, file=sys.stderr)
        return 2
    return serve(sys.stdin.readline())


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
