"""Loudspeaker drivers in numpy: impedance from the mechanics, in several families of coil and suspension, in free
air, with a mass on the cone, or on a closed box with or without a leak; and the air around them.

Sources. Lumped circuit: R. H. Small, "Direct-Radiator Loudspeaker System Analysis", JAES 20(5), 1972. Fractional
coil: W. M. Leach, JAES 50(6), 2002. Creep: Knudsen and Jensen, JAES 41, 1993 (logarithmic and exponential form).
Speed of sound: O. Cramer, JASA 93(5), 1993. Density: CIPM-2007, Picard et al., Metrologia 45, 2008 (constants from
memory; closed_form checks stand in driver_selfcheck_test.py).
"""

from dataclasses import dataclass, replace

import numpy as np


@dataclass(frozen=True)
class Air:
    temperature_c: float = 20.0
    pressure_pa: float = 101325.0
    humidity_percent: float = 50.0
    carbon_dioxide: float = 0.0004

    @property
    def vapour(self):
        """Mole fraction of water."""
        t, kelvin, p = self.temperature_c, self.temperature_c + 273.15, self.pressure_pa
        saturated = np.exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6343.1645 / kelvin)
        return self.humidity_percent / 100 * (1.00062 + 3.14e-8 * p + 5.6e-7 * t * t) * saturated / p

    @property
    def speed_m_per_s(self):
        t, p, w, c = self.temperature_c, self.pressure_pa, self.vapour, self.carbon_dioxide
        return (331.5024 + 0.603055 * t - 0.000528 * t * t + (51.471935 + 0.1495874 * t - 0.000782 * t * t) * w
                + (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t * t) * p + (-85.20931 - 0.228525 * t + 5.91e-5 * t * t) * c
                - 2.835149 * w * w - 2.15e-13 * p * p + 29.179762 * c * c + 0.000486 * w * p * c)

    @property
    def density_kg_per_m3(self):
        t, kelvin, p, w = self.temperature_c, self.temperature_c + 273.15, self.pressure_pa, self.vapour
        dry = (28.96546 + 12.011 * (self.carbon_dioxide - 0.0004)) * 1e-3
        squeeze = (1 - p / kelvin * (1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t * t + (5.707e-6 - 2.051e-8 * t) * w
                                     + (1.9898e-4 - 2.376e-6 * t) * w * w)
                   + (p / kelvin) ** 2 * (1.83e-11 - 0.765e-8 * w * w))
        return p * dry / (squeeze * 8.314472 * kelvin) * (1 - w * (1 - 18.01528e-3 / dry))

    @property
    def stiffness_pa(self):
        """rho c^2."""
        return self.density_kg_per_m3 * self.speed_m_per_s**2


@dataclass(frozen=True)
class Coil:
    """kind: "L" (henry), "L+RL" (henry, ohm, henry), "K" (factor, power), "L|K" (henry, factor, power)."""
    kind: str
    values: tuple

    def z(self, frequency_hz):
        s = 2j * np.pi * np.asarray(frequency_hz, float)
        v = self.values
        if self.kind == "L":
            return s * v[0]
        if self.kind == "L+RL":
            return s * v[0] + s * v[1] * v[2] / (v[1] + s * v[2])
        if self.kind == "K":
            return v[0] * s ** v[1]
        if self.kind == "L|K":
            return 1 / (1 / (s * v[0]) + 1 / (v[1] * s ** v[2]))
        raise ValueError(self.kind)


@dataclass(frozen=True)
class Leak:
    """A small hole in the box: air mass and flow resistance, in acoustic units."""
    resistance_pa_s_per_m3: float
    mass_kg_per_m4: float = 0.0


@dataclass(frozen=True)
class Driver:
    name: str
    re_ohm: float
    mms_kg: float
    cms_m_per_n: float
    rms_kg_per_s: float
    bl_tm: float
    sd_m2: float
    coil: Coil
    # "plain"; "log" (lambda a decade), "exponential" (power): creep with reference at the plain resonance;
    # "loss-rising", "loss-falling": mechanical loss in proportion to frequency, or to its inverse
    suspension: str = "plain"
    creep: float = 0.0

    @property
    def plain_resonance_hz(self):
        return 1 / (2 * np.pi * np.sqrt(self.mms_kg * self.cms_m_per_n))

    def mechanical(self, frequency_hz, added_kg=0.0, box_m3=None, leak=None, air=Air()):
        """Force over velocity."""
        f = np.asarray(frequency_hz, float)
        s = 2j * np.pi * f
        relative = 1j * f / self.plain_resonance_hz
        compliance = self.cms_m_per_n * np.ones_like(s)
        loss = self.rms_kg_per_s * np.ones_like(s)
        if self.suspension == "log":
            compliance = self.cms_m_per_n * (1 - self.creep * np.log10(relative))
        elif self.suspension == "exponential":
            compliance = self.cms_m_per_n * relative ** (-self.creep)
        elif self.suspension == "loss-rising":
            loss = loss * np.abs(relative)
        elif self.suspension == "loss-falling":
            loss = loss / np.abs(relative)
        z = s * (self.mms_kg + added_kg) + loss + 1 / (s * compliance)
        if box_m3 is not None:
            flow = s * box_m3 / air.stiffness_pa
            if leak is not None:
                flow = flow + 1 / (leak.resistance_pa_s_per_m3 + s * leak.mass_kg_per_m4)
            z = z + self.sd_m2**2 / flow
        return z

    def z(self, frequency_hz, **where):
        return self.re_ohm + self.coil.z(frequency_hz) + self.bl_tm**2 / self.mechanical(frequency_hz, **where)

    def truth(self, air=Air(), **where):
        """What the measure should give, in the units of its quantities. The resonance is where the mechanics are
        real; the effective loss is the one at the resonance, so that the peak's height belongs to it."""
        low, high = self.plain_resonance_hz * 0.3, self.plain_resonance_hz * 8
        for _ in range(200):
            middle = np.sqrt(low * high)
            if self.mechanical(np.array([middle]), air=air, **where).imag[0] < 0:
                low = middle
            else:
                high = middle
        fs = np.sqrt(low * high)
        omega = 2 * np.pi * fs
        mass = self.mms_kg + where.get("added_kg", 0.0)
        loss = self.mechanical(np.array([fs]), air=air, **where).real[0]
        cms = 1 / (omega**2 * mass)
        qms = omega * mass / loss
        qes = omega * mass * self.re_ohm / self.bl_tm**2
        c, rho = air.speed_m_per_s, air.density_kg_per_m3
        efficiency = rho / (2 * np.pi * c) * self.bl_tm**2 * self.sd_m2**2 / (mass**2 * self.re_ohm)
        one_watt = 10 * np.log10(rho * c / (2 * np.pi) / 20e-6**2) + 10 * np.log10(efficiency)
        return {"fs_hz": fs, "re_ohm": self.re_ohm, "res_ohm": self.bl_tm**2 / loss, "qms": qms, "qes": qes,
                "qts": qms * qes / (qms + qes), "mms_g": mass * 1e3, "cms_mm_per_n": cms * 1e3,
                "rms_kg_per_s": loss, "bl_tm": self.bl_tm, "sd_cm2": self.sd_m2 * 1e4,
                "vas_l": air.stiffness_pa * self.sd_m2**2 * cms * 1e3, "efficiency_percent": 100 * efficiency,
                "sensitivity_1w_db": one_watt, "sensitivity_2v83_db": one_watt + 10 * np.log10(8 / self.re_ohm),
                "le_1khz_mh": self.coil.z(np.array([1000.0])).imag[0] / (2 * np.pi * 1000.0) * 1e3}

    def with_coil(self, coil):
        return replace(self, coil=coil)

    def with_suspension(self, kind, creep=0.0):
        return replace(self, suspension=kind, creep=creep)


def from_data(name, fs_hz, re_ohm, qms, qes, mms_g, sd_cm2, coil, suspension="plain", creep=0.0):
    """A driver from the figures that a person thinks in."""
    omega, mass = 2 * np.pi * fs_hz, mms_g * 1e-3
    return Driver(name, re_ohm, mass, 1 / (omega**2 * mass), omega * mass / qms,
                  float(np.sqrt(omega * mass * re_ohm / qes)), sd_cm2 * 1e-4, coil, suspension, creep)


def diameter_mm(driver):
    return float(np.sqrt(4 * driver.sd_m2 / np.pi) * 1e3)


# Invented, with figures such as drivers of these sizes have (common practice, no source): names by size and place.
PARADE = [
    from_data("Tern 4", 78.0, 3.3, 4.1, 0.62, 5.4, 52.0, Coil("L+RL", (0.12e-3, 2.1, 0.18e-3))),
    from_data("Tern 4 stiff", 112.0, 6.4, 2.6, 0.88, 4.1, 50.0, Coil("K", (4.2e-3, 0.74))),
    from_data("Plover 5", 52.0, 5.7, 6.2, 0.44, 9.8, 85.0, Coil("K", (6.0e-3, 0.72))),
    from_data("Plover 5 paper", 61.0, 3.2, 3.1, 0.71, 8.2, 88.0, Coil("L", (0.24e-3,))),
    from_data("Dunlin 6", 41.0, 5.6, 4.8, 0.39, 15.6, 136.0, Coil("L+RL", (0.22e-3, 3.4, 0.4e-3))),
    from_data("Dunlin 6 bass", 49.2, 3.4, 7.4, 0.53, 19.0, 132.0, Coil("K", (5.1e-3, 0.71))),
    from_data("Heron 8", 34.0, 5.8, 3.6, 0.36, 29.0, 218.0, Coil("L|K", (12e-3, 0.020, 0.66))),
    from_data("Heron 8 old", 63.0, 6.9, 9.8, 1.20, 18.5, 214.0, Coil("L", (0.55e-3,))),
    from_data("Gannet 10", 27.5, 3.1, 5.5, 0.47, 68.0, 345.0, Coil("K", (14e-3, 0.68))),
    from_data("Gannet 10 stage", 50.6, 5.2, 6.1, 0.42, 38.0, 350.0, Coil("L+RL", (0.35e-3, 5.0, 0.6e-3))),
    from_data("Skua 12", 24.0, 3.6, 8.4, 0.55, 118.0, 510.0, Coil("K", (22e-3, 0.66))),
    from_data("Skua 12 stage", 47.5, 5.4, 5.2, 0.33, 62.0, 530.0, Coil("L|K", (15e-3, 0.030, 0.64))),
    from_data("Albatross 15", 21.5, 5.5, 6.8, 0.41, 165.0, 855.0, Coil("L+RL", (0.7e-3, 6.0, 1.4e-3))),
    from_data("Albatross 15 stage", 38.5, 5.3, 4.4, 0.27, 98.0, 880.0, Coil("K", (12e-3, 0.70))),
]
