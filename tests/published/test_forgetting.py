"""Forgetting curves against published values.

H. Ebbinghaus 1885, Über das Gedächtnis, sections 28-29 (tr. Ruger and Bussenius 1913, p. 78).
J. M. J. Murre and J. Dros 2015, Replication and Analysis of Ebbinghaus' Forgetting Curve, PLoS ONE
10(7) e0120644, tables 3-5; data in the authors' spreadsheet (HistData).
"""

import numpy as np
import pytest

from coldtake.learning import forgetting, memory_law
from coldtake.learning.forgetting import fit

T_MIN = np.array([20, 64, 526, 1440, 2880, 8640, 44640], dtype=float)
OBSERVED = np.array([58.2, 44.2, 35.8, 33.7, 27.8, 25.4, 21.1])
PRINTED = np.array([57.0, 46.7, 34.5, 30.4, 28.1, 24.9, 21.2])
T_S = np.array([1200, 3600, 32400, 86400, 172800, 518400, 2678400], dtype=float)
SAVINGS = {
    "Ebbinghaus": [0.582, 0.442, 0.358, 0.337, 0.278, 0.254, 0.211],
    "Mack": [0.5443, 0.43191, 0.28512, 0.31599, 0.36502, 0.30894, 0.25843],
    "Seitz": [0.44206, 0.32489, 0.26977, 0.27004, 0.28571, 0.20524, 0.20080],
    "Dros": [0.47168, 0.37291, 0.27644, 0.31678, 0.23000, 0.16820, 0.04097],
}
# Murre and Dros 2015, power function Q = mu t^-a, t in seconds: mu, a, SSD; all digits as printed.
POWER_FITS = {
    "Ebbinghaus": (1.40, 0.130, 0.00285),
    "Mack": (0.965, 0.0926, 0.0129),
    "Seitz": (0.822, 0.0990, 0.00523),
    "Dros": (1.56, 0.167, 0.0163),
}
# The 1885 function with base 10 logarithms: mu, a, SSD.
FUNCTION_1885 = {
    "Ebbinghaus": (1.80, 1.21, 0.00218),
    "Mack": (1.34, 0.873, 0.00976),
    "Seitz": (0.900, 0.820, 0.00403),
    "Dros": (1.36, 1.34, 0.0212),
}


def test_ebbinghaus_own_formula():
    calculated = 100.0 * forgetting.ebbinghaus(T_MIN, np.array([1.84, 1.25]))
    assert calculated == pytest.approx(PRINTED, abs=0.1)  # 64 min is truncated in print


@pytest.mark.parametrize("who", SAVINGS)
def test_power_fits_of_murre_and_dros(who):
    mu, a, ssd = POWER_FITS[who]
    found = fit(forgetting.power, T_S, np.array(SAVINGS[who]), (1.0, 0.1))
    assert found.parameters == pytest.approx((mu, a), rel=0.005)
    assert found.ssd == pytest.approx(ssd, rel=0.005)


@pytest.mark.parametrize("who", SAVINGS)
def test_fits_of_the_1885_function(who):
    mu, a, ssd = FUNCTION_1885[who]
    found = fit(forgetting.ebbinghaus, T_S / 60.0, np.array(SAVINGS[who]), (1.5, 1.0))
    assert found.parameters == pytest.approx((mu, a), rel=0.006)
    assert found.ssd == pytest.approx(ssd, rel=0.006)


def test_the_models_own_form_fits_ebbinghaus_as_well_as_the_published_power_law():
    """Wickelgren's form with lambda 1, t in hours: beta 259.06, psi .13118, SSE .002577."""
    hours, kept = T_MIN / 60.0, OBSERVED / 100.0
    found = fit(forgetting.wickelgren, hours, kept, (100.0, 0.2))
    assert found.parameters == pytest.approx((259.06, 0.13118), rel=1e-3)
    assert found.ssd == pytest.approx(0.002577, rel=1e-3)


def test_law_of_the_filter_is_that_form():
    """The half-life parametrisation is the same curve: beta = (2^(1/psi) - 1) / h."""
    psi, beta = 0.13118, 259.06
    half_life = (2.0 ** (1.0 / psi) - 1.0) / beta
    hours = T_MIN / 60.0
    ours = memory_law.retention(hours, np.full(7, half_life), psi)
    assert ours == pytest.approx(forgetting.wickelgren(hours, np.array([beta, psi])), rel=1e-9)
    assert memory_law.retention(half_life, np.array([half_life]), psi)[0] == pytest.approx(0.5)


def test_a_fitter_must_prefer_the_power_law():
    hours, kept = T_MIN / 60.0, OBSERVED / 100.0
    straight = fit(forgetting.exponential, hours, kept, (0.4, 0.001))
    curved = fit(forgetting.power, hours, kept, (0.5, 0.1))
    assert straight.parameters == pytest.approx((0.39965, 0.00124353), rel=1e-3)
    assert straight.r_squared == pytest.approx(0.397, abs=0.001)
    assert curved.parameters == pytest.approx((0.48212, 0.13110), rel=1e-3)
    assert curved.r_squared == pytest.approx(0.9735, abs=0.0002)


def test_steep_shapes_become_the_exponential():
    days, half_life = np.array([1.0, 3.0, 10.0, 30.0]), np.full(4, 9.0)
    assert memory_law.retention(days, half_life, 400.0) == pytest.approx(
        2.0 ** (-days / 9.0), rel=0.01
    )
