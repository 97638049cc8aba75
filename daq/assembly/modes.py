"""One way to fail and all of them together: what a rating consists of."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Mode:
    """One way to fail: nominal pressure in Pa, what heat and use leave, the factor it must keep."""

    name: str
    formula: str
    nominal_pa: float
    k_t: float
    k_n: float
    factor: float
    rupture: bool = True

    @property
    def pressure_pa(self) -> float:
        """p_i: where this mode fails now."""
        return self.nominal_pa * self.k_t * self.k_n

    @property
    def allowed_pa(self) -> float:
        """p_i / n_i."""
        return self.pressure_pa / self.factor


@dataclass(frozen=True, slots=True, kw_only=True)
class Rating:
    """All modes of one casing; `refusals` forbid its use, `warnings` are shown with it."""

    casing: str
    firings_seen: int
    proof_tested: bool
    modes: tuple[Mode, ...]
    refusals: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def burst_mode(self) -> Mode:
        return min((mode for mode in self.modes if mode.rupture), key=lambda mode: mode.pressure_pa)

    @property
    def allowable_mode(self) -> Mode:
        return min(self.modes, key=lambda mode: mode.allowed_pa)

    @property
    def rated_burst_pa(self) -> float:
        return self.burst_mode.pressure_pa

    @property
    def allowable_pa(self) -> float:
        """The highest pressure the casing may carry (MAWP)."""
        return self.allowable_mode.allowed_pa

    def first_to_go(self) -> tuple[Mode, float]:
        """The rupture mode that gives way first and its share of the hoop burst (practice 5.13)."""
        hoop = next(mode for mode in self.modes if mode.name == "hoop burst")
        first = self.burst_mode
        return first, first.pressure_pa / hoop.pressure_pa if hoop.pressure_pa else 0.0
