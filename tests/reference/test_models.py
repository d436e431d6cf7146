"""Cox and Fine-Gray regression and the check of proportional hazards against figures."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.survival.concordance import removal_concordance
from pipeline.analysis.survival.cox import CoxLikelihood, cox
from pipeline.analysis.survival.fine_gray import fine_gray
from pipeline.analysis.survival.model_data import CENSORED, OF_REASON, OTHER_REASON, ModelData
from pipeline.analysis.survival.ph_checks import check_proportional_hazards
from pipeline.analysis.survival.removal_model import fit_removal_model
from tests.reference.survival_tables import (
    aidssi,
    bladder,
    columns,
    made_up_ties,
    melanoma,
    model_data,
)

DATA = Path(__file__).parent / "data"


def leukaemia() -> ModelData:
    table = columns("gehan_6mp")
    treated = (table["treat"] == "6-MP").astype(float)[:, None]
    outcome = np.where(table["cens"] == "1", OF_REASON, CENSORED)
    return model_data(treated, table["time"].astype(float), outcome)


def test_efron_fit_of_the_leukaemia_trial() -> None:
    # SV-03: Efron -1.572 (0.412) recalled, not retrieved; data and model Cox 1972,
    # J R Stat Soc B 34:187-220. Digits from R 4.2.2, survival 3.5-3.
    fit = cox(leukaemia())
    assert fit.coefficients[0] == pytest.approx(-1.5721251, abs=5e-8)
    assert fit.model_based_se[0] == pytest.approx(0.4123967, abs=5e-8)
    assert fit.hazard_ratio[0] == pytest.approx(0.20760, abs=5e-6)
    assert fit.null_log_likelihood == pytest.approx(-93.18427, abs=5e-6)
    assert fit.log_likelihood == pytest.approx(-85.00842, abs=5e-6)


def test_efron_score_test_of_the_leukaemia_trial() -> None:
    # SV-03: 17.24654, R 4.2.2.
    null = CoxLikelihood.of(leukaemia()).at(np.zeros(1))
    assert null.score()[0] ** 2 / null.information()[0, 0] == pytest.approx(17.24654, abs=5e-6)


def ccr5(of: int) -> ModelData:
    years, reason, kind = aidssi()
    typed = kind != ""
    outcome = np.select([reason == of, reason >= 0], [OF_REASON, OTHER_REASON], CENSORED)
    matrix = (kind[typed] == "WM").astype(float)[:, None]
    return model_data(matrix, years[typed], outcome[typed])


@pytest.mark.parametrize(
    ("of", "published", "coefficient", "se"),
    [
        # CR-03: three decimals from Putter, Fiocco and Geskus 2007 (recalled, not
        # retrieved); digits from R 4.2.2, survival 3.5-3, Efron ties.
        (0, (-1.236, 0.307), -1.235814719, 0.3071146261),
        (1, (-0.254, 0.238), -0.2542042176, 0.2380337003),
    ],
)
def test_cause_specific_hazards_by_ccr5(
    of: int, published: tuple[float, float], coefficient: float, se: float
) -> None:
    fit = cox(ccr5(of))
    assert fit.coefficients[0] == pytest.approx(coefficient, rel=1e-8)
    assert fit.model_based_se[0] == pytest.approx(se, rel=1e-8)
    assert (fit.coefficients[0], fit.model_based_se[0]) == pytest.approx(published, abs=5.1e-4)


@pytest.mark.parametrize(
    ("of", "published", "coefficient", "se"),
    [
        # CR-03: as above for the subdistribution hazards; digits from R cmprsk 2.2-11.
        (0, (-1.004, 0.295), -1.0043015301, 0.2950317515),
        (1, (0.024, 0.227), 0.0235850358, 0.2266439759),
    ],
)
def test_subdistribution_hazards_by_ccr5(
    of: int, published: tuple[float, float], coefficient: float, se: float
) -> None:
    fit = fine_gray(ccr5(of))
    assert fit.coefficients[0] == pytest.approx(coefficient, rel=1e-7)
    assert fit.se[0] == pytest.approx(se, rel=1e-7)
    assert (fit.coefficients[0], fit.se[0]) == pytest.approx(published, abs=5.1e-4)


def melanoma_model(names: list[str]) -> ModelData:
    days, reason, table = melanoma()
    values = {key: table[key].astype(float) for key in ("sex", "age", "ulcer", "thickness")}
    values["log_thickness"] = np.log(values["thickness"])
    outcome = np.select([reason == 0, reason == 1], [OF_REASON, OTHER_REASON], CENSORED)
    return model_data(np.column_stack([values[n] for n in names]), days, outcome)


def test_subdistribution_hazards_of_melanoma_deaths() -> None:
    # CR-02: R cmprsk 2.2-11, which stops at its own tolerance; hence 1e-6 on coefficients.
    fit = fine_gray(melanoma_model(["sex", "ulcer", "log_thickness", "age"]))
    expected = [0.3441871, 0.9107141, 0.4981877, 0.0053040]
    assert fit.coefficients == pytest.approx(expected, abs=5e-7)
    assert fit.se == pytest.approx([0.2804395, 0.3107216, 0.1675395, 0.0092274], abs=8e-8)


def test_subdistribution_hazard_of_sex_alone() -> None:
    # CR-02: R cmprsk 2.2-11.
    fit = fine_gray(melanoma_model(["sex"]))
    assert fit.coefficients[0] == pytest.approx(0.6365323, abs=5e-8)
    assert fit.se[0] == pytest.approx(0.2634724, abs=5e-8)


CHILD = columns("made_up_ties")["cl"].astype(np.int64)
STRATUM = columns("made_up_ties")["s"].astype(np.int64) - 1
# R 4.2.2, survival 3.5-3 and cmprsk 2.2-11: made_up_ties.R.
COX = [
    -0.0308579931720621,
    0.0191157867299465,
    -0.1434601282174165,
    -0.3958936455293896,
    -0.5691026347358737,
]
COX_MODEL_BASED = [
    0.0836717578507165,
    0.0148171173525965,
    0.2192733278049795,
    0.2194782592456386,
    0.2360750626141568,
]
COX_CLUSTERED = [
    0.0893041192165296,
    0.0157999618121845,
    0.2128357900822243,
    0.2048664781560326,
    0.2323524392511197,
]


def test_cox_with_many_ties_and_children_with_several_catheters() -> None:
    fit = cox(made_up_ties(child=CHILD))
    assert fit.coefficients == pytest.approx(COX, rel=1e-10)
    assert fit.model_based_se == pytest.approx(COX_MODEL_BASED, rel=1e-8)
    assert fit.se == pytest.approx(COX_CLUSTERED, rel=1e-10)
    assert fit.log_likelihood == pytest.approx(-822.448672117319, abs=1e-9)
    assert fit.null_log_likelihood == pytest.approx(-826.787248983303, abs=1e-9)
    assert fit.children == len(np.unique(CHILD))


def test_cox_within_strata() -> None:
    # R 4.2.2, survival 3.5-3, coxph with strata(s): made_up_ties.R.
    fit = cox(made_up_ties(child=CHILD, stratum=STRATUM))
    expected = [
        -0.0194838189657960,
        0.0199892100638032,
        -0.1252380335441971,
        -0.3688889452533641,
        -0.5500253466383553,
    ]
    model_based = [
        0.0842256811206191,
        0.0148474986456119,
        0.2207825970636656,
        0.2234509796093083,
        0.2373457313847747,
    ]
    clustered = [
        0.0895199916447598,
        0.0156289255064675,
        0.2148805224492178,
        0.2084170832819158,
        0.2355564532556135,
    ]
    assert fit.coefficients == pytest.approx(expected, rel=1e-10)
    assert fit.model_based_se == pytest.approx(model_based, rel=1e-8)
    assert fit.se == pytest.approx(clustered, rel=1e-10)
    logs = (fit.null_log_likelihood, fit.log_likelihood)
    assert logs == pytest.approx((-659.117109511263, -655.056335628719), abs=1e-9)


def test_first_to_fourth_recurrence_as_strata() -> None:
    # The marginal model of Wei, Lin and Weissfeld 1989, J Am Stat Assoc 84:1065-1073 (recalled,
    # not retrieved) on R's `bladder`. R 4.2.2, survival 3.5-3: recurrent.R.
    months, covariates, of, at, _ = bladder()
    stop = np.repeat(months[:, None], 4, axis=1)
    outcome = np.full(stop.shape, CENSORED)
    for patient in range(len(months)):
        recurred = np.sort(at[of == patient])
        stop[patient, : len(recurred)] = recurred
        outcome[patient, : len(recurred)] = OF_REASON
    data = model_data(
        np.repeat(covariates, 4, axis=0),
        stop.ravel(),
        outcome.ravel(),
        child=np.repeat(np.arange(len(months)), 4),
        stratum=np.tile(np.arange(4), len(months)),
    )
    fit = cox(data)
    expected = [-0.5847934587383582, 0.2102937052965167, -0.0516169832266446]
    model_based = [0.2010506024144294, 0.0467547899145895, 0.0697343199984516]
    clustered = [0.3079462581726173, 0.0666416867914564, 0.0945866439054905]
    assert fit.coefficients == pytest.approx(expected, rel=1e-10)
    assert fit.model_based_se == pytest.approx(model_based, rel=1e-8)
    assert fit.se == pytest.approx(clustered, rel=1e-10)
    logs = (fit.null_log_likelihood, fit.log_likelihood)
    assert logs == pytest.approx((-438.777194697593, -426.146832546882), abs=1e-9)


def random_effect() -> pl.DataFrame:
    """1,500 invented episodes of eight levels, as made_up_ties.R models them."""
    rows = pl.read_csv(DATA / "random_effect_invented.csv")
    reason = pl.when(pl.col("event") == 1).then(pl.lit("dislodged"))
    return rows.with_columns(reason=reason, n=pl.lit(1))


def test_a_random_effect_of_levels() -> None:
    # R 4.2.2, survival 3.5-3, frailty(distribution = "gaussian", method = "reml", sparse = FALSE).
    found = fit_removal_model(random_effect(), ["age", "glue"], "dislodged", random="level")
    fit, frailty = found.fit, found.frailty
    assert fit is not None
    assert frailty is not None
    assert frailty.sd**2 == pytest.approx(0.0465448065628421, rel=1e-6)
    coefficients = [-0.0430229844748773, -0.2536712804856463]
    assert fit.coefficients == pytest.approx(coefficients, rel=1e-7)
    assert fit.se == pytest.approx([0.0109618502573333, 0.1052133353773678], rel=1e-7)
    levels = [
        -0.1274175978216108, -0.1862161642922837, 0.1458388773102353, -0.3020890494852631,
        0.1679510078588980, 0.0797738307822698, 0.1488085073360746, 0.0733505883116798,
    ]  # fmt: skip
    assert [np.log(one.ratio) for one in frailty.levels] == pytest.approx(levels, rel=1e-6)
    width = np.log(frailty.levels[0].upper / frailty.levels[0].lower) / (2 * 1.959963984540054)
    assert width == pytest.approx(0.1383423248544200, rel=1e-6)
    assert fit.log_likelihood == pytest.approx(-2718.66637824724, abs=1e-5)
    assert 0.05 < frailty.lower < frailty.sd < frailty.upper < 0.6
    assert not found.calibration


def test_levels_drawn_alike_have_a_spread_whose_limits_begin_at_zero() -> None:
    rng = np.random.default_rng(2)
    rows = random_effect().with_columns(level=pl.Series(rng.choice(list("abcd"), 1500)))
    frailty = fit_removal_model(rows, ["age"], "dislodged", random="level").frailty
    assert frailty is not None
    assert frailty.lower < 0.01
    assert 0.02 < frailty.upper < 0.5


def test_two_levels_have_no_random_effect() -> None:
    rows = random_effect().with_columns(level=pl.col("level") < "d")
    found = fit_removal_model(rows, ["age"], "dislodged", random="level")
    assert found.fit is None
    assert "3 levels or more" in found.left_out[-1].message


def test_baseline_hazards_within_strata() -> None:
    fit = cox(made_up_ties(stratum=STRATUM))
    at = fit.relative_hazard(np.array([[0.0, 9, 0, 0, 0]]))[0]
    hazards = [at * fit.baseline.increments[until].sum() for until in fit.baseline.strata(72)]
    expected = [0.522989475786636, 0.412642693899601, 0.479126665585847]
    assert hazards == pytest.approx(expected, rel=1e-10)


def test_proportional_hazards_within_strata() -> None:
    # R 4.2.2, survival 3.5-3, cox.zph: terms x, z, g (3 degrees), all.
    data = made_up_ties(stratum=STRATUM)
    check = check_proportional_hazards(data, cox(data))
    expected = [1.01861489471323, 0.00776576995199, 1.07837216190298, 2.10293275211771]
    assert [t.chi_square for t in check.tests] == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize(
    ("strata", "estimate", "se"),
    [
        # R 4.2.2, survival 3.5-3, concordance with cluster = cl: made_up_ties.R.
        ({}, 0.573058098056024, 0.0244781117287204),
        ({"stratum": STRATUM}, 0.573087488554066, 0.0249948011061554),
    ],
)
def test_concordance(strata: dict[str, np.ndarray], estimate: float, se: float) -> None:
    data = made_up_ties(child=CHILD, **strata)
    found = removal_concordance(data, cox(data))
    assert found.estimate == pytest.approx(estimate, rel=1e-12)
    assert found.se == pytest.approx(se, rel=1e-10)


def test_baseline_hazard_of_cox() -> None:
    fit = cox(made_up_ties())
    until = fit.baseline.hours <= 72
    hazard = fit.baseline.increments[until].sum()
    at = fit.relative_hazard(np.array([[0.0, 9, 0, 0, 0]]))[0]
    assert hazard * at == pytest.approx(0.481641037293259, rel=1e-10)


@pytest.mark.parametrize(
    ("transform", "figures"),
    [
        ("km", [1.10680358418841, 0.00213646861819, 1.05894653697984, 2.12686725249296]),
        ("hours", [0.9393276930240, 0.0217973470713, 1.1221027990296, 2.0503011516414]),
    ],
)
def test_proportional_hazards(transform: str, figures: list[float]) -> None:
    # R 4.2.2, survival 3.5-3, cox.zph: terms x, z, g (3 degrees), all.
    data = made_up_ties()
    check = check_proportional_hazards(data, cox(data), transform=transform)
    assert [t.chi_square for t in check.tests] == pytest.approx(figures, rel=1e-10)
    assert [t.degrees for t in check.tests] == [1, 1, 3, 5]


def test_fine_gray_with_many_ties() -> None:
    fit = fine_gray(made_up_ties())
    expected = [
        -0.0388658356849822,
        0.0163815840098699,
        -0.0558391587309405,
        -0.3232703977675708,
        -0.4513566334034599,
    ]
    errors = [
        0.0796702785922135,
        0.0146818483182928,
        0.2154304547985761,
        0.2167939703082865,
        0.2295582400364414,
    ]
    assert fit.coefficients == pytest.approx(expected, rel=1e-9)
    assert fit.se == pytest.approx(errors, rel=1e-9)
    assert fit.log_likelihood == pytest.approx(-866.747698465066, abs=1e-9)


def test_fine_gray_with_censoring_by_group() -> None:
    fit = fine_gray(made_up_ties(censoring_group=STRATUM))
    expected = [
        -0.0401134455670215,
        0.0163781197351161,
        -0.0546392509371861,
        -0.3221566527955494,
        -0.4500654609863311,
    ]
    assert fit.coefficients == pytest.approx(expected, rel=1e-8)
    # R cmprsk counts the estimated censoring otherwise where there are several groups
    # (with one group its errors are ours to 1e-9, above): 0.05% apart here.
    errors = [0.07968879, 0.01467849, 0.21546548, 0.21677746, 0.22958222]
    assert fit.se == pytest.approx(errors, rel=6e-4)


def test_incidence_predicted_by_fine_gray() -> None:
    fit = fine_gray(made_up_ties())
    ratio = fit.relative_hazard(np.array([[0.0, 9, 0, 0, 0]]))[0]
    hours, steps = fit.baseline.hours, fit.baseline.increments
    risks = [-np.expm1(-steps[hours <= h].sum() * ratio) for h in (20, 40, 72)]
    expected = [0.0539668465152953, 0.1476760334700726, 0.3194268768474511]
    assert risks == pytest.approx(expected, rel=1e-10)
