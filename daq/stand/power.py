"""Mains, battery and free space, as the platform tells them; a machine that tells nothing says so."""

import shutil
from dataclasses import dataclass
from pathlib import Path

SUPPLIES = Path("/sys/class/power_supply")


@dataclass(frozen=True, slots=True, kw_only=True)
class Power:
    """`percent` and `mains` are None where this machine does not tell."""

    percent: int | None
    mains: bool | None

    @property
    def is_enough(self) -> bool:
        """At least 25 % (design.md, condition table); an unknown battery is the crew's to judge."""
        return self.mains is True or self.percent is None or self.percent >= 25

    @property
    def text(self) -> str:
        if self.percent is None:
            return "mains" if self.mains else "no battery seen"
        return f"{'mains' if self.mains else 'battery'} · {self.percent} %"


def read_power(folder: Path = SUPPLIES) -> Power:
    """Read the supplies that Linux lists; other systems answer "unknown"."""
    percent: int | None = None
    mains: bool | None = None
    for supply in sorted(folder.glob("*")) if folder.is_dir() else []:
        try:
            if (supply / "capacity").exists():
                percent = int((supply / "capacity").read_text(encoding="ascii"))
            if (supply / "online").exists():
                mains = (
                    bool(mains) or (supply / "online").read_text(encoding="ascii").strip() == "1"
                )
        except (OSError, ValueError):
            continue
    return Power(percent=percent, mains=mains)


def free_bytes(folder: Path) -> int:
    """Free space of the disk that holds `folder`, 0 if it cannot be read."""
    try:
        return shutil.disk_usage(folder).free
    except OSError:
        return 0
