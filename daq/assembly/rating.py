"""Every failure mode of a casing, its pressure now, and the factor it must keep.

p_i = p_nominal(lowest material, measured dimensions) x k_T x k_N (firings seen). Rated burst is the
lowest p_i of a rupture mode (yield is none); the allowable is the lowest p_i / n_i, often of
another mode. Taking the lowest p_i over its own factor instead would leave a weaker-factored mode
short. What cannot be rated gets strength 0 and a sentence in `refusals`.
"""

from dataclasses import dataclass
from math import pi

from daq.assembly import casing as tube
from daq.assembly.joints import (
    EDGE_LEAST,
    EDGE_WARNED,
    GRADE_ULTIMATE_PA,
    SCREWS,
    Plate,
    bearing_strength,
    k1_pitch,
    pressure_of,
    shear_strength,
    tear_out_strength,
)
from daq.assembly.materials import ALLOYS, interpolated, stated_fault, strength_left
from daq.settings_casing import Casing, Closure, Joint, Material, Seal


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


def rate(casing: Casing) -> Rating:
    """Rate a casing in all its modes; never raises for a weak one, see `Rating.refusals`."""
    return _Rater(casing).rating()


class _Rater:
    """Collects the modes of one casing and what speaks against using it."""

    def __init__(self, casing: Casing) -> None:
        self.casing = casing
        history, sets = casing.history, casing.factors
        self.factors = sets.proof_tested if history.proof_tested else sets.not_proof_tested
        self.sealing = max(seal.sealing_diameter_m for seal in casing.seals)
        self.refusals: list[str] = []
        self.warnings: list[str] = []
        self.tube_heat = self._heat(casing.tube.material, casing.tube.hot_k, "tube")
        self.use = {part: self._use(part) for part in ("tube", "joint", "seal")}

    def rating(self) -> Rating:
        self._history()
        modes = self._hoop()
        for joint in self.casing.joints:
            modes += self._joint(joint)
        modes += [self._closure(closure) for closure in self.casing.closures]
        modes += [self._seal(seal) for seal in self.casing.seals]
        return Rating(
            casing=self.casing.serial,
            firings_seen=self.casing.history.firings_seen,
            proof_tested=self.casing.history.proof_tested,
            modes=tuple(modes),
            refusals=tuple(dict.fromkeys(self.refusals)),
            warnings=tuple(dict.fromkeys(self.warnings)),
        )

    def _history(self) -> None:
        history, sets = self.casing.history, self.casing.factors
        if history.firings_seen >= history.firings_allowed:
            self.refusals.append(
                f"{history.firings_seen} firings seen, {history.firings_allowed} allowed: "
                "this casing has no life left"
            )
        if not history.proof_tested:
            self.warnings.append("no valid proof test: the higher factors apply")
        if sets.reason_below_1_5.strip():
            self.warnings.append(f"a factor is under 1.5 because: {sets.reason_below_1_5}")

    def _heat(self, material: Material, hot_k: float, what: str) -> float:
        wrong = stated_fault(material.name, material.yield_pa, material.ultimate_pa)
        left = None if wrong else strength_left(ALLOYS[material.name], hot_k)
        if left is None:
            beyond = f"{hot_k - 273.15:.0f} °C is beyond the strength table of {material.name}"
            self.refusals.append(f"{what}: {wrong or beyond}")
            return 0.0
        return left

    def _use(self, part: str) -> float:
        history = self.casing.history
        steps = tuple((step.firings, getattr(step, part)) for step in history.wear)
        left = interpolated(steps, history.firings_seen)
        if left is None:
            self.refusals.append(
                f"{history.firings_seen} firings seen, the wear table ends at {steps[-1][0]}"
            )
            return 0.0
        return left

    def _hoop(self) -> list[Mode]:
        part, metal = self.casing.tube, self.casing.tube.material
        k = 1 + 2 * part.wall_m / part.bore_m
        yields, yield_formula = tube.hoop_yield(k, metal.yield_pa)
        bursts, burst_formula = tube.hoop_burst(k, metal.yield_pa, metal.ultimate_pa)
        k_t, k_n = self.tube_heat, self.use["tube"]
        return [
            Mode(
                name="hoop yield",
                formula=yield_formula,
                nominal_pa=yields,
                factor=self.factors.hoop_yield,
                rupture=False,
                k_t=k_t,
                k_n=k_n,
            ),
            Mode(
                name="hoop burst",
                formula=burst_formula,
                nominal_pa=bursts,
                factor=self.factors.hoop_burst,
                k_t=k_t,
                k_n=k_n,
            ),
        ]

    def _joint(self, joint: Joint) -> list[Mode]:
        self._edge(joint)
        part, metal = self.casing.tube, self.casing.tube.material
        heat = self._heat(metal, joint.hot_k, f"joint {joint.name}")
        grade = GRADE_ULTIMATE_PA[joint.grade]
        plate = Plate(
            diameter=SCREWS[joint.thread].diameter,
            hole=joint.hole_m,
            thickness=part.wall_m,
            edge=joint.edge_to_hole_centre_m,
            ultimate_pa=metal.ultimate_pa,
            screw_ultimate_pa=grade,
        )
        pitch = pi * (part.bore_m + part.wall_m) / joint.count
        each = {
            "fastener shear": shear_strength(
                joint.thread, joint.grade, threads_in_plane=joint.threads_in_shear_plane
            ),
            "fastener bearing": bearing_strength(plate, max(k1_pitch(pitch, joint.hole_m), 0.0)),
            "tear-out": tear_out_strength(
                joint.edge_to_hole_centre_m, joint.hole_m, part.wall_m, metal.ultimate_pa
            ),
        }
        of = {
            name: pressure_of(force, joint.count, self.sealing) * joint.load_share
            for name, force in each.items()
        }
        section = tube.net_section(
            part.bore_m, part.wall_m, self.sealing, joint.count, joint.hole_m, metal.ultimate_pa
        )
        factors, worn = self.factors, self.use["joint"]
        rows = (
            ("axial", "net section", section, self.tube_heat, self.use["tube"], factors.axial),
            ("fastener shear", f"{joint.count} x {joint.thread} {joint.grade}",
             of["fastener shear"], joint.screw_strength_left, worn, factors.shear),
            ("fastener bearing", "EN 1993-1-8 table 3.4, no partial factors",
             of["fastener bearing"], heat, worn, factors.bearing),
            ("tear-out", "to the hole's edge", of["tear-out"], heat, worn, factors.tear_out),
        )  # fmt: skip
        return [
            Mode(
                name=self._name(name, joint.name, len(self.casing.joints)),
                formula=formula,
                nominal_pa=max(nominal, 0.0),
                k_t=k_t,
                k_n=k_n,
                factor=factor,
            )
            for name, formula, nominal, k_t, k_n, factor in rows
        ]

    def _edge(self, joint: Joint) -> None:
        ratio = joint.edge_to_hole_centre_m / joint.hole_m
        words = f"joint {joint.name}: hole centre {ratio:.2f} diameters from the edge"
        if ratio < EDGE_LEAST:
            self.refusals.append(f"{words}, at least {EDGE_LEAST:g} needed")
        elif ratio < EDGE_WARNED:
            self.warnings.append(f"{words}, under {EDGE_WARNED:g}: tear-out is rated")
        if joint.hole_m <= SCREWS[joint.thread].diameter:
            self.refusals.append(
                f"joint {joint.name}: hole {joint.hole_m * 1e3:g} mm is not wider than "
                f"its {joint.thread} screw"
            )

    def _closure(self, closure: Closure) -> Mode:
        metal = closure.material
        return Mode(
            name=self._name("closure", closure.name, len(self.casing.closures)),
            formula="flat plate, simply supported",
            nominal_pa=tube.closure_burst(
                self.sealing / 2, closure.thickness_m, metal.ultimate_pa, metal.poisson
            ),
            k_t=self._heat(metal, closure.hot_k, f"closure {closure.name}"),
            k_n=self.use["joint"],
            factor=self.factors.closure,
        )

    def _seal(self, seal: Seal) -> Mode:
        return Mode(
            name=self._name("seal as tested", seal.name, len(self.casing.seals)),
            formula="pressure held as assembled",
            nominal_pa=seal.tested_pa,
            k_t=seal.tested_strength_left,
            k_n=self.use["seal"],
            factor=self.factors.seal,
        )

    @staticmethod
    def _name(mode: str, part: str, parts: int) -> str:
        return f"{mode} ({part})" if parts > 1 else mode
