"""How long a judgement takes, and how often it is wrong: run by hand, prints tables.

    python tests/benchmarks/bench_decision.py speed
    python tests/benchmarks/bench_decision.py rates [trials a cell, 400]

Times are of the processor, in units of scikit-image's CIEDE2000 of one pair in the same run too.
Rates: the true difference is the limit, 0.8; each cell is the worst over five colours and five
truths, of which the sampling error at 5 % is 1.1 % with 400 trials. So the worst of 25 exact
5 % cells is expected near 7.5 %; the mean over the truths of the loudest direction tells more.
"""

import sys
import time

import numpy as np
from skimage.color import deltaE_ciede2000

from colour.decision import judge
from colour.quadratic_form import local_form, truths_on_limit
from colour.uncertain_difference import UncertainDifference
from colour.uncertainty import UncertainColour
from colour.weighing import is_judgeable, weigh

COLOURS = {
    "silver": (70, -0.5, -1.5),
    "black": (5, 0.1, -0.2),
    "white": (95, -0.8, 2.0),
    "red": (42, 55, 32),
    "blue": (32, 10, -45),
}
LIMIT, RISK = 0.8, 0.05


def processor_ms(call, times=200):
    """Median processor time of a call."""
    call()
    spent = []
    for _ in range(times):
        start = time.process_time()
        call()
        spent.append(time.process_time() - start)
    return float(np.median(spent)) * 1e3


def speed():
    rng = np.random.default_rng(1)
    pair = np.array(COLOURS["silver"]), np.array(COLOURS["silver"]) + 0.3
    unit = processor_ms(lambda: deltaE_ciede2000(*pair), 500)
    print(f"scikit-image, one pair: {unit:.3f} ms")
    print(f"{'case':42} {'judge':>9} {'interval':>9} {'next step':>9}   judge/skimage")
    cases = [
        ("stated, one reading a side", 1, 1, 0.1, None),
        ("stated, three a side", 3, 3, 0.1, None),
        ("estimated, three a side", 3, 3, None, None),
        ("estimated, ten a side", 10, 10, None, None),
        ("estimated, three a side, card-to-panel", 3, 3, None, 0.01 * np.eye(3)),
    ]
    for name, n, m, stated, added in cases:
        master = pair[0] + 0.1 * rng.normal(size=(n, 3))
        card = pair[0] + [1.1, 0, 0] + 0.1 * rng.normal(size=(m, 3))

        def judged(master=master, card=card, stated=stated, added=added):
            return judge(
                master, card, limit=LIMIT, standard_uncertainty=stated, added_covariance=added
            )

        plain = processor_ms(judged)
        interval = processor_ms(lambda judged=judged: judged().interval, 60) - plain
        step = processor_ms(lambda judged=judged: judged().next_step, 60) - plain
        print(f"{name:42} {plain:6.2f} ms {interval:6.2f} ms {step:6.2f} ms   {plain / unit:.0f}")


def _directions(master):
    factor = np.linalg.cholesky(local_form(master)).T
    _, axes = np.linalg.eigh(factor @ factor.T)
    quiet, middle, loud = np.linalg.solve(factor, axes).T
    return {"loud": loud, "back": -loud, "quiet": quiet, "middle": middle, "all": quiet + loud}


def _said(rng, master, card, n, sd, stated, trials, risk=RISK):
    about = {} if stated is None else {"standard_uncertainty": stated}
    sides = [
        UncertainColour.from_repeats(centre + sd * rng.normal(size=(trials, n, 3)), **about)
        for centre in (master, card)
    ]
    difference = UncertainDifference.between(*sides)
    judgeable = is_judgeable(difference)
    weighed = weigh(difference, limit=LIMIT, risk=risk)
    blends = judgeable & (weighed.p_blends < risk) & (weighed.power_at_zero >= 0.5)
    return blends.mean(), (judgeable & (weighed.p_shows < risk)).mean()


def rates(trials):
    rng = np.random.default_rng(2)
    print(f"{trials} trials a cell; wrong blends / wrong shows at ΔE00 = 0.8")
    print("noise      n   sd   worst of 25      loudest truths   | 0.3 blends  1.4 shows (worst)")
    for known, counts in ((True, (1, 2, 3, 5, 10)), (False, (3, 5, 10))):
        for n in counts:
            for sd in (0.1, 0.2, 0.3):
                wrong, loud, useful = [], [], []
                for lab in COLOURS.values():
                    master, stated = np.array(lab, dtype=float), sd if known else None
                    for where, direction in _directions(master).items():
                        truth = [
                            truths_on_limit(master, direction, np.array(size))[0]
                            for size in (LIMIT, 0.3, 1.4)
                        ]
                        said = _said(rng, master, master + truth[0], n, sd, stated, trials)
                        wrong.append(said)
                        if where in ("loud", "back"):
                            loud.append(said)
                        if where == "loud":
                            near, far = (
                                _said(rng, master, master + one, n, sd, stated, trials)
                                for one in truth[1:]
                            )
                            useful.append((near[0], far[1]))
                top, mean = np.max(wrong, axis=0), np.mean(loud, axis=0)
                worst = np.min(useful, axis=0)
                print(
                    f"{'stated' if known else 'estimated':9} {n:2d} {sd:4.1f}"
                    f"   {top[0]:6.3f} / {top[1]:.3f}  {mean[0]:6.3f} / {mean[1]:.3f}"
                    f"   | {worst[0]:7.3f} {worst[1]:10.3f}",
                    flush=True,
                )


if __name__ == "__main__":
    if sys.argv[1:2] == ["rates"]:
        rates(int(sys.argv[2]) if len(sys.argv) > 2 else 400)
    else:
        speed()
