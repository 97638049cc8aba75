"""What a console or a crew member may ask: one JSON object a line, at most 4 KiB.

`WISHES.md` is the page for people who write a client; this module is its table. Nothing is
unpickled, nothing unknown is obeyed, and a wish that is too old is refused by age: every wish but
SAFE, ABORT, hold and hello carries `seen`, the number of the newest status its sender had.
"""

import json
from dataclasses import dataclass, field
from typing import Any, Final

MOST_BYTES: Final = 4096
MOST_AGE_S: Final = 0.300

# wish -> fields it may carry, each with the types it may have
FIELDS: Final[dict[str, dict[str, tuple[type, ...]]]] = {
    "hello": {"who": (str,), "control": (bool,)},
    "beat": {"painted_n": (int,), "grip": (bool,)},
    "safe": {},
    "abort": {},
    "hold": {"digit": (int,), "by": (str,)},
    "mark": {"text": (str,)},
    "enter": {
        "line": (str,),
        "by": (str,),
        "code": (str,),
        "values": (dict,),
        "vouched_by": (str,),
    },
    "digits": {"text": (str,), "by": (str,), "code": (str,)},
    "resume": {"by": (list,), "codes": (list,)},
    "recycle": {"to_s": (int, float), "by": (str,)},
    "scrub": {"by": (str,)},
    "answer": {"by": (str,)},
    "report": {"what": (str,), "by": (str,)},
    "step": {"seconds": (int, float)},
    "end": {},
}
ALWAYS: Final = frozenset({"hello", "safe", "abort", "hold"})
ANYBODY: Final = frozenset({"hello", "safe", "abort", "hold", "report"})
"""Wishes that need no control token: a second console may look, stop and hold, never advance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """One wish that has passed the table; `client` is the number of the socket it came by."""

    kind: str
    client: int
    data: dict[str, Any] = field(default_factory=dict)

    def text(self, name: str) -> str:
        return str(self.data.get(name, ""))

    def number(self, name: str) -> int:
        return int(self.data.get(name, -1))

    @property
    def needs_age(self) -> bool:
        return self.kind not in ALWAYS


@dataclass(frozen=True, slots=True, kw_only=True)
class BadWish:
    """Why a line was not taken; the sentence goes back to its sender."""

    client: int
    text: str


def read_wish(line: bytes, client: int) -> Wish | BadWish:
    """Check one line against the table; never raises."""
    if len(line) > MOST_BYTES:
        return BadWish(
            client=client, text=f"wish: expected at most {MOST_BYTES} bytes, got {len(line)}"
        )
    try:
        data = json.loads(line.decode("utf-8"))
    except (ValueError, RecursionError):
        return BadWish(
            client=client, text="wish: expected one JSON object on the line, got something else"
        )
    if not isinstance(data, dict) or not isinstance(data.get("wish"), str):
        return BadWish(client=client, text='wish: expected {"wish": NAME, ...}')
    kind = data.pop("wish")
    if kind not in FIELDS:
        return BadWish(client=client, text=f"wish: {kind[:40]!r} is not known here")
    fault = field_fault(kind, data)
    return (
        BadWish(client=client, text=fault) if fault else Wish(kind=kind, client=client, data=data)
    )


def field_fault(kind: str, data: dict[str, Any]) -> str:
    """A sentence about the first field that does not fit, "" if all do."""
    allowed = {"seen": (int,), **FIELDS[kind]}
    for name, value in data.items():
        if name not in allowed:
            return f"wish {kind}: field {name[:40]!r} is not known"
        if type(value) not in allowed[name]:
            return f"wish {kind}: field {name} expected {allowed[name][0].__name__}, got {type(value).__name__}"
        if (
            name in ("by", "codes")
            and isinstance(value, list)
            and not all(isinstance(item, str) for item in value)
        ):
            return f"wish {kind}: field {name} expected a list of texts"
    if kind not in ALWAYS and "seen" not in data:
        return f"wish {kind}: field seen is missing (number of the newest status)"
    return ""
