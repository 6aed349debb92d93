"""Write stored_lives.json: life laws and comparisons as the lifelines library (0.30.0) fits them to public data.

Run by hand in an environment of its own with lifelines installed (it is no dependency of this project); the test reads
the file only. Made on 2026-11-25 with lifelines 0.30.0, scipy 1.17.1, numpy 2.4.6, pandas 3.1.1. The data's sources
stand in public_lives.py beside this script.
"""

import json
import math
from pathlib import Path

import lifelines
import numpy as np
import pandas as pd
from lifelines import LogLogisticFitter, LogNormalFitter, WeibullAFTFitter, WeibullFitter
from lifelines.statistics import logrank_test
from public_lives import (
    ABSORBERS_FAILED,
    ABSORBERS_RUNNING,
    CRACK_MONTHS,
    CRACKED,
    PLACEBO,
    REMISSION,
    channing_men,
    split_marks,
)

TIGHT = {"tol": 1e-12}
LAWS = {"Weibull": WeibullFitter, "lognormal": LogNormalFitter, "log-logistic": LogLogisticFitter}


def scale_and_shape(name, fit):
    """Return scale and shape as this project names them."""
    if name == "Weibull":
        return fit.lambda_, fit.rho_
    return (math.exp(fit.mu_), 1.0 / fit.sigma_) if name == "lognormal" else (fit.alpha_, fit.beta_)


def stored(name, fit):
    """Return what is kept of one fit."""
    scale, shape = scale_and_shape(name, fit)
    ages = {"b10": fit.percentile(0.9), "median": fit.percentile(0.5)}
    return {"scale": scale, "shape": shape, "log_likelihood": fit.log_likelihood_, **ages}


def fit_every_law():
    """Fit each law to late entries, to right-censored lives and to failures found between looks."""
    entry, leave, died = channing_men()
    ages = [*ABSORBERS_FAILED, *ABSORBERS_RUNNING]
    failed = [True] * len(ABSORBERS_FAILED) + [False] * len(ABSORBERS_RUNNING)
    low, high = [0.0, *CRACK_MONTHS], [*CRACK_MONTHS, np.inf]
    found = {"channing men": {}, "shock absorbers": {}, "cracked parts": {}}
    for name, law in LAWS.items():
        # from the library's own starting point the log-logistic runs away to a scale of nought with late entries
        start = np.array([900.0, 6.0]) if name == "log-logistic" else None
        late = law().fit(leave, died, entry=entry, initial_point=start, fit_options=TIGHT)
        found["channing men"][name] = stored(name, late)
        found["shock absorbers"][name] = stored(name, law().fit(ages, failed, fit_options=TIGHT))
        between = law().fit_interval_censoring(low, high, weights=[*CRACKED, 73], fit_options=TIGHT)
        found["cracked parts"][name] = stored(name, between)
    return found


def compare_treatments():
    """Compare remission under treatment with that under placebo: one shape, a scale each; and by log-rank."""
    times, ended = split_marks(REMISSION)
    others, others_ended = split_marks(PLACEBO)
    frame = pd.DataFrame(
        {"weeks": times + others, "ended": ended + others_ended, "treated": [1] * len(times) + [0] * len(others)}
    )
    fit = WeibullAFTFitter().fit(frame, "weeks", "ended", fit_options=TIGHT)
    apart = [WeibullFitter().fit(times, ended, fit_options=TIGHT), WeibullFitter().fit(others, others_ended)]
    together = WeibullFitter().fit(frame["weeks"], frame["ended"], fit_options=TIGHT)
    by_rank = logrank_test(times, others, ended, others_ended)
    return {
        "log_ratio": float(fit.params_[("lambda_", "treated")]),
        "log_ratio_se": float(fit.standard_errors_[("lambda_", "treated")]),
        "log_shape": float(fit.params_[("rho_", "Intercept")]),
        "log_likelihood": float(fit.log_likelihood_),
        "log_likelihood_apart": float(sum(one.log_likelihood_ for one in apart)),
        "log_likelihood_together": float(together.log_likelihood_),
        "log_rank": float(by_rank.test_statistic),
        "log_rank_p": float(by_rank.p_value),
    }


def main():
    """Write the file beside this script."""
    found = {"made_with": f"lifelines {lifelines.__version__}", **fit_every_law(), "remission": compare_treatments()}
    text = json.dumps(found, indent=1, default=float)
    Path(__file__).with_name("stored_lives.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
