"""The key caps: what each key does now, or that it does nothing."""

from typing import Final, Literal

from daq.console.moment import Moment
from daq.console.view import Cap, KeysCell
from daq.console.wording import MINUS, initials

FIRE_LABEL: Final = {
    "off": ("Fire control", "no effect"),
    "hold down": ("Press both", "keep down"),
    "held": ("Held", "both"),
    "may let go": ("Let go now", "no effect"),
}
HOLD_LABEL: Final = {"HOLD now": ("HOLD", "now"), "Mark, noted": ("Mark", "noted")}


def keys(now: Moment) -> KeysCell:
    s, local = now.status, now.local
    fire = s.text("keys", "fire") or "off"
    is_down = (local.f_down, local.j_down)
    label, look = fire_cap(fire.replace("-", MINUS), now.stale)
    if local.watching:
        label, look = ("Watching", "only"), "off"
    caps = [Cap(label=label, look=look, foot=down) for down in is_down]
    hold_label = HOLD_LABEL.get(s.text("keys", "hold"), ("Hold", "no effect"))
    can_hold = hold_label != ("Hold", "no effect") and not now.stale
    return KeysCell(
        fire_f=caps[0],
        fire_j=caps[1],
        hold=Cap(
            label=hold_label if can_hold else ("Hold", "no effect"),
            look="ready" if can_hold else "off",
        ),
        enter=enter_cap(now),
        space=s.text("keys", "space") or "ABORT",
        space_note="sent again with the next link" if now.stale else s.text("keys", "space_note"),
    )


def fire_cap(fire: str, stale: bool) -> tuple[tuple[str, str], Literal["off", "ready", "act"]]:
    if stale:
        return ("Let go", "now"), "ready"
    if fire.startswith("from"):
        return ("from", fire.removeprefix("from").strip()), "ready"
    is_act = fire in {"held", "hold down"}
    return FIRE_LABEL.get(fire, FIRE_LABEL["off"]), "act" if is_act else "off"


def enter_cap(now: Moment) -> Cap:
    if now.local.watching:
        return Cap(label=("Watching", "only"), look="off")
    if now.local.on_alarm and not now.stale:
        return Cap(label=("Answer", "alarm"), look="act")
    label = now.status.text("keys", "enter")
    if now.stale or not label:
        waits = now.phase == "ARM" and not now.stale
        return Cap(
            label=("After the", "8th digit") if waits else ("Confirm", "no effect"), look="off"
        )
    return Cap(label=two_lines(label), look="act")


def two_lines(label: str) -> tuple[str, str]:
    """`Sign as RV` -> (`Sign`, `as RV`); a full name becomes its initials."""
    first, _, rest = label.replace("two names", "2 names").replace(",", "").partition(" ")
    if rest.startswith("as ") and len(rest) > 7:
        rest = f"as {initials(rest[3:])}"
    return first, rest
