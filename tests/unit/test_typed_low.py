"""A typed low counts by how well earlier ones did, bends tonight's curve and is scored by what came."""

import math
from itertools import pairwise

import numpy as np
import pytest

from coldbrood.brooder.specs import OutdoorCurve
from coldbrood.brooder.typed_low import Lows, bent, combine, say, see, settle, tonight, trust, unsay

HOUR = 3600.0
DAWN = 12 * HOUR


def night(lows: Lows, begin_s: float, typed_c: float, came_c: float, gap_s: float = 900.0) -> Lows:
    """One night: a low typed at its begin, readings that fall to what came, the morning after."""
    lows = say(lows, begin_s, typed_c, begin_s + DAWN)
    for t_s in np.arange(begin_s, begin_s + DAWN + 2 * gap_s, gap_s):
        after_h = float(t_s - begin_s) / HOUR
        lows = see(lows, float(t_s), came_c + abs(10.0 - after_h))
    return lows


def nights(errors_c: list[float]) -> Lows:
    lows = Lows()
    for n, error_c in enumerate(errors_c):
        lows = night(lows, 86_400.0 * n, 4.0 + error_c, 4.0)
    return lows


def test_a_night_gives_its_error() -> None:
    lows = nights([1.5, -0.5])
    assert lows.tonight is None
    assert lows.errors_c == pytest.approx([1.5, -0.5], abs=1e-9)


def test_a_night_with_a_gap_or_typed_at_its_end_teaches_nothing() -> None:
    assert night(Lows(), 0.0, 5.0, 4.0, gap_s=3 * HOUR).errors_c == ()
    late = say(Lows(), 10 * HOUR, 5.0, DAWN)
    for t_s in np.arange(10 * HOUR, DAWN + 2 * HOUR, 900.0):
        late = see(late, float(t_s), 4.0)
    assert (late.errors_c, late.tonight) == ((), None)


def test_a_night_after_which_nothing_was_heard_for_hours_teaches_nothing() -> None:
    lows = see(say(Lows(), 0.0, 5.0, DAWN), HOUR, 9.0)
    assert settle(lows, DAWN + 1.0) == Lows()


def test_trust_starts_at_the_prior_and_is_earned_or_lost() -> None:
    bias, sd_c = trust(Lows())
    assert bias == 0.0
    assert sd_c == pytest.approx(2.0 * math.sqrt(2.0))
    good, bad = trust(nights([0.3, -0.3] * 5)), trust(nights([5.0, -5.0] * 5))
    assert good[1] < 0.7 * sd_c
    assert bad[1] > 1.4 * sd_c


def test_a_radio_that_is_always_three_degrees_too_warm_is_put_right() -> None:
    bias, sd_c = trust(nights([3.0, 3.2, 2.8, 3.1, 2.9, 3.0]))
    assert bias == pytest.approx(3.0 * 6 / 7, abs=0.05)
    assert sd_c < 2.2
    lows = say(nights([3.0] * 20), 40 * 86_400.0, 6.0, 40 * 86_400.0 + DAWN)
    found = tonight(lows, 40 * 86_400.0)
    assert found is not None
    assert found[0] == pytest.approx(3.0, abs=0.2)


def test_combining_is_by_precision() -> None:
    # Two equal opinions: half way, and root two surer (textbook weighing by inverse variance).
    assert combine(4.0, 2.0, (0.0, 2.0)) == pytest.approx((2.0, math.sqrt(2.0)))
    mean_c, sd_c = combine(4.0, 1.0, (0.0, 3.0))
    assert mean_c == pytest.approx(3.6)
    assert sd_c == pytest.approx(math.sqrt(0.9))
    assert combine(4.0, 1.0, None) == (4.0, 1.0)


def curve() -> OutdoorCurve:
    """From 12 C falling to 4 C at ten hours, then up again."""
    t_s = np.arange(0.0, 24 * HOUR + 1.0, 900.0)
    mean_c = 4.0 + 0.8 * np.abs(10.0 - t_s / HOUR)
    return OutdoorCurve(t_s, mean_c, np.sqrt(0.09 + 6.25 * np.minimum(t_s / (10 * HOUR), 1.0)))


def test_the_curve_is_bent_at_its_low_and_left_alone_now_and_by_day() -> None:
    own = curve()
    lows = say(Lows(), 0.0, -1.0, DAWN)
    new = bent(own, lows)
    at = int(np.argmin(own.mean_c))
    mean_c, sd_c = combine(float(own.mean_c[at]), float(own.sd_c[at]), tonight(lows, 0.0))
    assert (new.mean_c[at], new.sd_c[at]) == pytest.approx((mean_c, sd_c))
    assert new.mean_c[0] == own.mean_c[0]
    assert new.mean_c[-1] == own.mean_c[-1]
    assert (new.mean_c <= own.mean_c).all()
    assert (new.sd_c <= own.sd_c + 1e-12).all()
    assert all(b <= a + 1e-9 for a, b in pairwise(new.mean_c[: at + 1]))


def test_without_a_typed_low_or_after_its_night_the_curve_is_the_same_one() -> None:
    own = curve()
    assert bent(own, Lows()) is own
    assert bent(own, say(Lows(), -13 * HOUR, 2.0, -HOUR)) is own
    past_low = OutdoorCurve(own.t_s, 4.0 + own.t_s / HOUR, own.sd_c)
    assert bent(past_low, say(Lows(), 0.0, 2.0, DAWN)) is past_low


def test_a_newer_low_takes_the_place_of_the_older_and_can_be_taken_back() -> None:
    lows = say(say(Lows(), 0.0, 2.0, DAWN), HOUR, 1.0, DAWN)
    assert lows.tonight is not None
    assert lows.tonight.low_c == 1.0
    assert unsay(lows, 0.0) == lows
    assert unsay(lows, HOUR).tonight is None


@pytest.mark.parametrize("low_c", [-41.0, 36.0, float("nan")])
def test_a_low_that_no_radio_says_is_refused(low_c: float) -> None:
    with pytest.raises(ValueError, match=r"low: .*: -40 to 35 C"):
        say(Lows(), 0.0, low_c, DAWN)
