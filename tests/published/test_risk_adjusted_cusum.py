"""Scores of a risk-adjusted chart of surgery: Steiner, Cook, Farewell & Treasure (2000), Biostatistics 1, 441.

Risk by score s: logit p = -3.68 + .077 s; odds ratio watched for: 2. The four scores stand in the paper and in the
tests of a public implementation.
"""

import numpy as np
import pytest

from analytics.estimators.risk_adjusted_cusum import binary_steps


@pytest.mark.parametrize(("s", "survive", "die"), [(0, -0.024, 0.669), (50, -0.433, 0.260)])
def test_scores_of_a_low_and_a_high_risk_case(s, survive, die):
    probability = 1 / (1 + np.exp(3.68 - 0.077 * s))
    steps = binary_steps([0, 1], probability, 2)
    assert steps.rise == pytest.approx([survive, die], abs=5e-4)
