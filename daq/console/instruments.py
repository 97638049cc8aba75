"""The circuit lane's lower cell: board and engine words side by side, interlocks, link, recorder.

What a stale or blind console cannot know reads "was ...". One red row (Screen) tells of staleness,
not ten yellow ones.
"""

from daq.console.moment import Moment
from daq.console.view import HealthCell, HealthRow
from daq.console.wording import NONE, age


def health(now: Moment) -> HealthCell:
    s = now.status
    hidden = "?" if now.stale else None
    return HealthCell(
        board="?" if now.blind else s.text("board", "state") or "?",
        engine=hidden or now.phase or "?",
        differ=not now.stale and s.flag("board", "agrees") is False,
        rows=(
            *board_rows(now),
            link_row(now),
            recorder_row(now),
            HealthRow(label="Disk", value=was(now.stale, disk_text(now))),
            power_row(now),
            screen_row(now),
        ),
    )


def was(unknown: bool, text: str) -> str:
    return f"was {text}" if unknown and text != NONE else text


def board_rows(now: Moment) -> tuple[HealthRow, ...]:
    s = now.status
    words = {True: "IN", False: "OUT", None: NONE}
    return (
        HealthRow(label="Key", value=was(now.blind, words[s.flag("circuit", "key_in")])),
        HealthRow(label="Stop", value=was(now.blind, words[s.flag("stop_in")])),
        HealthRow(label="Continuity", value=was(now.blind, continuity(now))),
    )


def continuity(now: Moment) -> str:
    if not now.status.has("circuit"):
        return NONE
    ohm = now.status.number("circuit", "continuity_ohm")
    if ohm is None:
        return "open, fired" if now.phase in {"BURNING", "WAIT", "INSPECT"} else "open"
    return f"dummy {ohm:.2f} Ω" if now.mode == "DRY" else f"{ohm:.2f} Ω"


def link_row(now: Moment) -> HealthRow:
    s = now.status
    old = s.number("link", "age_ms")
    shown = NONE if old is None else age(old / 1e3) if old >= 1000 else f"{old:.0f} ms"
    if now.stale:
        return HealthRow(label="Link", value=was(True, shown))
    if s.text("link", "word") == "lost":
        return HealthRow(label="Link", value=f"lost, {shown}", fill="yellow")
    bad = s.number("link", "bad") or 0
    return HealthRow(label="Link", value=f"{shown} · {bad:.0f} bad")


def recorder_row(now: Moment) -> HealthRow:
    s = now.status
    word, old = s.text("recorder", "word") or NONE, s.number("recorder", "synced_ms_ago")
    if now.stale:
        below = NONE if old is None else f"last safe {age(old / 1e3 + now.age_s)} ago"
        return HealthRow(label="Recorder", value="not known", below=below)
    shown = NONE if old is None else f"{old:.0f} ms" if old < 1000 else age(old / 1e3)
    fill = "" if word in {"running", "stopped", NONE} else "yellow"
    return HealthRow(label="Recorder", value=word, below=f"safe to disk {shown} ago", fill=fill)


def disk_text(now: Moment) -> str:
    left = now.status.number("recorder", "disk_min")
    if left is None:
        return NONE
    return f"{left:.0f} min left" if left < 6000 else f"{left / 60:.0f} h left"


def power_row(now: Moment) -> HealthRow:
    word = now.status.text("power", "word") or NONE
    is_odd = "on battery" in word and not now.stale
    return HealthRow(label="Power", value=word, fill="yellow" if is_odd else "")


def screen_row(now: Moment) -> HealthRow:
    if not now.seen:
        return HealthRow(label="Screen", value="no status", fill="red")
    if now.stale:
        return HealthRow(label="Screen", value=f"{now.age_text} old", fill="red")
    return HealthRow(label="Screen", value=f"{now.age_s * 1e3:.0f} ms old")
