"""What follows from published values by arithmetic of our own; the values themselves: see test_published."""

import numpy as np
import pytest
from published_rates import hepatic

from models.methods import double_sampling


def test_the_logit_interval_rests_on_that_standard_error():
    # Arithmetic of the delta method, worked here by hand from the two published numbers.
    estimate = double_sampling.post_stratified_rate(*hepatic())
    p, half = 0.69303, 1.959964 * 0.02443 / (0.69303 * 0.30697)
    logit = np.log(p / (1 - p))
    expected = [1 / (1 + np.exp(-(logit + s * half))) for s in (-1, 1)]
    assert [estimate.low, estimate.high] == pytest.approx(expected, abs=2e-5)
