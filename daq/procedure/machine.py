"""A procedure that runs: `transitions` on a short leash, built from a literal table.

No automatic transitions (there is no `to_FIRE`), no queue, no callback at all: a step returns what
happened and the caller acts on it. The phase can be read and not set. Deadlines live in the
engine's own tick, never in here.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Generic, TypeVar

from transitions import Machine

from daq.procedure.fire import REFUSED, STEPS
from daq.procedure.phases import Event, Phase, Refusal

P = TypeVar("P", bound=StrEnum)
E = TypeVar("E", bound=StrEnum)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step(Generic[P, E]):
    """An accepted event: where the procedure was and where it is. Equal phases mean: stays."""

    before: P
    event: E
    after: P

    @property
    def moved(self) -> bool:
        return self.before is not self.after


class _Model:
    """What `transitions` hangs its state and its triggers on; nobody else touches it."""

    phase: Any
    trigger: Any


class Procedure(Generic[P, E]):
    """One procedure in one phase. `steps` and `refused` together must hold every pair."""

    def __init__(
        self,
        steps: dict[tuple[P, E], P],
        refused: dict[tuple[P, E], str],
        start: P,
    ) -> None:
        self._phases: type[P] = type(start)
        events = {event for _, event in steps} | {event for _, event in refused}
        for pair in ((phase, event) for phase in self._phases for event in events):
            assert (pair in steps) != (pair in refused), f"{pair}: in one table, and only in one"
        self._refused = refused
        self._model = _Model()
        self._machine = Machine(
            model=self._model,
            states=self._phases,
            initial=start,
            auto_transitions=False,
            queued=False,
            model_attribute="phase",
        )
        for (before, event), after in steps.items():
            self._machine.add_transition(event.value, before, after)

    @property
    def phase(self) -> P:
        return self._phases(self._model.phase)

    def step(self, event: E) -> Step[P, E] | Refusal:
        """Take one event: the step it made, or the sentence that refuses it. Never raises."""
        before = self.phase
        if (before, event) in self._refused:
            return Refusal(text=self._refused[before, event])
        self._model.trigger(event.value)
        return Step(before=before, event=event, after=self.phase)

    def can(self, event: E) -> bool:
        """Whether the event would be accepted in this phase."""
        return (self.phase, event) not in self._refused


def firing(start: Phase = Phase.SAFE) -> Procedure[Phase, Event]:
    """The firing procedure, from SAFE unless a restored test says otherwise."""
    return Procedure(STEPS, REFUSED, start)
