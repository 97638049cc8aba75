"""The figures of a burn, each by its definition in `daq.runs.figures`."""

from dataclasses import dataclass, replace
from math import hypot, sqrt
from typing import Final

from daq.runs.action import RULE, Action
from daq.runs.crossing import Crossing
from daq.runs.figures import Bound, Figure, missing
from daq.runs.impulse import Area, area
from daq.runs.span import Seen, Span
from daq.runs.trace import Gap
from daq.units import G0_M_S2

IN_GAP: Final = "a 10 % point lies in a gap"
UNENDED: Final = "its samples end before the burn was over"


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """What is known beside the traces; every value may be missing. SI; times on the traces' zero.

    `t0_s` sensed line current; `lit_s` and `out_s` what the engine saw live (hints for the search
    where there is no T-0); `propellant_kg` charged; `u_` are expanded (k = 2).
    """

    t0_s: float | None = None
    u_t0_s: float = 0.0
    lit_s: float | None = None
    seen: Seen | None = None
    trip_pa: float | None = None
    expected_pa: float | None = None
    expected_thrust_n: float | None = None
    propellant_kg: float | None = None
    u_propellant_kg: float = 0.0
    c_f: float | None = None
    throat_m2: float | None = None


def all_figures(
    force: Action | None,
    chamber: Action | None,
    span: Span,
    context: Context,
    *,
    times_by_thrust: bool = False,
) -> dict[str, Figure]:
    """Every figure; times by pressure where its channel saw the whole burn, else by thrust."""
    whole = chamber is not None and chamber.begin is not None and not _stops(chamber, span)
    lead, mark = (chamber, "") if (whole and not times_by_thrust) or force is None else (force, "F")
    figures = no_figures("")
    figures |= _times(lead, mark, context)
    figures["peak_pressure_pa"] = _peak(chamber, span, "Pa", "PP1", "pressure")
    figures["peak_thrust_n"] = _peak(force, span, "N", "PF1", "thrust")
    figures["average_pressure_pa"] = _average(chamber, span, "Pa", "PA1", "pressure")
    figures["average_thrust_n"] = _average(force, span, "N", "FA1", "thrust")
    total = _impulse(force, _start(force, span), span.end_s, "IT1")
    if force is not None and (_stops(force, span) or not span.closed):
        total = replace(total, bound="lower", note=_join(total.note, UNENDED))
    figures["total_impulse_n_s"] = total
    figures["action_impulse_n_s"] = _action_impulse(force)
    figures["specific_impulse_s"] = _specific(total, context)
    figures["margin_used_percent"] = _margin(figures["peak_pressure_pa"], context)
    return figures


def _start(force: Action | None, span: Span) -> float:
    """A little before the rise, but not before a gap that ended earlier."""
    ends = [gap.end_s for gap in force.trace.gaps() if gap.end_s <= span.begin_s] if force else []
    return max([span.begin_s - 0.1, *ends])


def no_figures(why: str) -> dict[str, Figure]:
    return {
        "ignition_delay_s": missing("s", "LD1", why),
        "burn_time_s": missing("s", "BT1", why),
        "action_time_s": missing("s", "AT1", why),
        "peak_pressure_pa": missing("Pa", "PP1", why),
        "average_pressure_pa": missing("Pa", "PA1", why),
        "peak_thrust_n": missing("N", "PF1", why),
        "average_thrust_n": missing("N", "FA1", why),
        "total_impulse_n_s": missing("N*s", "IT1", why),
        "action_impulse_n_s": missing("N*s", "IA1", why),
        "specific_impulse_s": missing("s", "IS1", why),
        "margin_used_percent": missing("%", "MT1", why),
    }


def _times(lead: Action | None, mark: str, context: Context) -> dict[str, Figure]:
    begin = lead.begin if lead else None
    if lead is None or begin is None:
        why = "the rise through 10 % of the peak was not seen"
        return {
            "ignition_delay_s": missing("s", "LD1" + mark, why),
            "burn_time_s": missing("s", "BT1" + mark, why),
            "action_time_s": missing("s", "AT1" + mark, why),
        }
    unsensed = missing("s", "LD1" + mark, "T-0 (line current) was not sensed")
    times = {"ignition_delay_s": unsensed}
    if context.t0_s is not None:
        u = hypot(begin.u_s, context.u_t0_s, lead.trace.lag_s)
        times["ignition_delay_s"] = _time(begin.t_s - context.t0_s, u, "LD1" + mark, begin)
    if lead.web_s is None:
        why = "no knee could be constructed before the end of the action time"
        times["burn_time_s"] = missing("s", "BT1" + mark, why)
    else:
        u = hypot(begin.u_s, lead.u_web_s)
        times["burn_time_s"] = _time(lead.web_s - begin.t_s, u, "BT1" + mark, begin)
    if lead.end is None:
        why = "the fall through 10 % of the peak was not seen"
        times["action_time_s"] = missing("s", "AT1" + mark, why)
    else:
        u = _u_between(begin, lead.end)
        action = lead.end.t_s - begin.t_s
        times["action_time_s"] = _time(action, u, "AT1" + mark, begin, lead.end)
    return times


def _u_between(begin: Crossing, end: Crossing) -> float:
    """A level too high comes late on the rise and early on the fall: that part adds up whole."""
    return sqrt(begin.u_s**2 + end.u_s**2 + 2.0 * begin.u_level_s * end.u_level_s)


def _time(value: float, u: float, definition: str, *ends: Crossing) -> Figure:
    if not any(end.in_gap for end in ends):
        return Figure(value=value, unit="s", u=u, definition=definition)
    return Figure(
        value=value,
        unit="s",
        u=u,
        definition=definition,
        note="an end of it lies in a gap: the middle of the gap is taken",
        bound="between",
    )


def _peak(action: Action | None, span: Span, unit: str, definition: str, what: str) -> Figure:
    if action is None:
        return missing(unit, definition, f"no {what} channel showed the burn")
    saturated = action.trace.is_saturated()
    note = "channel at its upper rail" if saturated else ""
    holes = [gap for gap in action.trace.gaps() if _inside(gap, action, span)]
    if holes and not saturated:
        note = f"{sum(h.seconds for h in holes):.3g} s of samples are missing in the burn"
    if _stops(action, span):
        note = _join(note, f"its samples end at {action.trace.t_s[-1]:.3f} s")
    return Figure(
        value=action.peak,
        unit=unit,
        u=action.u_peak,
        definition=definition,
        note=note,
        bound="lower" if note else None,
    )


def _inside(gap: Gap, action: Action, span: Span) -> bool:
    begin = action.begin.t_s if action.begin else span.begin_s
    end = action.end.t_s if action.end else span.quiet_from_s
    return gap.end_s > begin and gap.begin_s < end


def _stops(action: Action, span: Span) -> bool:
    """The channel ends before the burn does."""
    return bool(action.trace.t_s[-1] < span.quiet_from_s - 2.0 * action.trace.step_s)


def with_note(figure: Figure, note: str, bound: Bound | None = None) -> Figure:
    """The same figure with a remark more."""
    if figure.value is None:
        return figure
    return replace(figure, note=_join(figure.note, note), bound=figure.bound or bound)


def _join(*notes: str) -> str:
    return "; ".join(note for note in notes if note)


def _area_figure(found: Area, definition: str, saturated: bool) -> Figure:
    note = "channel at its upper rail" if saturated else ""
    if found.gap_s:
        bounds = f"{found.gap_s:.3g} s are missing: between {found.low:.5g} and {found.high:.5g}"
        note = _join(note, bounds)
    bound: Bound | None = "lower" if saturated else ("between" if found.gap_s else None)
    return Figure(
        value=found.value,
        unit="N*s",
        u=found.u,
        definition=definition,
        note=note,
        bound=bound,
    )


def _impulse(force: Action | None, begin_s: float, end_s: float, definition: str) -> Figure:
    if force is None:
        return missing("N*s", definition, "no thrust channel showed the burn")
    found = area(force.trace, begin_s, end_s, force.errors)
    return _area_figure(found, definition, force.trace.is_saturated())


def _action_impulse(force: Action | None) -> Figure:
    if force is None or force.begin is None or force.end is None:
        return missing("N*s", "IA1", "the 10 % points of thrust were not both seen")
    if force.begin.in_gap or force.end.in_gap:
        return missing("N*s", "IA1", IN_GAP)
    return _impulse(force, force.begin.t_s, force.end.t_s, "IA1")


def _average(action: Action | None, span: Span, unit: str, definition: str, what: str) -> Figure:
    if action is None or action.begin is None or action.end is None:
        return missing(unit, definition, f"the 10 % points of {what} were not both seen")
    if action.begin.in_gap or action.end.in_gap:
        return missing(unit, definition, IN_GAP)
    if _stops(action, span):
        return missing(unit, definition, f"its samples end at {action.trace.t_s[-1]:.3f} s")
    seconds = action.end.t_s - action.begin.t_s
    found = area(action.trace, action.begin.t_s, action.end.t_s, action.errors)
    mean = found.value / seconds
    ends = _u_between(action.begin, action.end)
    u = hypot(found.u / seconds, (mean - RULE * action.peak) * ends / seconds)
    figure = _area_figure(found, definition, action.trace.is_saturated())
    note = f"{found.gap_s:.3g} s are missing" if found.gap_s else figure.note
    return Figure(value=mean, unit=unit, u=u, definition=definition, note=note, bound=figure.bound)


def _specific(total: Figure, context: Context) -> Figure:
    if total.value is None or total.u is None:
        return missing("s", "IS1", total.note)
    if not context.propellant_kg:
        return missing("s", "IS1", "the mass of propellant charged is not in the record")
    value = total.value / (context.propellant_kg * G0_M_S2)
    relative = hypot(total.u / total.value, context.u_propellant_kg / context.propellant_kg)
    return Figure(
        value=value,
        unit="s",
        u=abs(value) * relative,
        definition="IS1",
        note=total.note,
        bound=total.bound,
    )


def _margin(peak: Figure, context: Context) -> Figure:
    if peak.value is None or peak.u is None:
        return missing("%", "MT1", peak.note)
    if not context.trip_pa:
        return missing("%", "MT1", "no trip was set")
    scale = 100.0 / context.trip_pa
    return Figure(
        value=peak.value * scale,
        unit="%",
        u=peak.u * scale,
        definition="MT1",
        note=peak.note,
        bound=peak.bound,
    )
