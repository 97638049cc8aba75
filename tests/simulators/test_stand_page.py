"""STAND.md is complete: every order and every kind of fault is on it, and no other."""

import re
from pathlib import Path

import simulators.stand
from simulators.control import ORDERS
from simulators.faults import KINDS, MOMENTS

PAGE = (Path(simulators.stand.__file__).parent / "STAND.md").read_text(encoding="utf-8")


def table_after(heading):
    part = PAGE.split(f"## {heading}\n")[1].split("\n## ")[0]
    return [line.split("|")[1] for line in part.splitlines() if line.startswith("| `")]


def test_every_fault_is_on_the_page_and_no_other():
    told = {name for cell in table_after("Faults") for name in re.findall(r"`(\w+)`", cell)}
    assert told == set(KINDS)


def test_every_order_is_on_the_page_and_no_other():
    told = {
        re.search(r'"do": "(\w+)"', cell).group(1) for cell in table_after("Hands on the stand")
    }
    assert told == {*ORDERS, "end"}


def test_every_moment_is_on_the_page():
    part = PAGE.split("## Faults\n")[1]
    assert all(f"`{moment}`" in part for moment in MOMENTS)
