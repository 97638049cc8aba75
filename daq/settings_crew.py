"""`crew.toml`: who is here, in which role, with which four-digit code.

The range safety officer (RSO) owns people, distances and waits and is never the test conductor
(TC), not even in a crew of two (practice 1.1, 1.2). A code says who signs; it is no secret lock.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from daq.settings_table import Fault, Text

Role = Literal["RSO", "TC", "PAD", "DATA", "LOOKOUT"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    name: Text
    roles: tuple[Role, ...]
    code: str

    def faults(self) -> Iterator[Fault]:
        if len(self.code) != 4 or not (self.code.isascii() and self.code.isdigit()):
            yield Fault("code", f"four digits for {self.name}", f"{len(self.code)} characters")
        if not self.roles:
            yield Fault("roles", f"at least one role for {self.name}", "none")
        if "RSO" in self.roles and "TC" in self.roles:
            yield Fault("roles", "RSO and TC to be two people", f"{self.name} in both")


@dataclass(frozen=True, slots=True, kw_only=True)
class Crew:
    people: tuple[Person, ...]

    def named(self, name: str) -> Person | None:
        return next((person for person in self.people if person.name == name), None)

    def with_role(self, role: Role) -> tuple[Person, ...]:
        return tuple(person for person in self.people if role in person.roles)

    def faults(self) -> Iterator[Fault]:
        names = [person.name for person in self.people]
        if len({name.casefold() for name in names}) < len(names):
            yield Fault("people", "another name for everybody", ", ".join(names))
        codes = [person.code for person in self.people]
        if len(set(codes)) < len(codes):
            yield Fault("people", "another code for everybody", "the same code twice")
        for role in ("RSO", "TC"):
            holders = [person.name for person in self.people if role in person.roles]
            if len(holders) != 1:
                yield Fault("people", f"exactly one {role}", ", ".join(holders) or "nobody")
        if not any("PAD" in person.roles for person in self.people):
            yield Fault("people", "somebody in the role PAD", "nobody")
