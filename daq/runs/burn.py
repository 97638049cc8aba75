"""From arrays to figures: what the motor did, by stated definitions, each with its uncertainty.

Rules: raw samples are never edited; a smoothed copy serves constructions only. Zero is taken before
the burn and after it. Gaps bound an integral, saturation makes a lower bound, a pressure channel
that did not follow the thrust gives no figure. Works with thrust only, pressure only, and with no
burn at all (figures None with the reason).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from daq.channels.witness import Q_HIGH, Q_LOW
from daq.runs.action import Action, action_of, ruling
from daq.runs.figures import Figure, missing
from daq.runs.impulse import Errors, area
from daq.runs.quantities import Context, all_figures, no_figures, with_note
from daq.runs.span import Span, find_span
from daq.runs.trace import Gap, Trace

__all__ = ["Burn", "Context", "reduce_burn"]

WITNESS_S: Final = 0.2
SLOW_S: Final = (
    0.010  # nozzle flow follows the chamber within milliseconds; common practice, no source
)
SLOW: Final = "its line or sensor is slow, peaks are blunted"
NO_BURN: Final = "no burn was seen"
BLIND: Final = "the pressure channel did not follow the thrust (BLIND): not to be believed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Burn:
    """Figures by name, marks for the picture (s), and sentences about what was found."""

    figures: dict[str, Figure]
    span: Span | None
    ignition_s: float | None = None
    web_s: float | None = None
    action_end_s: float | None = None
    thrust: Action | None = None
    pressure: Action | None = None
    gaps: tuple[Gap, ...] = ()
    findings: tuple[str, ...] = ()

    @property
    def lit(self) -> bool:
        return self.span is not None


def reduce_burn(
    thrust: Sequence[Trace], pressure: Sequence[Trace], context: Context | None = None
) -> Burn:
    """Reduce one firing. Several channels of a kind: the one with the higher peak rules, both stay."""
    context = context or Context()
    expected = _expected(thrust, pressure, context)
    span = find_span(thrust, pressure, context.t0_s, context.lit_s, expected, context.seen)
    if span is None:
        return Burn(figures=no_figures(NO_BURN), span=None)
    findings: list[str] = []
    force = ruling([action_of(each, span, context.t0_s) for each in thrust], findings)
    chamber = ruling([action_of(each, span, context.t0_s) for each in pressure], findings)
    blind = _witness(force, chamber, context, findings)
    slow = not blind and _is_slow(force, chamber, findings)
    figures = all_figures(force, None if blind else chamber, span, context, times_by_thrust=slow)
    if slow:
        for name in ("peak_pressure_pa", "average_pressure_pa", "margin_used_percent"):
            figures[name] = with_note(figures[name], SLOW, "lower")
    if blind:
        for name in ("peak_pressure_pa", "average_pressure_pa", "margin_used_percent"):
            figures[name] = missing(figures[name].unit, figures[name].definition, BLIND)
        for name in ("peak_thrust_n", "total_impulse_n_s", "specific_impulse_s"):
            figures[name] = with_note(figures[name], "thrust and pressure disagree")
    by_thrust = figures["action_time_s"].definition == "AT1F"
    lead = force if by_thrust else chamber
    return Burn(
        figures=figures,
        span=span,
        ignition_s=lead.begin.t_s if lead and lead.begin else span.begin_s,
        web_s=lead.web_s if lead else None,
        action_end_s=lead.end.t_s if lead and lead.end else None,
        thrust=force,
        pressure=chamber,
        gaps=_gaps(force, chamber, span),
        findings=tuple(findings),
    )


def _expected(
    thrust: Sequence[Trace], pressure: Sequence[Trace], context: Context
) -> dict[str, float | None]:
    known = {each.channel: context.expected_thrust_n for each in thrust}
    return known | {each.channel: context.expected_pa for each in pressure}


def _witness(
    force: Action | None, chamber: Action | None, context: Context, findings: list[str]
) -> bool:
    """True if thrust shows a burn that the pressure channel did not see."""
    if force is None:
        return False
    if chamber is None:
        return False
    if context.c_f is None or context.throat_m2 is None or force.begin is None or force.end is None:
        return False
    errors = Errors(0.0, 0.0, 0.0)
    seconds = force.begin.t_s, min(force.end.t_s, float(chamber.trace.t_s[-1]))
    if seconds[1] - seconds[0] < WITNESS_S:
        return False
    seen = area(chamber.trace, *seconds, errors).value * context.c_f * context.throat_m2
    q = area(force.trace, *seconds, errors).value / seen if seen > 0 else float("inf")
    if q > Q_HIGH:
        findings.append(f"Thrust is {q:.2f} times what the pressure explains: {BLIND}.")
        return True
    if q < Q_LOW:
        findings.append(
            f"Thrust is only {q:.2f} of what the pressure explains: load path or nozzle suspect."
        )
    return False


def _is_slow(force: Action | None, chamber: Action | None, findings: list[str]) -> bool:
    """Pressure that rises clearly after thrust has come through a slow line."""
    if force is None or chamber is None or force.begin is None or chamber.begin is None:
        return False
    late = chamber.begin.t_s - force.begin.t_s
    fair = SLOW_S + chamber.trace.lag_s + chamber.begin.u_s + force.begin.u_s
    if chamber.begin.in_gap or force.begin.in_gap or late <= fair:
        return False
    findings.append(
        f"{chamber.trace.channel} rose {1000 * late:.0f} ms after the thrust: {SLOW}. Times are by thrust."
    )
    return True


def _gaps(force: Action | None, chamber: Action | None, span: Span) -> tuple[Gap, ...]:
    found = {
        gap
        for action in (force, chamber)
        if action is not None
        for gap in action.trace.gaps()
        if gap.end_s > span.begin_s - 1.0 and gap.begin_s < span.end_s
    }
    return tuple(sorted(found))
