"""Events that come back, against R's survival on recurrences of bladder tumours."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.analysis.survival.cox import cox
from pipeline.analysis.survival.model_data import CENSORED, OF_REASON
from pipeline.analysis.survival.recurrent import RecurrentEvents, mean_cumulative, of_episodes
from tests.reference.survival_tables import bladder, model_data

# R 4.2.2, survival 3.5-3: recurrent.R. At 6, 12, 24 and 48 months.
MEAN = {
    1: [0.393740363860623, 0.716828386948646, 1.446774186406640, 2.099882460204964],
    2: [0.387552213868003, 0.447373642439432, 0.889836503652293, 1.652862774766799],
}
SE = {
    1: [0.084464999868503, 0.140584374049915, 0.243820841969931, 0.348466846279199],
    2: [0.105313776746882, 0.134773699065030, 0.214051457267071, 0.407537544738301],
}
N = {1: [45, 42, 32, 6], 2: [35, 32, 25, 6]}


@pytest.mark.parametrize("treatment", [1, 2])
def test_mean_cumulative_function_and_its_robust_error(treatment: int) -> None:
    months, covariates, of, at, _ = bladder()
    everyone = RecurrentEvents(months, np.arange(len(months)), of, at)
    events = of_episodes(everyone, np.flatnonzero(covariates[:, 0] == treatment))
    found = mean_cumulative(events, [6, 12, 24, 48])
    assert found.n.tolist() == N[treatment]
    assert found.mean == pytest.approx(MEAN[treatment], rel=1e-12)
    assert found.se == pytest.approx(SE[treatment], rel=1e-12)


def test_andersen_gill_with_errors_clustered_on_the_patient() -> None:
    months, covariates, of, at, again = bladder()
    patients = np.arange(len(months))
    data = model_data(
        np.concatenate([covariates, again]),
        np.concatenate([months, at]),
        np.repeat([CENSORED, OF_REASON], [len(months), len(at)]),
        child=np.concatenate([patients, of]),
    )
    fit = cox(replace(data, goes_on=True))
    expected = [-0.4646869529888676, 0.1749603811882475, -0.0436602761167939]
    assert fit.coefficients == pytest.approx(expected, rel=1e-10)
    model_based = [0.1997321888292673, 0.0470740584485202, 0.0690508525102248]
    assert fit.model_based_se == pytest.approx(model_based, rel=1e-9)
    robust = [0.2655608118934344, 0.0630405431965559, 0.0776161126753127]
    assert fit.se == pytest.approx(robust, rel=1e-9)
    logs = (fit.null_log_likelihood, fit.log_likelihood)
    assert logs == pytest.approx((-458.739349590266, -449.980642001765), abs=1e-9)
    assert (fit.episodes, fit.events, fit.children) == (85, 112, 85)
