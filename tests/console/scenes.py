"""Invented statuses, one per scene of the window, all from one assembly (design's worked example)."""

import copy
from dataclasses import dataclass, field

from daq.console.moment import Local
from daq.console.source import Flag, SketchSource
from daq.console.state import Fold

SECOND_NS = 1_000_000_000
NOW_NS = 50 * SECOND_NS

BASE = {
    "n": 4711,
    "engine_s": 812.4,
    "mode": "REAL STAND",
    "utc": "2026-09-14T08:41:07Z",
    "site": "North pit",
    "run_id": "R-0042",
    "board_id": "7A21",
    "casing": "C-017, firing 5",
    "nozzle": "N-05, 21.40 mm",
    "setup_id": "48172093",
    "journal": {
        "folder": "journal",
        "segment": "00000042-1f9c03aa.berm",
        "offset": 8192,
        "seq": 5120,
    },
    "phase": "SAFE",
    "now": "Preparation, line D7",
    "next": "ARM, after D, E1 to E5, key",
    "not_yet": "Count, fire: not armed",
    "phase_s": 240.0,
    "board": {"state": "DISARMED", "agrees": True},
    "clock": {
        "kind": "planned",
        "sign": "T-",
        "seconds": 600.0,
        "running": False,
        "caption": "Count not started",
        "note": "planned length",
        "form": "min:s",
    },
    "circuit": {
        "word": "DEAD",
        "line_v": 0.0,
        "line_ma": 0.0,
        "key_in": False,
        "high_closed": False,
        "low_closed": False,
        "continuity_ohm": None,
        "armed_left_s": None,
    },
    "stop_in": True,
    "approach": {
        "word": "OPEN",
        "reason": "Released by R. Voss",
        "since": "08:12",
        "left_s": None,
        "wait": None,
        "lines": ["and A. Lind, key OUT,", "line unplugged, shorted"],
        "names": ["R. Voss", "A. Lind"],
    },
    "pressure": {
        "pa": 0.0,
        "word": "OK",
        "percent_of_trip": 0.0,
        "max_pa": 0.0,
        "channels": {"p1": 0.0, "p2": 1200.0},
    },
    "thrust": {"n": 2.0, "word": "OK", "max_n": 3.0, "compare": "expected peak 2 400 N"},
    "limits": {
        "trip_pa": 4.78e6,
        "allowable_pa": 5.26e6,
        "allowable_mode": "fastener bearing",
        "rated_burst_pa": 9.88e6,
        "rated_burst_mode": "seal",
        "expected_max_pa": 4.21e6,
        "expected_peak_pa": 3.90e6,
        "near_trip_pa": 4.33e6,
        "expected_thrust_n": 2594.0,
        "expected_burn_s": 3.1,
    },
    "checklist": {
        "title": "Fire",
        "sections": [
            {"letter": "A", "title": "Day", "state": "signed"},
            {"letter": "B", "title": "Stand", "state": "signed"},
            {"letter": "C", "title": "Records", "state": "signed"},
            {"letter": "D", "title": "Motor on stand", "state": "current"},
            {"letter": "E", "title": "Clear", "state": "open"},
            {"letter": "F", "title": "Count", "state": "open"},
            {"letter": "G", "title": "After", "state": "open"},
        ],
        "signed": 6,
        "total": 9,
        "lines": [
            {"id": "D1", "text": "Serials read", "who": "AL", "state": "signed", "by": ["A. Lind"]},
            {"id": "D2", "text": "Motor bolted", "who": "KM", "state": "signed", "by": ["K. Mori"]},
            {"id": "D3", "text": "Lines filled", "who": "KM", "state": "signed", "by": ["K. Mori"]},
            {"id": "D4", "text": "Zero taken", "who": "AL", "state": "signed", "by": ["A. Lind"]},
            {
                "id": "D5",
                "text": "Radios off, bonded",
                "who": "AL+KM",
                "state": "signed",
                "by": ["A. Lind", "K. Mori"],
            },
            {
                "id": "D6",
                "text": "Igniter in, shorted",
                "who": "AL+RV",
                "state": "signed",
                "by": ["A. Lind", "R. Voss"],
            },
            {
                "id": "D7",
                "text": "Line dead by lamp, join, keep it shorted",
                "who": "AL+RV",
                "state": "now",
                "by": ["A. Lind"],
            },
            {"id": "D8", "text": "Pad left, short off", "who": "KM+RV", "state": "open", "by": []},
            {"id": "D9", "text": "People clear", "who": "RV+AL", "state": "open", "by": []},
        ],
        "frame": {
            "id": "D7",
            "text": "Line dead by lamp, join, keep it shorted",
            "who": "AL+RV",
            "by": ["A. Lind"],
            "needs_code_of": "R. Voss",
            "say": "",
            "reply": "",
            "asks": [],
        },
    },
    "conditions": [],
    "arming": {
        "state": "none",
        "echo": [],
        "setup_id": None,
        "typed": "",
        "typist": "",
        "offer_left_s": None,
    },
    "recorder": {"word": "running", "synced_ms_ago": 84.0, "disk_min": 212.0},
    "link": {"word": "up", "age_ms": 18.0, "bad": 0, "gaps": 0},
    "power": {"word": "mains · 96 %"},
    "beat_age_ms": 21.0,
    "alarms": [],
    "events": [
        {"t": "08:40:31", "text": "A. Lind signed D7"},
        {"t": "08:39:52", "text": "ARM refused"},
        {"t": "08:36:10", "text": "Self-test passed, 11 of 11"},
    ],
    "refusal": {
        "t": "08:39:52",
        "text": "ARM refused: D7 to D9 not signed, range clear older than 5 min.",
    },
    "keys": {
        "space": "SAFE",
        "space_note": "line off, disarm, always works",
        "fire": "off",
        "hold": "no effect",
        "enter": "Sign as RV",
    },
    "release": [],
    "results": None,
    "lost": {"samples": 0, "bad_frames": 0},
}

HELD = [
    ("Key in, stop out", "board"),
    ("Limits equal", "4.78 MPa"),
    ("Pressure ambient", "0.00 MPa"),
    ("Thrust at zero", "2 N"),
    ("Channels alive", "3 of 3"),
    ("Record on disk", "61 ms ago"),
    ("Range clear", "1:22 old"),
    ("Posts answered", "4 of 4"),
    ("Continuity", "1.42 Ω"),
    ("Supply", "12.1 V"),
]
CONDITIONS = [{"name": name, "holds": True, "text": text} for name, text in HELD]
CLOSED = {
    "word": "CLOSED",
    "reason": "People clear, signed",
    "since": "08:51",
    "left_s": None,
    "wait": None,
    "lines": ["R. Voss and A. Lind", "Opens: after burn and wait"],
    "names": [],
}
ARMED = {
    "word": "ARMED",
    "line_v": 0.0,
    "line_ma": 0.0,
    "key_in": True,
    "high_closed": False,
    "low_closed": False,
    "continuity_ohm": 1.42,
    "armed_left_s": 118.0,
}
LINE = {"mode": "REAL STAND"}
RELEASE = [
    {"text": "Key out", "who": "AL", "done": False},
    {"text": "Stop in", "who": "AL", "done": False},
    {"text": "Line unplugged", "who": "KM+RV", "done": False},
    {"text": "Line shorted", "who": "KM+RV", "done": False},
    {"text": "Wait over, 60:00", "who": "clock", "done": False},
    {"text": "Range officer: open", "who": "RV+AL", "done": False},
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A status, how old it is, the keys on the desk, and what has been recorded (burn shape)."""

    name: str
    status: dict
    age_s: float = 0.03
    local: Local = field(default_factory=Local)
    burnt_s: float | None = None
    scale: float = 1.0
    lasting_s: float = 0.4
    causes: int | None = None

    def fold(self) -> Fold:
        fold = Fold()
        if not self.status:
            return fold
        received = NOW_NS - int(self.age_s * SECOND_NS)
        fold.take(self.status, received - int(self.lasting_s * SECOND_NS))
        fold.take(self.status, received)
        return fold

    def source(self):
        lit = (self.burnt_s or 0) > -1.5
        marks = [Flag(0.0, "GO"), Flag(0.14, "lit"), Flag(1.5, "line off")]
        if self.name.startswith("5-"):
            marks.append(Flag(2.9, "trip"))
        if self.name.startswith(("6-", "10-w")):
            marks.append(Flag(3.24, "burn-out"))
        if not lit:
            marks = [Flag(0.0, "GO"), Flag(0.22, "line open"), Flag(3.0, "not lit")]
        burnt = self.burnt_s if lit else 6.0
        return SketchSource(burnt_s=burnt, scale=self.scale, is_lit=lit, marks=tuple(marks))

    def view(self):
        return self.fold().view(NOW_NS, self.local)


def with_(base, **changes):
    made = copy.deepcopy(base)
    for name, change in changes.items():
        if isinstance(change, dict) and isinstance(made.get(name), dict):
            made[name] = {**made[name], **change}
        else:
            made[name] = copy.deepcopy(change)
    return made


def frame(text, needs=None, who="", **more):
    return {
        "id": "",
        "text": text,
        "who": who,
        "needs_code_of": needs,
        "say": "",
        "reply": "",
        **more,
    }


COUNT = with_(
    BASE,
    utc="2026-09-14T09:02:53Z",
    phase="COUNTDOWN",
    now="Space ABORT, P HOLD",
    next="T−3 s: F and J, keep down",
    not_yet="Earlier, or let go: HOLD",
    board={"state": "ARMED"},
    clock={
        "kind": "count",
        "sign": "T-",
        "seconds": 6.6,
        "running": True,
        "caption": "Count",
        "note": "armed, 118 s left",
        "form": "s",
    },
    circuit=ARMED,
    stop_in=False,
    approach=CLOSED,
    conditions=CONDITIONS,
    checklist={"frame": None},
    arming={"state": "armed"},
    recorder={"synced_ms_ago": 61.0, "disk_min": 209.0},
    refusal={"t": "09:01:20", "text": "ARM refused: key was never seen out. Take it out, then in."},
    events=[
        {"t": "09:02:00", "text": "Count started, 1:00"},
        {"t": "09:01:51", "text": "ARMED, both groups typed"},
        {"t": "09:01:31", "text": "Range clear, 4 of 4 posts"},
    ],
    keys={
        "space": "ABORT",
        "space_note": "line off, disarm, latch closed",
        "fire": "from T-3 s",
        "hold": "HOLD now",
        "enter": None,
    },
)
ARM = with_(
    COUNT,
    utc="2026-09-14T09:01:44Z",
    setup_id=None,
    phase="ARM",
    now="Type the echoed number",
    next="ARMED, then the count",
    not_yet="Count: circuit not armed",
    board={"state": "DISARMED"},
    clock={
        "kind": "offer",
        "sign": "",
        "seconds": 42.7,
        "caption": "Offer, time left",
        "note": "of 1:00, from the board",
        "form": "min:s",
    },
    circuit={"word": "DEAD", "armed_left_s": None},
    approach={"lines": ["R. Voss and A. Lind", "Opens: by release only"]},
    arming={
        "state": "typing",
        "echo": [
            ["Pressure trip", "4.78 MPa = 693 psi"],
            ["Thrust trip", "4 500 N = 1 012 lbf"],
            ["Pulse, armed time", "1.50 s, 180 s"],
        ],
        "setup_id": "48172093",
        "typed": "4817",
        "typist": "R. Voss",
        "offer_left_s": 42.7,
    },
    keys={
        "space": "SAFE",
        "space_note": "offer dropped, line off",
        "fire": "off",
        "hold": "no effect",
    },
)
FIRE = with_(
    COUNT,
    utc="2026-09-14T09:03:00Z",
    phase="FIRE",
    now="F and J held, line on",
    next="BURNING, when it lights",
    not_yet="MISFIRE, not lit within 3 s",
    board={"state": "ENERGISED"},
    clock={
        "kind": "burn",
        "sign": "T+",
        "seconds": 0.12,
        "caption": "Since GO",
        "note": "lit within 3 s, or MISFIRE",
        "form": "tenths",
    },
    circuit={
        "word": "ENERGISED",
        "line_v": 11.8,
        "line_ma": 2410.0,
        "high_closed": True,
        "low_closed": True,
        "armed_left_s": 111.0,
    },
    events=[
        {"t": "T+0.00 s", "text": "GO accepted by the board"},
        {"t": "T-1.5 s", "text": "F and J held: count goes on"},
        {"t": "T-2.7 s", "text": "F and J down"},
    ],
    keys={"space_note": "line off, latch closed", "fire": "held", "hold": "Mark, noted"},
)
BURN = with_(
    FIRE,
    utc="2026-09-14T09:03:02Z",
    phase="BURNING",
    now="Recording. Let go of F and J",
    next="WAIT, when burn is over 1 s",
    not_yet="Nothing here stops a burn",
    board={"state": "BURN"},
    clock={"seconds": 2.57, "note": "expected burn-out T+3.1 s"},
    circuit={
        "word": "DEAD",
        "line_v": 0.0,
        "line_ma": 0.0,
        "high_closed": False,
        "low_closed": False,
        "continuity_ohm": None,
        "armed_left_s": None,
    },
    approach={
        "reason": "Motor burning",
        "lines": ["Wait 10:00 from the later", "of burn-out and key-out"],
    },
    pressure={
        "pa": 3.78e6,
        "percent_of_trip": 79.1,
        "max_pa": 3.81e6,
        "channels": {"p1": 3.78e6, "p2": 3.76e6},
    },
    thrust={"n": 2310.0, "max_n": 2331.0, "compare": "inside expected band"},
    events=[
        {"t": "T+1.50 s", "text": "Line off, pulse ended"},
        {"t": "T+0.14 s", "text": "Lit: pressure, thrust agree"},
        {"t": "T+0.00 s", "text": "GO accepted by the board"},
    ],
    keys={"space_note": "siren, outputs, latch closed", "fire": "may let go"},
)
NEAR = with_(
    BURN,
    pressure={
        "pa": 4.37e6,
        "percent_of_trip": 91.4,
        "max_pa": 4.37e6,
        "channels": {"p1": 4.37e6, "p2": 4.35e6},
    },
    thrust={"n": 2672.0, "max_n": 2672.0, "compare": "9 % above expected"},
    alarms=[
        {
            "rank": "HIGH",
            "what": "Pressure near trip, 91 %.",
            "do": "Stay under cover, call it on the radio.",
            "since": "T+2.57 s",
            "answered_by": None,
        }
    ],
)
ABORT = with_(
    BURN,
    utc="2026-09-14T09:05:24Z",
    phase="ABORT",
    now="Key IN: the wait stands still",
    next="Key out, then wait 60:00",
    not_yet="Release: the wait, 6 steps",
    board={"state": "TRIPPED"},
    clock={
        "kind": "wait",
        "sign": "",
        "seconds": 3600.0,
        "running": False,
        "caption": "Approach wait",
        "note": "starts at key out",
        "form": "min:s",
    },
    approach={
        "reason": "Abort, motor has burned",
        "left_s": 3600.0,
        "wait": "unproven",
        "lines": ["Pressure not proven vented", "Dead circuit is not enough"],
    },
    pressure={
        "pa": 0.31e6,
        "word": "STUCK",
        "percent_of_trip": 6.5,
        "max_pa": 4.79e6,
        "channels": {"p1": 0.31e6, "p2": 0.29e6},
    },
    thrust={"n": 4.0, "max_n": 2790.0, "compare": "zero after burn"},
    power={"word": "on battery 71 %"},
    alarms=[
        {
            "rank": "HIGH",
            "what": "Power on battery, 71 %.",
            "do": "Look at the generator after the wait.",
            "since": "09:04:02",
            "answered_by": "AL",
        },
        {
            "rank": "URGENT",
            "what": "Pressure trip 4.79 MPa at T+2.90 s.",
            "do": "Stay back until the range officer opens.",
            "since": "T+2.90 s",
            "answered_by": "09:03:20 AL",
        },
    ],
    events=[
        {"t": "09:03:20", "text": "A. Lind answered the alarm"},
        {"t": "T+3.40 s", "text": "Pressure P1, P2 stuck, BLIND"},
        {"t": "T+2.90 s", "text": "Trip 4.79 MPa, ABORT"},
    ],
    refusal={
        "t": "09:04:40",
        "text": "Release refused: key still in, wait not started, line still plugged.",
    },
    release=RELEASE,
    checklist={
        "frame": frame(
            "Key out, in the hand of the range officer",
            "A. Lind",
            "AL",
            id="Key out",
        )
    },
    keys={
        "space_note": "again: sends it again, no harm",
        "fire": "off",
        "hold": "no effect",
        "enter": "Sign as AL",
    },
)
ABORT["release"][0]["id"] = "Key out"
MISFIRE = with_(
    ABORT,
    utc="2026-09-14T09:05:29Z",
    phase="MISFIRE",
    misfire="Current, then open. May still light.",
    now="Stay: it may still light",
    next="INSPECT, after release",
    not_yet="Release: 58:12, 6 steps",
    board={"state": "DISARMED"},
    clock={
        "seconds": 3491.2,
        "running": True,
        "caption": "Long misfire wait, left",
        "note": "of 60:00, from key out",
    },
    circuit={"key_in": False},
    stop_in=True,
    approach={
        "reason": "Motor may still light",
        "left_s": 3491.2,
        "wait": "ignition seen",
        "lines": ["Igniter fired, motor did not", "Dead circuit is not enough"],
    },
    pressure={
        "pa": 0.0,
        "word": "OK",
        "percent_of_trip": 0.0,
        "max_pa": 0.0,
        "channels": {"p1": 0.0, "p2": 0.0},
    },
    thrust={"n": 2.0, "max_n": 4.0, "compare": "no rise after GO"},
    power={"word": "mains · 96 %"},
    alarms=[
        {
            "rank": "HIGH",
            "what": "MISFIRE: current, then open.",
            "do": "Nobody moves: the motor may still light.",
            "since": "T+3.00 s",
            "answered_by": "09:03:30 AL",
        }
    ],
    events=[
        {"t": "09:03:41", "text": "Key out, wait 60:00 started"},
        {"t": "T+3.00 s", "text": "Not lit within 3 s: MISFIRE"},
        {"t": "T+0.22 s", "text": "Line open after 2.41 A"},
    ],
    refusal={
        "t": "09:04:40",
        "text": "Release refused: wait not over, line still plugged, not shorted.",
    },
    release=[{**row, "done": number < 2} for number, row in enumerate(RELEASE)],
    checklist={
        "frame": frame(
            "Line unplugged at the control point", "R. Voss", by=["K. Mori"], id="Line unplugged"
        )
    },
    keys={"enter": "Sign as RV"},
)
MISFIRE["release"][2]["id"] = "Line unplugged"
WAIT = with_(
    BURN,
    utc="2026-09-14T09:06:31Z",
    phase="WAIT",
    now="Stay: the wait runs",
    next="INSPECT, after release",
    not_yet="Release: 8:12, 6 steps",
    board={"state": "DISARMED"},
    clock={
        "kind": "wait",
        "sign": "",
        "seconds": 491.3,
        "running": True,
        "caption": "Approach wait, left",
        "note": "of 10:00, from key out",
        "form": "min:s",
    },
    circuit={"key_in": False},
    stop_in=True,
    approach={
        "reason": "Motor has burned",
        "left_s": 491.3,
        "wait": "normal",
        "lines": ["Pressure proven vented", "Dead circuit is not enough"],
    },
    pressure={
        "pa": 0.0,
        "percent_of_trip": 0.1,
        "max_pa": 3.91e6,
        "channels": {"p1": 0.0, "p2": 800.0},
    },
    thrust={"n": 1.0, "max_n": 2402.0, "compare": "zero after burn"},
    release=[{**row, "done": number < 2} for number, row in enumerate(RELEASE)],
    checklist={"frame": MISFIRE["checklist"]["frame"]},
    keys={
        "space_note": "siren, outputs, latch closed",
        "fire": "off",
        "hold": "no effect",
        "enter": "Sign as RV",
    },
)
WAIT["release"][2]["id"] = "Line unplugged"
HOLD = with_(
    COUNT,
    utc="2026-09-14T11:31:15Z",
    run_id="R-0043",
    casing="C-018, firing 2",
    nozzle="N-06, 21.45 mm",
    setup_id="51260874",
    phase="HOLD",
    now="Count stands, hands off",
    next="COUNTDOWN, two sign",
    not_yet="SAFE, when arming ends",
    clock={
        "seconds": 17.4,
        "running": False,
        "caption": "Count, standing",
        "note": "armed, 96 s left, runs on",
    },
    circuit={"armed_left_s": 96.0},
    approach={"since": "11:20"},
    conditions=[
        {**row, "holds": False, "text": "2:33 old"} if row["name"] == "Range clear" else row
        for row in CONDITIONS
    ],
    checklist={
        "frame": frame(
            "Range clear 2:33 old, limit 2:00", "R. Voss", id="range clear", say="Ask every post"
        )
    },
    alarms=[
        {
            "rank": "HIGH",
            "what": "HOLD: range clear 2:33 old, limit 2:00.",
            "do": "R. Voss asks every post, then signs.",
            "since": "11:30:42",
            "answered_by": None,
        }
    ],
    events=[
        {"t": "11:30:42", "text": "HOLD at T-18, range clear old"},
        {"t": "11:30:00", "text": "Count started, 1:00"},
        {"t": "11:29:51", "text": "ARMED, both groups typed"},
    ],
    refusal={"t": "11:31:02", "text": "Resume refused: range clear is 2:20 old, limit 2:00."},
    keys={"fire": "off", "hold": "no effect", "enter": "Sign as RV"},
)
REVIEW = with_(
    WAIT,
    mode="REHEARSAL",
    utc="2026-09-14T18:41:12Z",
    run_id="H-0007",
    casing="C-017",
    nozzle="N-05",
    setup_id="90000042",
    phase="INSPECT",
    now="Review of H-0007, closed",
    next="SAFE, when all have signed",
    not_yet="ARM: run still open",
    clock={
        "kind": "inspect",
        "sign": "T+",
        "seconds": 1102.0,
        "caption": "Since GO",
        "note": "wait 10:00 kept",
    },
    approach={"word": "OPEN", "reason": "Released by R. Voss", "since": "18:39", "left_s": None},
    pressure={"max_pa": 3.91e6},
    thrust={"max_n": 2402.0, "compare": "inside expected band"},
    link={"age_ms": 4.0},
    recorder={"word": "stopped", "disk_min": 205.0},
    release=[],
    results={
        "figures": [
            {"name": "Peak pressure", "text": "3.91 ± 0.10 MPa", "definition": "PP1"},
            {"name": "Peak thrust", "text": "2 402 ± 25 N", "definition": "PF1"},
            {"name": "Lit after GO", "text": "0.14 ± 0.01 s", "definition": "LD1"},
            {"name": "Burn time", "text": "3.22 ± 0.02 s", "definition": "BT1"},
            {"name": "Action time", "text": "3.48 ± 0.03 s", "definition": "AT1"},
            {"name": "Impulse", "text": "6 180 ± 70 N·s", "definition": "IT1"},
            {"name": "Specific impulse", "text": "199 ± 3 s", "definition": "IS1"},
            {"name": "Peak of trip", "text": "82 ± 2 %", "definition": "MT1"},
            {"name": "Samples lost", "text": "0, counted", "definition": "SL1"},
        ]
    },
    events=[
        {"t": "18:40:55", "text": "Run copied, 2 media, hash equal"},
        {"t": "18:39:10", "text": "Approach opened, in rehearsal"},
        {"t": "18:37:54", "text": "Wait over, proven vented"},
    ],
    refusal={
        "t": "18:38:02",
        "text": "Release refused: line not shown as shorted at the control point.",
    },
    checklist={"frame": frame("Read the results, sign the run", "A. Lind", id="sign run")},
    keys={"space": "SAFE", "space_note": "line off, disarm, always works", "enter": "Sign as AL"},
)
DRY = with_(
    COUNT,
    mode="DRY",
    utc="2026-09-14T07:46:58Z",
    run_id="D-0012",
    casing="none",
    nozzle="none",
    setup_id="33085521",
    now="Keep F and J down",
    next="GO into the dummy load",
    not_yet="Let go: HOLD, line stays off",
    clock={"seconds": 1.4, "caption": "Dry count", "note": "armed, 113 s left"},
    circuit={"continuity_ohm": 1.5, "armed_left_s": 113.0},
    approach={
        "reason": "Dry count, no motor here",
        "since": "07:38",
        "lines": ["R. Voss and A. Lind", "Opens: key out, two names"],
    },
    thrust={"compare": "no motor on the stand"},
    conditions=[
        {"name": "Dummy in window", "holds": True, "text": "1.50 Ω"},
        {"name": "No igniter seen", "holds": True, "text": "board"},
        *CONDITIONS[:1],
        *CONDITIONS[5:8],
        *CONDITIONS[:3],
    ],
    refusal={"t": "07:44:12", "text": "ARM refused: 1.50 Ω is the dummy, the set-up says FIRE."},
    events=[
        {"t": "T-2.6 s", "text": "F and J down"},
        {"t": "07:46:00", "text": "Dry count started, 1:00"},
        {"t": "07:45:51", "text": "ARMED, both groups typed"},
    ],
    keys={"fire": "held"},
)
HELD_KEYS = Local(f_down=True, j_down=True, gripped=True)

SCENES = {
    scene.name: scene
    for scene in (
        Scene(name="1-preparation", status=BASE, causes=2),
        Scene(
            name="1-preparation-code",
            status=BASE,
            local=Local(prompt="Code of R. Voss", shown="●●○○"),
            causes=2,
        ),
        Scene(
            name="1-planned-clock",
            status=with_(
                BASE,
                clock={
                    "seconds": 432.0,
                    "running": True,
                    "caption": "Planned clock",
                    "note": "stops at T−1:00",
                },
                mode="REHEARSAL",
            ),
            causes=1,
        ),
        Scene(name="8-arm", status=ARM, causes=1),
        Scene(
            name="8-arm-asked",
            status=with_(ARM, arming={"state": "asked", "echo": [], "setup_id": None, "typed": ""}),
            causes=0,
        ),
        Scene(name="2-count-armed", status=COUNT, burnt_s=-1.0, causes=1),
        Scene(
            name="2-count-held",
            status=with_(
                COUNT, clock={"seconds": 1.9}, keys={"fire": "held"}, now="Keep F and J down"
            ),
            local=HELD_KEYS,
            burnt_s=-1.0,
            causes=2,
        ),
        Scene(name="9-hold", status=HOLD, burnt_s=-1.0, causes=4),
        Scene(
            name="9-hold-late",
            status=with_(
                HOLD,
                clock={"seconds": 6.2},
                checklist={
                    "frame": frame("Only a new count: back to T−60 s", "A. Lind", id="recycle")
                },
            ),
            burnt_s=-1.0,
            causes=4,
        ),
        Scene(name="3-fire", status=FIRE, local=HELD_KEYS, burnt_s=0.12, causes=2),
        Scene(name="4-burn", status=BURN, burnt_s=2.57, causes=0),
        Scene(name="4-burn-near-trip", status=NEAR, burnt_s=2.57, scale=1.12, causes=2),
        Scene(name="5-abort-wait", status=ABORT, burnt_s=6.0, scale=1.2, causes=5),
        Scene(
            name="5-abort-open-alarm",
            status=with_(
                ABORT,
                alarms=[{**ABORT["alarms"][1], "answered_by": None}],
                pressure={
                    "word": "OVER",
                    "pa": 4.83e6,
                    "percent_of_trip": 101.0,
                    "channels": {"p1": 4.83e6, "p2": 4.8e6},
                },
                thrust={"n": 2790.0, "compare": "16 % above expected"},
            ),
            local=Local(on_alarm=True),
            burnt_s=2.9,
            scale=1.2,
            causes=5,
        ),
        Scene(name="10-misfire", status=MISFIRE, burnt_s=-2.0, causes=3),
        Scene(name="10-wait", status=WAIT, burnt_s=8.0, causes=1),
        Scene(name="6-rehearsal-review", status=REVIEW, burnt_s=8.0, causes=1),
        Scene(name="11-dry-count", status=DRY, local=HELD_KEYS, burnt_s=-1.0, causes=2),
        Scene(name="7-stale", status=COUNT, age_s=0.62, burnt_s=-1.0, causes=3),
        Scene(name="7-stale-open", status=BASE, age_s=1.7, causes=3),
        Scene(name="7-grey", status=BURN, age_s=0.3, burnt_s=2.57, causes=0),
        Scene(name="7-no-engine", status={}, causes=3),
        Scene(
            name="7-link-lost",
            status=with_(
                WAIT,
                circuit={"word": "UNKNOWN"},
                link={"word": "lost", "age_ms": 4200.0},
                board={"agrees": False},
                alarms=[
                    {
                        "rank": "HIGH",
                        "what": "Link to the board lost.",
                        "do": "Key out. Stay back, look at the cable.",
                        "since": "09:06:27",
                        "answered_by": None,
                    }
                ],
            ),
            burnt_s=3.0,
            causes=4,
        ),
    )
}
