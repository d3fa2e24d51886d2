"""How clumped counts are, against published counts of insects.

Sources beside each test. "Recomputed": the check values were worked out again with R 4.2.2 and
with statsmodels 0.15.0 before they were written down.

Not checked, as nothing of the kind is computed here: analyses of variance (insect sprays,
wireworms), rank tests and Bartlett's. Cameron and Trivedi's test for over-dispersion (1990) is not
computed either; what it asks is answered by the dispersion itself.
"""

import csv
from math import isinf
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from compliance.trends.dispersion import index_of_dispersion, log_likelihood, phi_of, shape_of
from tests.outside import test_trend

DATA = Path(__file__).parent / "data"

# Bliss CI, Fisher RA (1953) Biometrics 9:176-200: red mites on 150 apple leaves, with 0 to 7 each.
MITES = np.repeat(np.arange(8), [70, 38, 17, 10, 9, 3, 2, 1]).tolist()


def test_index_of_dispersion_of_wetherill_and_brown():
    """Statistical Process Control (1991) pp. 216-218; output printed in the reference page of R
    package qcc 3.0: ratio 1.472203, statistic 42.69388, p 0.048579."""
    counts = [11, 8, 13, 11, 13, 17, 25, 23, 11, 16, 9, 15, 10, 16, 12]
    counts += [8, 9, 15, 4, 12, 12, 12, 15, 17, 14, 17, 12, 12, 7, 16]

    index = index_of_dispersion(counts)

    assert index.ratio == pytest.approx(1.472203, abs=5e-7)
    assert index.statistic == pytest.approx(42.69388, abs=5e-6)
    assert index.p == pytest.approx(0.048579, abs=5e-7)


def test_mites_on_leaves_clump_as_bliss_and_fisher_found():
    """Mean 1.14667, variance 2.27365, k 1.0246 (printed value from memory; recomputed 1.024592),
    log-likelihoods -222.43715 and -242.80994 (recomputed)."""
    assert (np.mean(MITES), np.var(MITES, ddof=1)) == pytest.approx((1.146667, 2.273647), abs=1e-6)

    index = index_of_dispersion(MITES)
    assert index.ratio == pytest.approx(1.982831278289, abs=1e-9)
    assert index.statistic == pytest.approx(295.441860465116, abs=1e-9)
    assert index.p == pytest.approx(1e-11, abs=5e-12)

    k = shape_of(MITES)

    assert k == pytest.approx(1.0245924, abs=2e-6)
    assert log_likelihood(MITES, k) == pytest.approx(-222.437153598, abs=1e-8)
    assert log_likelihood(MITES, float("inf")) == pytest.approx(-242.809940821, abs=1e-8)
    # 46.7 % of the leaves were empty; Poisson counts would leave 31.8 %, these 46.3 %.
    mean = np.mean(MITES)
    assert (1 + mean / k) ** -k == pytest.approx(0.463253188948, abs=1e-7)
    assert np.exp(-mean) == pytest.approx(0.317693986326, abs=1e-12)


def borers(treatment: str) -> list[int]:
    with (DATA / "corn-borers.csv").open() as lines:
        rows = [row for row in csv.DictReader(lines) if row["treat"] == treatment]
    return np.repeat([int(r["borers"]) for r in rows], [int(r["freq"]) for r in rows]).tolist()


@pytest.mark.parametrize(
    ("treatment", "mean", "variance", "k"),
    [
        ("T1", 4.0333, 16.452661064426, 1.502889),
        ("T2", 3.1667, 7.770308123249, 1.760488),
        ("T3", 1.4833, 3.19299719888, 1.333131),
        ("T4", 1.5083, 3.630182072829, 1.153522),
    ],
)
def test_corn_borers_by_treatment(treatment, mean, variance, k):
    """Bliss & Fisher (1953) Table 3, data of Beall 1940 (read from R package agridat). The paper
    prints k 1.532, 1.764, 1.333 and 1.190, fitted another way; maximum likelihood is recomputed."""
    counts = borers(treatment)

    assert len(counts) == 120
    assert np.mean(counts) == pytest.approx(mean, abs=5e-5)
    assert np.var(counts, ddof=1) == pytest.approx(variance, abs=1e-9)
    assert shape_of(counts) == pytest.approx(k, abs=2e-6)


def test_corn_borers_with_one_k_for_all():
    """Each treatment with its own mean: 1.47 is printed, 1.47144974 is R's (MASS, glm.nb)."""
    best = minimize_scalar(
        lambda k: -sum(log_likelihood(borers(one), k) for one in ("T1", "T2", "T3", "T4")),
        bounds=(0.5, 5),
        method="bounded",
        options={"xatol": 1e-9},
    )

    assert best.x == pytest.approx(1.47144974, abs=1e-5)


def test_webworms_of_two_sprays():
    """Beall G (1940) Ecology 21:460-474, Table 6, by treatment and block as Kosma et al. (2019)
    J. Agron. Crop Sci. fit them (data: R package agridat): log-likelihoods of -1497.719 and, with
    clumps, -1478.341 are printed. statsmodels fits them; the dispersion is ours."""
    import statsmodels.api as sm

    with (DATA / "webworms.csv").open() as lines:
        rows = [row for row in csv.DictReader(lines) for _ in range(int(row["plots"]))]
    counts = np.array([int(row["worms"]) for row in rows], dtype=float)

    def columns(name: str) -> list[np.ndarray]:
        values = np.array([row[name] for row in rows])
        return [(values == one).astype(float) for one in sorted(set(values))[1:]]

    design = np.column_stack([np.ones(len(rows)), *columns("treatment"), *columns("block")])
    fit = sm.GLM(counts, design, family=sm.families.Poisson()).fit(tol=1e-12)
    clumped = sm.NegativeBinomial(counts, design).fit(disp=0, maxiter=200)

    assert len(rows) == 1300
    assert phi_of(counts, fit.fittedvalues, fitted=16) == pytest.approx(1.254656397975, abs=1e-8)
    assert (fit.llf, clumped.llf) == pytest.approx((-1497.719063666, -1478.34087575), abs=1e-5)
    assert 1 / clumped.params[-1] == pytest.approx(2.98855940217, abs=2e-3)
    for name, mean in (
        ("T1", 1.4),
        ("T2", 0.504615384615),
        ("T3", 0.852307692308),
        ("T4", 0.412307692308),
    ):
        mine = [int(row["worms"]) for row in rows if row["treatment"] == name]
        assert np.mean(mine) == pytest.approx(mean, abs=1e-9)


def test_insects_after_six_sprays():
    """Beall G (1942) Biometrika 29:243-262 (R data set InsectSprays): means and variances of twelve
    plots each, and the dispersion left around the six means, 1.5077 (Pearson 99.509 over 66; R)."""
    with (DATA / "insect-sprays.csv").open() as lines:
        rows = [(row["spray"], int(row["count"])) for row in csv.DictReader(lines)]
    by_spray = {name: [count for spray, count in rows if spray == name] for name in "ABCDEF"}
    means = {name: float(np.mean(counts)) for name, counts in by_spray.items()}

    assert (len(rows), sum(count for _, count in rows)) == (72, 684)
    assert list(means.values()) == pytest.approx(
        [14.5, 15.333333333333, 2.083333333333, 4.916666666667, 3.5, 16.666666666667]
    )
    assert [
        index_of_dispersion(counts).ratio * means[name] for name, counts in by_spray.items()
    ] == pytest.approx(
        [
            *(22.272727272727, 18.242424242424, 3.901515151515),
            *(6.265151515152, 3.0, 38.606060606061),
        ]
    )
    phi = phi_of([count for _, count in rows], [means[spray] for spray, _ in rows], fitted=6)
    assert phi == pytest.approx(1.507712557985, abs=1e-10)
    assert phi * 66 == pytest.approx(99.509028827, abs=1e-8)


def test_roaches_in_traps_are_sixty_five_times_as_variable_as_poisson():
    """Gelman A, Hill J (2007) Data Analysis Using Regression, section 6.2; data from R package
    rstanarm: dispersion 65.4 (from memory of the book), recomputed 65.4403 in R. The exposure is
    the offset of the model; statsmodels fits it, the dispersion is ours."""
    import statsmodels.api as sm

    with (DATA / "roaches.csv").open() as lines:
        rows = [[float(value) for value in row.values()] for row in csv.DictReader(lines)]
    caught, before, treated, senior, exposure = np.array(rows).T
    design = sm.add_constant(np.column_stack([before, treated, senior]))
    fit = sm.GLM(caught, design, family=sm.families.Poisson(), offset=np.log(exposure)).fit(
        tol=1e-12
    )

    phi = phi_of(caught, fit.fittedvalues, fitted=4)

    assert len(rows) == 262
    assert (caught.mean(), caught.var(ddof=1), (caught == 0).mean()) == pytest.approx(
        (25.648854961832, 2585.370477611068, 0.358778625954), abs=1e-9
    )
    assert phi == pytest.approx(65.4403, abs=0.005)
    assert fit.params == pytest.approx(
        [3.08924634545, 0.006982891458, -0.516726179465, -0.379875051072], abs=1e-6
    )
    # With all that variance the treatment's error is eight times what Poisson counts would have.
    assert fit.bse[2] == pytest.approx(0.024739041067, abs=1e-5)
    assert fit.bse * np.sqrt(phi) == pytest.approx(
        [0.171772053994, 0.000717901675, 0.200125382568, 0.270338036576], rel=1e-4
    )
    assert np.exp(fit.params[2]) == pytest.approx(0.596470091107, abs=1e-6)


def test_counts_less_varied_than_poisson_are_not_clumped():
    assert isinf(shape_of([3, 3, 3, 4, 3]))


@pytest.mark.parametrize(
    ("name", "ratio", "p"),
    [("LYNX", 1635.157498745, 0.0), ("DISCOVERIES", 1.638970348648, 6.3347771e-05)],
)
def test_long_series_are_clumped(name, ratio, p):
    """The lynx and the discoveries of tests/outside/test_trend.py (R data sets); recomputed."""
    index = index_of_dispersion(getattr(test_trend, name))

    assert index.ratio == pytest.approx(ratio, abs=1e-8)
    assert index.p == pytest.approx(p, abs=1e-11)
