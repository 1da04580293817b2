"""Writes bend.json, cast.json and payout.json: reference values of the mechanics by scipy.

Usage (any environment with numpy and scipy):

    python regenerate.py            # writes the tables beside this file
    python regenerate.py --payout   # only payout.json
    python regenerate.py --time     # instead times solve_bvp on the bends of the table it can solve

Method, apart from the project's own (Taylor series from the tip; quadrature in the slope):
bends by shooting from the tip with solve_ivp DOP853, restarted at every station, and a bracketed
root of the butt's angle; stiffness by the equations of variation, integrated as plain integrals
of the displacement; casts by solve_ivp DOP853 in the ground's frame with a landing event; casts that pay out line the
same way, for the velocity (the project integrates the momentum).
A tenth of the bends, those mild enough, is checked against solve_bvp here; the worst difference
goes into the header.
"""

import json
import pathlib
import platform
import sys
import time

import numpy as np
import scipy
from scipy.integrate import solve_bvp, solve_ivp
from scipy.optimize import brentq

SEED = 20261125
RTOL = 1e-12
G = 9.80665
HERE = pathlib.Path(__file__).parent


def significant(value):
    return float(f"{value:.15g}")


# ---------------------------------------------------------------------------------------------
# Bend. Lengths as shares of L, b = EI/EI(butt), p = P L^2/EI(butt), sigma from the tip.


def segments(case):
    """(length, b at the tip end, b at the butt end), from tip to butt."""
    s = np.array([x for x, _ in case["stations"]]) / case["length_m"]
    b = np.array([y for _, y in case["stations"]])
    b = b / b[0]
    return [(s[i + 1] - s[i], b[i + 1], b[i]) for i in range(len(s) - 2, -1, -1)]


def march(pieces, state, rhs, atol):
    """Integrates over all pieces; rhs(state, b). None where state[0] meets pi on the way."""

    def column(_, y):
        return y[0] - np.pi

    column.terminal = True
    for length, tip, butt in pieces:
        slope = (butt - tip) / length
        done = solve_ivp(
            lambda t, y: rhs(y, tip + slope * t), (0.0, length), state,
            method="DOP853", rtol=RTOL, atol=atol(state), events=column,
        )
        if done.status != 0:
            return None
        state = done.y[:, -1]
    return state


def shoot_psi(pieces, p, u, full=False):
    """From psi(tip) with ln tan(psi/2) = u. State: psi, q, then integrals and variations."""
    tip = 2 * np.arctan(np.exp(u))
    if not full:
        return march(
            pieces, [tip, 0.0], lambda y, b: [p * y[1] / b, np.sin(y[0])],
            lambda y: [1e-300, RTOL * 1e-3 * tip],
        )

    def rhs(y, b):
        psi, q, eta, rho, xi, om = y[:6]
        sin, cos = np.sin(psi), np.cos(psi)
        return [
            p * q / b, sin, p * rho / b, cos * eta, (q + p * om) / b, cos * xi,
            cos, sin, sin * eta, sin * xi,
        ]

    start = [tip, 0, np.sin(tip), 0, 0, 0, 0, 0, 0, 0]
    small = RTOL * 1e-3 * tip
    return march(pieces, start, rhs, lambda y: [1e-300] + [small] * 9)


def log_half(psi):
    return np.log(np.tan(psi / 2))


def solve_bend(pieces, p, beta):
    """y, 1 - x, theta, q at the butt, d(displacement along the load)/dp."""
    goal = log_half(beta)

    def residual(u):
        end = shoot_psi(pieces, p, u)
        # Pi before the butt: the start was too great, by more than any that reaches the butt.
        if end is None:
            return 50.0
        return min(log_half(end[0]) - goal, 50.0)

    # The residual rises with slope 1 or more, so it has its root between u + r(u) and u.
    low, high = goal, goal
    width = 0.25
    while residual(low) > 0:
        high = low
        low -= width
        width *= 2
    u = brentq(residual, low, high, xtol=1e-14, rtol=1e-14) if low < high else goal
    psi, q, eta, rho, xi, om, along, across, work_u, work_p = shoot_psi(pieces, p, u, True)
    # Along and across are in the load's frame; turn them into the axis' frame.
    x = np.cos(beta) * along + np.sin(beta) * across
    y = np.sin(beta) * along - np.cos(beta) * across
    theta = beta - 2 * np.arctan(np.exp(u))
    compliance = -(work_p - xi / eta * work_u)
    return y, 1 - x, theta, q, compliance


def solve_small_bend(pieces, p, beta):
    """The same for small turning, in theta / p, so that no digits are lost."""

    def rhs(y, b):
        lean, q = y[0], y[1]
        theta = p * lean
        half = np.sin(theta / 2)
        sin_over = np.sin(theta) / p
        return [
            -q / b, np.sin(beta) * np.cos(theta) - np.cos(beta) * np.sin(theta),
            sin_over, 2 * (half / p) ** 2,
        ]

    def shoot(lean):
        state = np.array([lean, 0, 0, 0])
        for length, tip, butt in pieces:
            slope = (butt - tip) / length
            done = solve_ivp(
                lambda t, y: rhs(y, tip + slope * t), (0.0, length), state, method="DOP853",
                rtol=RTOL, atol=[RTOL * lean, RTOL * 1e-3, RTOL * lean * 1e-3, RTOL * lean**2 * 1e-3],
            )
            state = done.y[:, -1]
        return state

    guess = sum(
        solve_ivp(lambda t, y: [(at + t) / (tip + (butt - tip) * t / length)], (0, length), [0.0],
                  rtol=1e-9, atol=1e-12).y[0, -1]
        for at, (length, tip, butt) in zip(
            np.cumsum([0] + [piece[0] for piece in pieces]), pieces)
    ) * np.sin(beta)
    lean = brentq(lambda v: shoot(v)[0], guess * 0.2, guess * 5, xtol=1e-15 * guess, rtol=1e-14)
    _, q, side, back = shoot(lean)
    return side * p, back * p * p, lean * p, q


def bend_values(case):
    pieces = segments(case)
    length, butt = case["length_m"], case["stations"][0][1]
    beta = np.radians(case["angle_deg"])
    p = case["load_n"] * length**2 / butt
    y, back, theta, q, compliance = solve_bend(pieces, p, beta)
    if theta < 0.05:
        y, back, theta, q = solve_small_bend(pieces, p, beta)
    return {
        "tip_deflection_m": y * length,
        "tip_shortening_m": back * length,
        "tip_angle_rad": theta,
        "root_moment_n_m": case["load_n"] * q * length,
        "stiffness_n_per_m": butt / length**3 / compliance,
    }


def solve_by_bvp(case, tol):
    """The same by solve_bvp with continuation in the load; None where it gives up."""
    length = case["length_m"]
    stations = np.array(case["stations"])
    s, ei = stations[:, 0] / length, stations[:, 1] / stations[0, 1]
    beta = np.radians(case["angle_deg"])
    goal = case["load_n"] * length**2 / stations[0, 1]
    mesh = np.unique(np.concatenate([s, np.linspace(0, 1, 21)]))
    guess = np.zeros((4, mesh.size))
    guess[2] = mesh
    # State: theta, q, x, y.
    steps = max(1, int(np.ceil(np.sqrt(goal) * 2)))
    for p in goal * (np.arange(1, steps + 1) / steps) ** 2:
        done = solve_bvp(
            lambda t, z: np.vstack([p * z[1] / np.interp(t, s, ei), -np.sin(beta - z[0]),
                                    np.cos(z[0]), np.sin(z[0])]),
            lambda a, b: np.array([a[0], b[1], a[2], a[3]]), mesh, guess, tol=tol,
            max_nodes=20000,
        )
        if not done.success:
            return None
        mesh, guess = done.x, done.y
    theta, _, x, y = guess[:, -1]
    return {
        "tip_deflection_m": y * length,
        "tip_shortening_m": (1 - x) * length,
        "tip_angle_rad": theta,
        "root_moment_n_m": case["load_n"] * guess[1, 0] * length,
    }


def random_blank(rng, kind):
    length = rng.uniform(0.6, 4.5)
    butt = 10 ** rng.uniform(-0.5, 2.5)
    if kind == "taper":
        count = int(rng.integers(2, 13))
        s = np.concatenate([[0], np.sort(rng.uniform(0.02, 0.98, count - 2)), [1]])
        ratio = 10 ** rng.uniform(0, 3)
        power = rng.uniform(1, 5)
        b = (1 - (1 - ratio ** (-1 / power)) * s) ** power
    elif kind == "two":
        s, b = np.array([0, 1.0]), np.array([1, 1e-3 if rng.random() < 0.5 else 10 ** rng.uniform(-3, 0)])
    elif kind == "many":
        s = np.linspace(0, 1, 41)
        b = 10 ** (-3 * s ** rng.uniform(0.5, 3))
    elif kind == "cliff":
        at, wide = rng.uniform(0.0, 0.9), 10 ** rng.uniform(-4, -1.5)
        s, b = np.array([0, at + wide / 2, at + wide, 1]), np.array([1, 0.9, 1.2e-3, 1e-3])
    elif kind == "rough":
        count = int(rng.integers(3, 25))
        s = np.concatenate([[0], np.sort(rng.uniform(0.02, 0.98, count - 2)), [1]])
        b = 10 ** rng.uniform(-1.5, 1.4, count)
        b = b / b[0]
    else:
        s, b = np.array([0, 1.0]), np.array([1.0, 1.0])
    return {
        "length_m": significant(length),
        "stations": [[significant(x * length) if 0 < x < 1 else [0.0, significant(length)][int(x)],
                      float(f"{y * butt:.12g}")] for x, y in zip(s, b)],
    }


def bend_cases():
    rng = np.random.default_rng(SEED)
    plan = [("taper", 140), ("two", 50), ("many", 30), ("cliff", 40), ("rough", 60), ("even", 30)]
    for kind, count in plan:
        for index in range(count):
            case = {"kind": kind, **random_blank(rng, kind)}
            angle = rng.uniform(5, 170)
            load = 10 ** rng.uniform(-2, np.log10(50))
            if index % 10 == 1:
                load = 10 ** rng.uniform(-9, -3)
            if index % 10 in (2, 3):
                load = 50.0
            if index % 10 in (3, 4):
                angle = 170.0
            if index % 10 == 5:
                angle = 5.0
            if index % 10 == 6:
                angle = rng.uniform(150, 170)
            case["angle_deg"] = significant(angle)
            scale = case["stations"][0][1] / case["length_m"] ** 2
            case["load_n"] = significant(load * scale * (1 - 1e-12))
            yield case


def head(what, extra):
    return {
        "what": what, "script": "regenerate.py", "seed": SEED, "rtol": RTOL,
        "scipy": scipy.__version__, "numpy": np.__version__, "python": platform.python_version(),
        **extra,
    }


def write(name, header, cases):
    lines = ",\n".join(json.dumps(case) for case in cases)
    (HERE / name).write_text(f'{{"header": {json.dumps(header)},\n"cases": [\n{lines}\n]}}\n')


def write_bends():
    cases, worst, checked = [], 0.0, 0
    for index, case in enumerate(bend_cases()):
        began = time.time()
        case["expected"] = {k: significant(v) for k, v in bend_values(case).items()}
        mild = case["load_n"] * case["length_m"] ** 2 / case["stations"][0][1] < 5
        if index % 10 == 0 and mild:
            other = solve_by_bvp(case, 1e-9)
            if other is not None:
                checked += 1
                for key, value in other.items():
                    worst = max(worst, abs(value / case["expected"][key] - 1))
        cases.append(case)
        print(index, case["kind"], f"{time.time() - began:.2f} s", file=sys.stderr)
    extra = {"solve_bvp_checked": checked, "solve_bvp_worst_relative": float(f"{worst:.2g}")}
    write("bend.json", head("elastica under a dead load at the tip", extra), cases)


# ---------------------------------------------------------------------------------------------
# Cast. x along, y up, z across.


def cast_values(case):
    k = case["air_density_kg_m3"] * case["drag_area_cm2"] * 1e-4 / (2 * case["mass_g"] * 1e-3)
    wind = np.array([case["wind_along_m_s"], 0, case["wind_across_m_s"]])
    angle = np.radians(case["angle_deg"])

    def rhs(_, y):
        air = y[3:] - wind
        pull = -k * np.linalg.norm(air) * air
        return [*y[3:], pull[0], pull[1] - G, pull[2]]

    start = [0, case["height_m"], 0,
             case["speed_m_s"] * np.cos(angle), case["speed_m_s"] * np.sin(angle), 0]
    end, t = land(rhs, start)
    return {"range_m": end[0], "drift_m": end[2], "time_s": t,
            "impact_speed_m_s": np.linalg.norm(end[3:])}


def land(rhs, start):
    """State and time at which y[1] comes to zero, falling at y[4]."""

    def landing(_, y):
        return y[1]

    landing.terminal, landing.direction = True, -1
    done = solve_ivp(rhs, (0, 1e4), start, method="DOP853", rtol=RTOL, atol=1e-13, events=landing)
    # The event lies on the interpolant; walk the last step anew to the exact place.
    t = done.t_events[0][0]
    before = max(i for i, at in enumerate(done.t) if at < t)
    state, at = done.y[:, before], done.t[before]
    for _ in range(8):
        end = solve_ivp(rhs, (at, t), state, method="DOP853", rtol=RTOL, atol=1e-13).y[:, -1]
        step = -end[1] / end[4]
        t += step
        if abs(step) < 1e-14 * t:
            break
    return end, t


def cast_cases():
    rng = np.random.default_rng(SEED + 1)
    for index in range(300):
        case = {
            "speed_m_s": rng.uniform(5, 60), "angle_deg": rng.uniform(5, 80),
            "height_m": rng.uniform(0, 6), "mass_g": 10 ** rng.uniform(0, 2.3),
            "drag_area_cm2": 10 ** rng.uniform(-0.5, 1.8),
            "wind_along_m_s": rng.uniform(-15, 15), "wind_across_m_s": rng.uniform(-15, 15),
            "air_density_kg_m3": rng.uniform(0.9, 1.4),
        }
        special = index % 12
        if special == 1:
            case["height_m"] = 0.0
        if special == 2:
            case["angle_deg"], case["height_m"] = rng.uniform(-90, 0), rng.uniform(0.5, 30)
        if special == 3:
            case["angle_deg"] = rng.uniform(80, 90)
        if special == 4:
            case["drag_area_cm2"], case["mass_g"] = 300.0, 10 ** rng.uniform(-1, 0)
        if special == 5:
            case["drag_area_cm2"] = 0.0
        if special == 6:
            case["wind_along_m_s"] = case["wind_across_m_s"] = 0.0
        if special == 7:
            case["wind_across_m_s"] = 0.0
            case["wind_along_m_s"] = case["speed_m_s"] * np.cos(np.radians(case["angle_deg"]))
        if special == 8:
            case["speed_m_s"], case["height_m"] = 10 ** rng.uniform(-3, 0), rng.uniform(1, 10)
        if special == 9:
            case["height_m"] = rng.uniform(50, 400)
        yield {k: significant(v) for k, v in case.items()}


def write_casts():
    cases = []
    for case in cast_cases():
        case["expected"] = {k: significant(v) for k, v in cast_values(case).items()}
        cases.append(case)
    write("cast.json", head("point mass with quadratic drag in wind", {"g": G}), cases)


# ---------------------------------------------------------------------------------------------
# Cast that pays out its line. As a cast, with the line paid out behind the velocity.

# Sutherland's formula with the constants of ISO 2533 at 288.15 K.
AIR_15_C_PA_S = 1.458e-6 * 288.15**1.5 / (288.15 + 110.4)


def payout_values(case):
    rho, mass = case["air_density_kg_m3"], case["mass_g"] * 1e-3
    per_m, d = case["line_mg_per_m"] * 1e-6, case["line_mm"] * 1e-3
    area = case["drag_area_cm2"] * 1e-4
    wind = np.array([case["wind_along_m_s"], 0, case["wind_across_m_s"]])
    tip = np.array([0, case["height_m"], 0])
    angle = np.radians(case["angle_deg"])

    def rhs(_, y):
        v, out = y[3:6], y[6]
        speed = np.linalg.norm(v)
        ahead = v / speed
        air = v - wind
        force = -rho * area / 2 * np.linalg.norm(air) * air - mass * G * np.array([0, 1, 0])
        run = ahead @ air
        skin = rho / 2 * 0.02 * d * out * abs(run) * run
        force -= (per_m * speed**2 + skin) * ahead
        tension = max(per_m * speed**2 + skin, 0)
        chord = np.linalg.norm(y[:3] - tip)
        if chord > 0 and d > 0 and rho > 0 and tension > 0:
            toward = (y[:3] - tip) / chord
            side = 2 / 3 * v - wind
            side = side - (side @ toward) * toward
            fast = np.linalg.norm(side)
            if fast > 0:
                cd = 1 + 10 * max(rho * fast * d / AIR_15_C_PA_S, 1) ** (-2 / 3)
                half = rho / 4 * cd * d * chord * fast**2
                force -= side / fast / np.sqrt(1 / half**2 + 1 / tension**2)
        return [*v, *(force / (mass + per_m * out)), speed]

    start = [0, case["height_m"], 0,
             case["speed_m_s"] * np.cos(angle), case["speed_m_s"] * np.sin(angle), 0, 0]
    end, t = land(rhs, start)
    return {"range_m": end[0], "drift_m": end[2], "time_s": t,
            "impact_speed_m_s": np.linalg.norm(end[3:6]), "line_out_m": end[6]}


def payout_cases():
    rng = np.random.default_rng(SEED + 2)
    for index in range(60):
        mass = 10 ** rng.uniform(0, 2)
        case = {
            "speed_m_s": rng.uniform(8, 50), "angle_deg": rng.uniform(-10, 75),
            "height_m": rng.uniform(0.3, 6), "mass_g": mass,
            "drag_area_cm2": mass * 10 ** rng.uniform(-1, 0.15),
            "wind_along_m_s": rng.uniform(-12, 12), "wind_across_m_s": rng.uniform(-12, 12),
            "air_density_kg_m3": rng.uniform(0.9, 1.4),
            "line_mg_per_m": 10 ** rng.uniform(0.8, 2.3), "line_mm": rng.uniform(0.08, 0.5),
        }
        special = index % 10
        if special == 1:
            case["wind_along_m_s"] = case["wind_across_m_s"] = 0.0
        if special == 2:
            case["line_mg_per_m"], case["line_mm"] = 22.2222, 0.165
        if special == 3:
            case["line_mg_per_m"], case["line_mm"] = 72.725, 0.285
        if special == 4:
            case["line_mm"] = 0.0
        if special == 5:
            case["line_mg_per_m"] = 0.0
        if special == 6:
            case["air_density_kg_m3"] = 0.0
        yield {k: significant(v) for k, v in case.items()}


def write_payouts():
    cases = []
    for case in payout_cases():
        case["expected"] = {k: significant(v) for k, v in payout_values(case).items()}
        cases.append(case)
    extra = {"g": G, "air_viscosity_pa_s": AIR_15_C_PA_S}
    write("payout.json", head("cast that pays out its line", extra), cases)


def time_bvp():
    cases = json.loads((HERE / "bend.json").read_text())["cases"]
    times, errors, failed = [], [], 0
    for case in cases[::8]:
        began = time.perf_counter()
        values = solve_by_bvp(case, 1e-6)
        took = time.perf_counter() - began
        if values is None:
            failed += 1
            continue
        times.append(took)
        errors.append(max(abs(v / case["expected"][k] - 1) for k, v in values.items()))
    print(f"solve_bvp, tol 1e-6, no stiffness: {len(times)} solved, {failed} given up")
    print(f"median {np.median(times) * 1e3:.1f} ms, median error {np.median(errors):.1e}")


if __name__ == "__main__":
    if "--time" in sys.argv:
        time_bvp()
    elif "--payout" in sys.argv:
        write_payouts()
    else:
        write_payouts()
        write_casts()
        write_bends()
