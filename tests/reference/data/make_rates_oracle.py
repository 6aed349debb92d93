"""Write rates_oracle.json: rates, ratios and regressions as the statsmodels library (0.15.0) gives them.

Run by hand in an environment of its own with statsmodels installed (it is no dependency of this project); the test
reads the file only. Made on 2026-11-25 with statsmodels 0.15.0, scipy 1.17.1, numpy 2.4.6.
"""

import json
from pathlib import Path

import numpy as np
import statsmodels
import statsmodels.api as sm
from statsmodels.stats.rates import confint_poisson, test_poisson_2indep

RATES = [(15, 400.0), (0, 3.2), (3, 7.5), (1, 0.27), (196, 280.0)]
PAIRS = [(60, 51477.5, 30, 54308.7), (41, 28010.0, 15, 19017.0), (4, 10.0, 0, 25.0), (9, 30.0, 11, 12.0)]
PUMPS = ([5, 1, 5, 14, 3, 19, 1, 1, 4, 22], [94.32, 15.72, 62.88, 125.76, 5.24, 31.44, 1.048, 1.048, 2.096, 10.48])


def regression():
    """Fit a Poisson regression to forty made-up cells of ten clusters."""
    rng = np.random.default_rng(20_261)
    group, age, cluster = rng.integers(0, 2, 40), rng.uniform(0, 15, 40), np.repeat(np.arange(10), 4)
    years = rng.uniform(0.5, 6.0, 40)
    counts = rng.poisson(years * np.exp(-1.0 + 0.6 * group + 0.05 * age) * rng.gamma(2.0, 0.5, 10)[cluster])
    matrix = np.column_stack([np.ones(40), group, age])
    model = sm.GLM(counts, matrix, family=sm.families.Poisson(), exposure=years)
    plain = model.fit(tol=1e-12)
    robust = model.fit(tol=1e-12, cov_type="cluster", cov_kwds={"groups": cluster, "use_correction": False})
    return {
        "matrix": matrix.tolist(),
        "years": years.tolist(),
        "counts": counts.tolist(),
        "cluster": cluster.tolist(),
        "coefficients": plain.params.tolist(),
        "errors": plain.bse.tolist(),
        "cluster_errors_uncorrected": robust.bse.tolist(),
    }


def main():
    """Write the file beside this script."""
    found = {"made_with": f"statsmodels {statsmodels.__version__}", "intervals": [], "pairs": []}
    for n, years in RATES:
        for method, name in (("exact-c", "exact"), ("midp-c", "mid-p")):
            low, high = confint_poisson(n, years, method=method, alpha=0.10)
            found["intervals"].append([n, years, name, float(low), float(high)])
    for pair in PAIRS:
        for method, name in (("exact-cond", "exact"), ("cond-midp", "mid-p")):
            sides = [test_poisson_2indep(*pair, method=method, alternative=side) for side in ("larger", "smaller")]
            found["pairs"].append([*pair, name, *(float(side.pvalue) for side in sides)])
    failures, hours = (np.array(values) for values in PUMPS)
    law = sm.NegativeBinomial(failures, np.ones((10, 1)), exposure=hours).fit(disp=0, maxiter=500)
    mean, shape = float(np.exp(law.params[0])), float(1.0 / law.params[1])
    found["pumps"] = {"mean": mean, "shape": shape, "log_likelihood": float(law.llf)}
    found["regression"] = regression()
    Path(__file__).with_name("rates_oracle.json").write_text(json.dumps(found) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
