"""The odds of a refill are those of scipy's normal densities, added up and integrated by plain sums."""

import math

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from coldbrood.brooder import bends
from coldbrood.brooder.bends import Prior, Window

PRIOR = Prior(0.02, 0.01, -math.inf)
T_S = np.array([0.0, 300.0, 600.0, 900.0, 1200.0, 1500.0])


def window(over: list[float]) -> Window:
    response = 0.05 * (1.0 - np.exp(-np.arange(61) / 4.0)) + 0.001 * np.arange(61)
    made = [bends.shapes(T_S, response, i) for i in range(1, len(T_S))]
    jugs, dips = [jug for jug, _ in made], [dip for _, dip in made]
    return Window(T_S, np.array(over), bends.wander(T_S, 0.2), jugs, dips, 40.0, 0.45, 2.5)


def density(w: Window, mean: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
    return float(multivariate_normal(mean, w.wander).pdf(w.over))


def heats(w: Window) -> list[tuple[float, float]]:
    """How much hotter the new jug may be and how likely, by a fine sum: a towel as usual or not."""
    found: list[tuple[float, float]] = []
    for share, chance in ((1.0, 5.0 / 6.0), (w.other_share, 1.0 / 6.0)):
        sd = bends.SHARE_SD * math.sqrt(share) * w.hotter_k
        hotter = norm(bends.MEAN_SHARE * share * w.hotter_k, sd)
        at = np.linspace(float(hotter.ppf(1e-6)), float(hotter.ppf(1.0 - 1e-6)), 401)
        weight = chance * hotter.pdf(at) * (at[1] - at[0])
        found += zip(at.tolist(), weight.tolist(), strict=True)
    return found


def by_sums(w: Window, i: int) -> float:
    """Log odds of a refill before row `i`: scipy's densities, a lid in the row before it or later."""
    depths = w.lid_k * bends.LID_DEPTHS
    lids = [np.mean([density(w, -d * shape) for d in depths for shape in dips.T]) for dips in w.dips[i - 2 :]]
    refill = np.mean(
        [
            sum(p * density(w, h * jug - d * dip) for h, p in heats(w))
            for d in depths
            for jug, dip in zip(w.jugs[i - 1].T, w.dips[i - 1].T, strict=True)
        ]
    )
    warmth = 1.0 - np.exp(-np.maximum(w.t - w.t[i - 1], 0.0) / bends.HOME_S)
    home = np.mean([density(w, k * warmth) for k in bends.HOME_K * bends.LID_DEPTHS])
    gaps = (w.t[-1] - w.t[i - 2]) / bends.PRIOR_PER_S
    other = density(w, 0.0 * w.t) + gaps * PRIOR.lid * np.mean(lids) + bends.HOME_PER_LID * PRIOR.lid * home
    return math.log(PRIOR.refill * float(refill) / float(other))


@pytest.mark.parametrize(
    "over",
    [
        [0.1, 0.0, -0.1, 0.1, -1.6, 2.1],  # a lid, then warmth
        [0.0, 0.1, 0.0, -0.1, -1.5, -0.4],  # a lid and no more
        [0.0, 0.1, 0.2, 0.1, 0.9, 1.1],  # chicks come home
        [0.1, 0.0, 0.1, 0.0, 0.1, 0.0],  # nothing
    ],
)
def test_the_odds_are_those_of_densities_summed(over: list[float]) -> None:
    # scipy's multivariate normal; 401 points over the jug's heat are good to a hundredth.
    w = window(over)
    assert bends.nats(w, 4, w.wander, PRIOR) == pytest.approx(by_sums(w, 4), abs=0.01)


def test_a_dip_is_sure_before_it_and_less_so_as_it_heals() -> None:
    # By hand: from its lowest row on, 0.15 of its depth, and less by a factor e each 400 s.
    unsure = bends.unsure_dip(T_S, np.array([0.0, 0.0, 0.0, -2.0, -1.0, 0.0]))
    sd = np.sqrt(np.diag(unsure))
    assert sd == pytest.approx([0.0, 0.0, 0.0, 0.3, 0.3 * math.exp(-0.75), 0.3 * math.exp(-1.5)])
    assert unsure[3, 4] == pytest.approx(sd[3] * sd[4] * math.exp(-0.75))
    assert np.linalg.eigvalsh(unsure).min() > -1e-12


def test_which_is_which() -> None:
    def nats(*over: float) -> float:
        w = window(list(over))
        return bends.nats(w, 4, w.wander, PRIOR)

    assert nats(0.1, 0.0, -0.1, 0.1, -1.6, 2.1) > 3.0
    assert nats(0.0, 0.1, 0.0, -0.1, -1.5, -0.4) < 0.0
    assert nats(0.1, 0.0, 0.1, 0.0, 0.1, 0.0) < -3.0
