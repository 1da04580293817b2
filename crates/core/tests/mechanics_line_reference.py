#!/usr/bin/env python3
"""Reference values for line, shake, stop, air and sea water, from general libraries.

Writes mechanics_line_reference.json beside itself, with the versions of what computed it. The
equations of motion are integrated step by step; none of the closed forms under test is used.
Run: python3 mechanics_line_reference.py  (numpy, scipy, fluids, gsw)
"""

import json
import pathlib

import fluids
import gsw
import numpy as np
import scipy
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

RNG = np.random.default_rng(20251125)


def log_uniform(low, high):
    return float(np.exp(RNG.uniform(np.log(low), np.log(high))))


def shake_case(zeta_low=0.02):
    return {
        "stiffness_n_per_m": log_uniform(8.0, 60.0),
        "mass_kg": log_uniform(0.003, 0.06),
        "damping_ratio": float(RNG.uniform(zeta_low, 0.08)),
        "line_stiffness_n_per_m": log_uniform(10.0, 250.0),
        "amplitude_m": float(RNG.uniform(0.1, 0.3)),
        "frequency_hz": float(RNG.uniform(2.0, 4.0)),
    }


def tight_swing(case):
    """Amplitude of the tension of a line that stays tight, by DOP853 to the steady state."""
    k, m, z = case["stiffness_n_per_m"], case["mass_kg"], case["damping_ratio"]
    kl, amp, omega = case["line_stiffness_n_per_m"], case["amplitude_m"], 2 * np.pi * case["frequency_hz"]
    c = 2 * z * np.sqrt(k * m)

    def rhs(t, s):
        return [s[1], (kl * (amp * np.sin(omega * t) - s[0]) - k * s[0] - c * s[1]) / m]

    # The transient dies with c/(2 m): exp(-23) is 1e-10.
    settled = 23.0 / (c / (2 * m))
    end = settled + 2 * np.pi / omega
    sol = solve_ivp(rhs, (0, end), [0, 0], method="DOP853", rtol=1e-11, atol=1e-13, dense_output=True)
    t = np.linspace(settled, end, 20001)
    tension = kl * (amp * np.sin(omega * t) - sol.sol(t)[0])
    return float((tension.max() - tension.min()) / 2)


def cut_swing(case, dt=2e-4, ramp=60.0, hold=20.0, watch=10.0):
    """Least and greatest tension with a drag that slips and a line that cannot push, by RK4."""
    k, m, z = case["stiffness_n_per_m"], case["mass_kg"], case["damping_ratio"]
    kl, amp, omega = case["line_stiffness_n_per_m"], case["amplitude_m"], 2 * np.pi * case["frequency_hz"]
    mean, slip = case["mean_tension_n"], case["slip_n"]
    c = 2 * z * np.sqrt(k * m)
    y = v = given = 0.0
    least, greatest, slack, count = np.inf, -np.inf, 0, 0

    def tension(t, y, given):
        return mean + kl * (amp * min(t / ramp, 1.0) * np.sin(omega * t) - y - given)

    def pull(t, y, v):
        return (max(0.0, tension(t, y, given)) - mean - k * y - c * v) / m

    for i in range(int((ramp + hold + watch) / dt)):
        t = i * dt
        k1 = pull(t, y, v)
        k2 = pull(t + dt / 2, y + dt / 2 * v, v + dt / 2 * k1)
        k3 = pull(t + dt / 2, y + dt / 2 * v + dt * dt / 4 * k1, v + dt / 2 * k2)
        k4 = pull(t + dt, y + dt * v + dt * dt / 2 * k2, v + dt * k3)
        y += dt * v + dt * dt / 6 * (k1 + k2 + k3)
        v += dt / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        now = tension(t + dt, y, given)
        if now > slip:
            given += (now - slip) / kl
            now = slip
        if t > ramp + hold:
            least, greatest = min(least, max(now, 0.0)), max(greatest, now)
            slack, count = slack + (now < 0.0), count + 1
    return {"least_n": float(least), "greatest_n": float(greatest), "line_given_m": float(given),
            "slack_share": slack / count}


def slip_case():
    case = shake_case(0.05)
    swing = tight_swing(case)
    case["slip_n"] = float(swing * RNG.uniform(2.2, 4.0))
    case["mean_tension_n"] = float(case["slip_n"] - swing * RNG.uniform(0.3, 0.9))
    return case | {"expected": cut_swing(case)}


def slack_case():
    case = shake_case(0.05)
    swing = tight_swing(case)
    case["mean_tension_n"] = float(swing * RNG.uniform(0.2, 0.8))
    case["slip_n"] = 1000.0
    return case | {"expected": cut_swing(case)}


def stop_case():
    case = {
        "mass_kg": log_uniform(0.3, 15.0),
        "added_mass_share": float(RNG.uniform(0.02, 0.3)),
        "speed_m_s": float(RNG.uniform(1.0, 8.0)),
        "stiffness_n_per_m": log_uniform(8.0, 400.0),
    }
    case["thrust_n"] = float(RNG.uniform(0.3, 1.5) * case["mass_kg"] * 9.80665)
    case["current_n"] = float(RNG.uniform(0.0, 5.0))
    push = case["thrust_n"] + case["current_n"]
    case["slip_n"] = float(push * RNG.uniform(1.1, 3.0))
    case["start_n"] = float(case["slip_n"] * RNG.uniform(0.0, 0.9))
    mass = case["mass_kg"] * (1 + case["added_mass_share"])

    def tension(x):
        return min(case["start_n"] + case["stiffness_n_per_m"] * x, case["slip_n"])

    def rhs(_, s):
        return [s[1], (push - tension(s[0])) / mass]

    def still(_, s):
        return s[1]

    still.terminal, still.direction = True, -1
    sol = solve_ivp(rhs, (0, 1e4), [0, case["speed_m_s"]], events=still, method="DOP853",
                    rtol=1e-10, atol=1e-10, max_step=0.02)
    distance = float(sol.y_events[0][0][0])
    stretch = (case["slip_n"] - case["start_n"]) / case["stiffness_n_per_m"]
    return case | {"expected": {"distance_m": distance, "greatest_n": float(tension(distance)),
                                "line_given_m": max(0.0, distance - stretch)}}


def chain_case():
    """Force at the point by search: the force whose bend, stretch and slack use the sweep up."""
    case = {
        "rod_stiffness_n_per_m": log_uniform(5.0, 60.0),
        "line_stiffness_n_per_m": log_uniform(5.0, 400.0),
        "sweep_m": float(RNG.uniform(0.3, 2.2)),
        "slack_m": float(RNG.uniform(0.0, 0.6)),
        "rod_force_n": float(RNG.uniform(5.0, 45.0)),
        "gives_n": float(RNG.uniform(5.0, 60.0)),
        "hand": bool(RNG.integers(2)),
    }

    def left(force):
        return case["sweep_m"] - case["slack_m"] - force / case["rod_stiffness_n_per_m"] \
            - force / case["line_stiffness_n_per_m"]

    swept = brentq(left, 0.0, 1e5, xtol=1e-13) if left(0.0) > 0 else 0.0
    limits = [(swept, "Sweep"), (case["rod_force_n"], "Rod"),
              (case["gives_n"], "Line" if case["hand"] else "Drag")]
    force, limit = min(limits)
    return case | {"expected": {"force_n": float(force), "limit": limit}}


def added_mass(fineness):
    """Lamb's integral: alpha = a b^2 int dl / ((a^2 + l)^1.5 (b^2 + l)), k = alpha/(2 - alpha)."""
    a, b = 1.0, 1.0 / fineness
    value, _ = quad(lambda l: a * b * b / ((a * a + l) ** 1.5 * (b * b + l)), 0, np.inf,
                    epsabs=1e-14, epsrel=1e-12, limit=500)
    return {"fineness": fineness, "share": value / (2 - value)}


def air(height):
    atmosphere = fluids.ATMOSPHERE_1976(height)
    return {"geometric_m": height, "temperature_k": float(atmosphere.T), "pressure_pa": float(atmosphere.P),
            "density_kg_m3": float(atmosphere.rho), "viscosity_pa_s": float(atmosphere.mu)}


def sea(salinity, temperature):
    absolute = gsw.SA_from_SP(salinity, 0.0, 0.0, 0.0)
    conservative = gsw.CT_from_t(absolute, temperature, 0.0)
    return {"salinity": salinity, "temperature_c": temperature,
            "density_kg_m3": float(gsw.rho(absolute, conservative, 0.0))}


def sphere(grams, density, fluid, viscosity):
    """Drag coefficient and terminal speed of a sphere, by the library's own solver."""
    diameter = (6 * grams / 1e3 / (np.pi * density)) ** (1 / 3)
    speed = fluids.v_terminal(D=diameter, rhop=density, rho=fluid, mu=viscosity, Method="Clift_Gauvin")
    reynolds = fluid * speed * diameter / viscosity
    return {"mass_kg": grams / 1e3, "sphere_kg_m3": density, "fluid_kg_m3": fluid,
            "viscosity_pa_s": viscosity, "speed_m_s": float(speed), "reynolds": float(reynolds),
            "drag_coefficient": float(fluids.drag_sphere(reynolds, Method="Clift_Gauvin"))}


def main():
    tight = []
    for _ in range(40):
        case = shake_case()
        tight.append(case | {"expected": {"amplitude_n": tight_swing(case)}})
    values = {
        "versions": {"numpy": np.__version__, "scipy": scipy.__version__, "fluids": fluids.__version__,
                     "gsw": gsw.__version__},
        "tight_swing": tight,
        "slip_swing": [slip_case() for _ in range(8)],
        "slack_swing": [slack_case() for _ in range(8)],
        "stop": [stop_case() for _ in range(60)],
        "chain": [chain_case() for _ in range(40)],
        "added_mass": [added_mass(f) for f in (1.1, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0, 10.0, 20.0)],
        "air": [air(h) for h in (0.0, 250.0, 1000.0, 2500.0, 5000.0)],
        "sphere": [sphere(*c) for c in ((0.001, 11340.0, 999.1, 1.138e-3), (1.0, 11340.0, 999.1, 1.138e-3),
                                        (5.0, 11340.0, 1025.97, 1.22e-3), (10.0, 17500.0, 999.1, 1.138e-3),
                                        (40.0, 11340.0, 999.1, 1.138e-3), (10.0, 1100.0, 1.225, 1.78938e-5),
                                        (10.0, 11340.0, 1.225, 1.78938e-5))],
        "sea_water": [sea(s, t) for s in (0.0, 7.0, 20.0, 35.0) for t in (0.0, 5.0, 10.0, 15.0, 25.0, 30.0)],
    }
    path = pathlib.Path(__file__).with_suffix(".json")
    path.write_text(json.dumps(values, indent=1) + "\n")


if __name__ == "__main__":
    main()
