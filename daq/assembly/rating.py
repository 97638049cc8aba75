"""Every failure mode of a casing, its pressure now, and the factor it must keep.

p_i = p_nominal(lowest material, measured dimensions) x k_T x k_N (firings seen). Rated burst is the
lowest p_i of a rupture mode (yield is none); the allowable is the lowest p_i / n_i, often of
another mode. Taking the lowest p_i over its own factor instead would leave a weaker-factored mode
short. What cannot be rated gets strength 0 and a sentence in `refusals`.
"""

from math import pi, sqrt
from typing import Final

from daq.assembly import casing as tube
from daq.assembly.cycles import equivalent_firings, life_used
from daq.assembly.ends import (
    Ring,
    carrier_burst,
    groove_bearing,
    groove_section,
    groove_tear_out,
    ring_shear,
    shoulder_strength,
    thread_shear,
)
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
from daq.assembly.materials import (
    ALLOYS,
    alloy_of,
    interpolated,
    softened,
    stated_fault,
    strength_left,
)
from daq.assembly.modes import Mode, Rating
from daq.settings_casing import (
    Casing,
    Closure,
    Joint,
    Material,
    NozzleCarrier,
    RetainingRing,
    Seal,
    ThreadedEnd,
)

ENGAGED: Final = {"aluminium": 1.5, "steel": 1.0}  # diameters of thread, practice 5.12


__all__ = ["Rating", "rate"]


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
        self.softened = self._softened()
        self.cycles = self._cycles()
        self.tube_heat = self.softened * self._heat(casing.tube.material, casing.tube.hot_k, "tube")
        self.use = {part: self._use(part) for part in ("tube", "joint", "seal")}

    def rating(self) -> Rating:
        self._history()
        modes = self._hoop()
        for joint in self.casing.joints:
            modes += self._joint(joint)
        for thread in self.casing.threaded_ends:
            modes += self._thread(thread)
        for ring in self.casing.rings:
            modes += self._ring(ring)
        for carrier in self.casing.carriers:
            modes += self._carrier(carrier)
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
        used = life_used(
            history.peaks_pa, self.casing.tube.bore_m, self.casing.tube.wall_m, history.hole_kt
        )
        if used >= 1:
            self.refusals.append(
                f"the peaks seen have used {100 * used:.0f} % of the life at the holes "
                "(scatter factor 4): this casing has no life left"
            )
        if not history.proof_tested:
            self.warnings.append("no valid proof test: the higher factors apply")
        if sets.reason_below_1_5.strip():
            self.warnings.append(f"a factor is under 1.5 because: {sets.reason_below_1_5}")

    def _softened(self) -> float:
        metal, heats = self.casing.tube.material, self.casing.history.heats
        left = softened(metal, heats)
        if left is None:
            hottest = max(heat.at_k for heat in heats) - 273.15
            total_s = sum(heat.for_s for heat in heats)
            self.refusals.append(
                f"tube: has been at {hottest:.0f} °C, {total_s / 60:.0f} min in all, beyond what is "
                f"known of {metal.name}: quarantined until its hardness is measured"
            )
            return 0.0
        return left

    def _cycles(self) -> float:
        """Firings for the wear table: those counted, or what their real peaks stand for."""
        history = self.casing.history
        if not history.wear_peak_pa:
            return float(history.firings_seen)
        stand_for = equivalent_firings(history.peaks_pa, history.wear_peak_pa)
        return max(float(history.firings_seen), stand_for)

    def _heat(self, material: Material, hot_k: float, what: str) -> float:
        wrong = None
        if material.name in ALLOYS or not material.strength_curve:
            wrong = stated_fault(material.name, material.yield_pa, material.ultimate_pa)
        if material.name in ALLOYS and material.strength_curve:
            wrong = f"{material.name} has its curve here: give a material of your own another name"
        alloy = alloy_of(material)
        left = None if wrong or alloy is None else strength_left(alloy, hot_k)
        if left is None:
            beyond = f"{hot_k - 273.15:.0f} °C is beyond the strength table of {material.name}"
            self.refusals.append(f"{what}: {wrong or beyond}")
            return 0.0
        return left

    def _use(self, part: str) -> float:
        history = self.casing.history
        steps = tuple((step.firings, getattr(step, part)) for step in history.wear)
        left = interpolated(steps, self.cycles)
        if left is None:
            more = f" (their peaks stand for {self.cycles:.1f})"
            self.refusals.append(
                f"{history.firings_seen} firings seen"
                f"{more if self.cycles > history.firings_seen else ''}, "
                f"the wear table ends at {steps[-1][0]}"
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
        heat = self.softened * self._heat(metal, joint.hot_k, f"joint {joint.name}")
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
        if joint.engagement_m:
            engaged = joint.engagement_m / SCREWS[joint.thread].diameter
            if engaged < ENGAGED[joint.tapped_in]:
                self.refusals.append(
                    f"joint {joint.name}: thread engaged over {engaged:.2f} diameters, at least "
                    f"{ENGAGED[joint.tapped_in]:g} needed in {joint.tapped_in}"
                )
        if joint.hole_m <= SCREWS[joint.thread].diameter:
            self.refusals.append(
                f"joint {joint.name}: hole {joint.hole_m * 1e3:g} mm is not wider than "
                f"its {joint.thread} screw"
            )

    def _hold(
        self, name: str, part: str, parts: int, formula: str, force: float, k_t: float, n: float
    ) -> Mode:
        """A mode of the joint from the force that breaks it."""
        return Mode(
            name=self._name(name, part, parts),
            formula=formula,
            nominal_pa=pressure_of(max(force, 0.0), 1, self.sealing),
            k_t=k_t,
            k_n=self.use["joint"],
            factor=n or 1.0,
        )

    def _tube_at(self, hot_k: float, what: str) -> float:
        return self.softened * self._heat(self.casing.tube.material, hot_k, what)

    def _thread(self, end: ThreadedEnd) -> list[Mode]:
        area = thread_shear(end.major_m, end.pitch_m, end.engagement_m)
        metal, body = end.material, self.casing.tube.material
        what, factor = f"thread {end.name}", self.factors.thread_strip
        hold = (end.name, len(self.casing.threaded_ends))
        own, tube_k = self._heat(metal, end.hot_k, what), self._tube_at(end.hot_k, what)
        root = self.casing.tube.bore_m + 2 * self.casing.tube.wall_m
        section = max(tube.bore_area(root) - tube.bore_area(end.major_m), 0.0)
        return [
            self._hold("thread strip, outside thread", *hold, "nominal ISO metric profile",
                       area.outside * metal.ultimate_pa / sqrt(3.0), own, factor),
            self._hold("thread strip, inside thread", *hold, "nominal ISO metric profile",
                       area.inside * body.ultimate_pa / sqrt(3.0), tube_k, factor),
            self._hold("section at the thread", *hold, "outside of the thread",
                       section * body.ultimate_pa, tube_k, self.factors.axial),
        ]  # fmt: skip

    def _ring(self, part: RetainingRing) -> list[Mode]:
        body = self.casing.tube
        ring = Ring(
            bore=body.bore_m,
            wall=body.wall_m,
            thickness=part.thickness_m,
            groove_depth=part.groove_depth_m,
            edge=part.edge_m,
            ring_ultimate=part.material.ultimate_pa,
            tube_yield=body.material.yield_pa,
            tube_ultimate=body.material.ultimate_pa,
        )
        what, factor = f"ring {part.name}", self.factors.ring
        hold = (part.name, len(self.casing.rings))
        own, tube_k = self._heat(part.material, part.hot_k, what), self._tube_at(part.hot_k, what)
        return [
            self._hold("ring shear", *hold, "at the bore", ring_shear(ring), own, factor),
            self._hold("groove wall", *hold, "projected area at yield",
                       groove_bearing(ring), tube_k, factor),
            self._hold("groove tear-out", *hold, "collar to the tube's end",
                       groove_tear_out(ring), tube_k, factor),
            self._hold("section at the groove", *hold, "net section",
                       groove_section(ring), tube_k, self.factors.axial),
        ]  # fmt: skip

    def _carrier(self, part: NozzleCarrier) -> list[Mode]:
        metal, factor = part.material, self.factors.carrier
        hold = (part.name, len(self.casing.carriers))
        k_t = self._heat(metal, part.hot_k, f"carrier {part.name}")
        bending = carrier_burst(
            self.sealing / 2, part.hole_m / 2, part.thickness_m, metal.ultimate_pa, metal.poisson
        )
        push = shoulder_strength(part.hole_m, part.shoulder_m, metal.ultimate_pa)
        on_nozzle = (part.nozzle_outer_m / self.sealing) ** 2
        return [
            self._hold("nozzle carrier bending", *hold, "plate with a hole, simply supported",
                       bending * tube.bore_area(self.sealing), k_t, factor),
            self._hold("nozzle through carrier", *hold, "shear of the shoulder",
                       push / min(on_nozzle, 1.0), k_t, factor),
        ]  # fmt: skip

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
