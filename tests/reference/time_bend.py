"""Times solve_bvp and solve_ivp shooting of scipy on the 20 named bends of the benchmark.

Usage (numpy and scipy; regenerate.py beside this file):

    python time_bend.py --cases              # writes the cases and their values anew
    python time_bend.py BENCH_OUTPUT.txt     # times scipy; ratios against the text that
                                             # `cargo bench -p deepbend-core --bench bend` printed

Equal measured error: each method gets the loosest tolerance of its ladder whose five results lie
within 1e-9 of the value, relative. Both get help that is not timed: solve_bvp a first guess from
continuation in the load, shooting its equations of variation (Newton instead of bracketing).
"""

import json
import pathlib
import statistics
import sys
import time

import numpy as np
import scipy
from scipy.integrate import solve_bvp, solve_ivp

import regenerate as reference

CASES = pathlib.Path(__file__).parents[2] / "crates/core/benches/bend_cases.json"
TARGET = 1e-9
NAMES = ["tip_deflection_m", "tip_shortening_m", "tip_angle_rad", "root_moment_n_m",
         "stiffness_n_per_m"]


def sampled(length, count, ei):
    return [[length * i / count, float(f"{ei(i / count):.12g}")] for i in range(count + 1)]


def tube(share):
    outer = 12e-3 - 10e-3 * share
    inner = outer - 2 * (1e-3 - 0.4e-3 * share)
    return 60e9 * np.pi / 64 * (outer**4 - inner**4)


def named_cases():
    even = [[0.0, 1.0], [1.0, 1.0]]
    cone = sampled(1.0, 40, lambda s: (1 - 0.8 * s) ** 3)
    blank = sampled(2.1, 40, tube)
    soft_tip = sampled(2.1, 60, lambda s: 20 * (1 - s / 2) * 150 ** -(1 / (1 + np.exp((0.68 - s) / 0.05))))
    even_taper = sampled(2.4, 60, lambda s: 25 * 12.0**-s)
    thousand = sampled(3.0, 60, lambda s: 60 * 1000.0**-s)
    two = [[0.0, 15.0], [1.8, 0.15]]
    ferrule = [[0.0, 30.0], [1.1, 14.0], [1.15, 22.0], [1.2, 13.0], [2.3, 0.4]]
    rows = [
        ("even-light", even, 0.25, 90), ("even-one", even, 1.0, 90), ("even-five", even, 5.0, 90),
        ("even-back", even, 4.0, 150), ("even-great", even, 50.0, 90),
        ("cone-light", cone, 0.2, 90), ("cone-one", cone, 1.0, 90), ("cone-high", cone, 1.0, 45),
        ("tube-half", blank, 0.5, 90), ("tube-two", blank, 2.0, 90), ("tube-five", blank, 5.0, 90),
        ("tube-back", blank, 5.0, 135), ("tube-twenty", blank, 20.0, 90),
        ("soft-tip-lift", soft_tip, 4.0, 90), ("soft-tip-fight", soft_tip, 15.0, 60),
        ("even-taper-fight", even_taper, 15.0, 60), ("thousand-lift", thousand, 0.6, 90),
        ("two-stations", two, 3.0, 100), ("ferrule-lift", ferrule, 3.0, 90),
        ("ferrule-fight", ferrule, 20.0, 45),
    ]
    for name, stations, load, angle in rows:
        yield {"name": name, "length_m": stations[-1][0], "stations": stations, "load_n": load,
               "angle_deg": angle}


def write_cases():
    cases = []
    for case in named_cases():
        case["expected"] = {k: reference.significant(v) for k, v in reference.bend_values(case).items()}
        cases.append(case)
    head = {"script": "tests/reference/time_bend.py", "rtol": reference.RTOL,
            "scipy": scipy.__version__, "numpy": np.__version__}
    lines = ",\n".join(json.dumps(case) for case in cases)
    CASES.write_text(f'{{"header": {json.dumps(head)},\n"cases": [\n{lines}\n]}}\n')


def error(case, values):
    return max(abs(v / case["expected"][k] - 1) for k, v in zip(NAMES, values))


def in_units(case, y, back, theta, arm, compliance):
    length, butt = case["length_m"], case["stations"][0][1]
    return y * length, back * length, theta, case["load_n"] * arm * length, butt / length**3 / compliance


def shooting(case, rtol, restart=True):
    """DOP853 from the tip, Newton on ln tan(psi/2); restarted at stations or across them."""
    pieces = reference.segments(case) if restart else [None]
    ends = np.array([x for x, _ in case["stations"]])[::-1]
    ends = 1 - ends / case["length_m"]
    stiffness = np.array([y for _, y in case["stations"]])[::-1] / case["stations"][0][1]
    length, butt = case["length_m"], case["stations"][0][1]
    beta, p = np.radians(case["angle_deg"]), case["load_n"] * length**2 / butt
    goal = np.log(np.tan(beta / 2))

    def march(u, full):
        tip = 2 * np.arctan(np.exp(u))
        small = rtol * 1e-3 * tip

        def rhs(y, b):
            psi, q, eta, rho = y[:4]
            sin, cos = np.sin(psi), np.cos(psi)
            out = [p * q / b, sin, p * rho / b, cos * eta]
            if full:
                out += [(q + p * y[5]) / b, cos * y[4], cos, sin, sin * eta, sin * y[4]]
            return out

        state = [tip, 0, np.sin(tip), 0] + ([0] * 6 if full else [])
        for piece in pieces:
            if piece is None:
                size, ei = 1.0, lambda t: np.interp(t, ends, stiffness)
            else:
                size, ei = piece[0], lambda t: piece[1] + (piece[2] - piece[1]) / piece[0] * t
            done = solve_ivp(lambda t, y: rhs(y, ei(t)), (0, size), state, method="DOP853",
                             rtol=rtol, atol=small)
            state = done.y[:, -1]
            # Past the column on the way: the start was too great.
            if done.y[0].max() >= np.pi:
                return [np.pi, *state[1:]]
        return state

    low, high, u = -np.inf, goal, goal
    for _ in range(60):
        state = march(u, False)
        psi = state[0]
        if psi >= np.pi:
            high, step = u, None
        else:
            residual = np.log(np.tan(psi / 2)) - goal
            low, high = (max(low, u - residual), min(high, u)) if residual > 0 else (u, high)
            step = residual * np.sin(psi) / state[2]
        after = u - step if step is not None else -np.inf
        # The next error is of the order of the square of this step.
        if step is not None and abs(step) < 1e-6:
            u = after
            break
        if not low < after < high:
            after = (low + high) / 2 if np.isfinite(low) else u - 2.0
        u = after
    _, q, eta, _, xi, _, along, across, work_u, work_p = march(u, True)
    x = np.cos(beta) * along + np.sin(beta) * across
    y = np.sin(beta) * along - np.cos(beta) * across
    theta = beta - 2 * np.arctan(np.exp(u))
    return in_units(case, y, 1 - x, theta, q, -(work_p - xi / eta * work_u))


class Collocation:
    """solve_bvp on theta, q, 1 - x, y and their derivatives by the load."""

    def __init__(self, case):
        stations = np.array(case["stations"])
        length = case["length_m"]
        self.case = case
        self.s, self.ei = stations[:, 0] / length, stations[:, 1] / stations[0, 1]
        self.beta = np.radians(case["angle_deg"])
        self.goal = case["load_n"] * length**2 / stations[0, 1]
        # Even points fill the mesh up where no station lies near.
        even = [t for t in np.linspace(0, 1, 21) if np.abs(self.s - t).min() > 1e-3]
        mesh = np.sort(np.concatenate([self.s, even]))
        guess = np.zeros((8, mesh.size))
        steps = max(4, int(np.ceil(np.sqrt(self.goal) * 4)))
        for p in self.goal * (np.arange(1, steps + 1) / steps) ** 2:
            done = self.solve(p, mesh, guess, 1e-3)
            mesh, guess = done.x, done.y
        self.mesh, self.guess = mesh, guess

    def solve(self, p, mesh, guess, tol):
        def rhs(t, z):
            ei = np.interp(t, self.s, self.ei)
            lean = self.beta - z[0]
            sin, cos = np.sin(z[0]), np.cos(z[0])
            return np.vstack([p * z[1] / ei, -np.sin(lean), 2 * np.sin(z[0] / 2) ** 2, sin,
                              (z[1] + p * z[5]) / ei, np.cos(lean) * z[4], sin * z[4], cos * z[4]])

        def ends(a, b):
            return np.array([a[0], b[1], a[2], a[3], a[4], b[5], a[6], a[7]])

        return solve_bvp(rhs, ends, mesh, guess, tol=tol, max_nodes=6000)

    def __call__(self, _, tol):
        done = self.solve(self.goal, self.mesh, self.guess, tol)
        theta, _, back, y, _, _, back_p, y_p = done.y[:, -1]
        compliance = y_p * np.sin(self.beta) - back_p * np.cos(self.beta)
        return in_units(self.case, y, back, theta, done.y[1, 0], compliance)


def timed(method, case, ladder):
    """(milliseconds, tolerance, error) at the loosest tolerance that is good enough."""
    for tol in ladder:
        got = error(case, method(case, tol))
        if got <= TARGET:
            took = []
            for _ in range(3):
                began = time.perf_counter()
                method(case, tol)
                took.append(time.perf_counter() - began)
            return statistics.median(took) * 1e3, tol, got
    return None


def main(path):
    own = {}
    for line in pathlib.Path(path).read_text().splitlines():
        words = line.split()
        if len(words) >= 3 and words[:1] == ["bend"] and words[1] != "case":
            own[words[1]] = float(words[2])
    print(f"scipy {scipy.__version__}, numpy {np.__version__}; five results within {TARGET:g}")
    ratios = []
    for case in json.loads(CASES.read_text())["cases"]:
        bvp = timed(Collocation(case), case, [1e-4, 1e-5, 1e-6, 1e-7, 1e-8, 1e-9, 1e-10])
        shot = timed(shooting, case, [1e-7, 1e-8, 1e-9, 1e-10, 1e-11, 1e-12])
        across = timed(lambda c, tol: shooting(c, tol, False), case,
                       [1e-7, 1e-8, 1e-9, 1e-10, 1e-11, 1e-12])
        shot = min((t for t in (shot, across) if t), default=None)
        best = min(t[0] for t in (bvp, shot) if t)
        ratios.append(best * 1e3 / own[case["name"]])
        say = lambda t: "not reached" if t is None else f"{t[0]:8.2f} ms (tol {t[1]:g}, error {t[2]:.0e})"
        print(f"{case['name']:17} own {own[case['name']]:7.2f} us  solve_bvp {say(bvp):38} "
              f"shooting {say(shot):38} ratio {ratios[-1]:.0f}", flush=True)
    print(f"median ratio of {len(ratios)}: {statistics.median(ratios):.0f}, least {min(ratios):.0f}")


if __name__ == "__main__":
    if "--cases" in sys.argv:
        write_cases()
    elif len(sys.argv) == 2:
        main(sys.argv[1])
    else:
        sys.exit(__doc__)
