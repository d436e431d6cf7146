"""What was left out of a model, in words; few children are not counted aloud."""

import pytest

from pipeline.analysis.survival.term_choice import LeftOut
from pipeline.words.codes import effect_of, quantity_of
from pipeline.words.removal_model import left_out_sentence


@pytest.mark.parametrize(
    ("left", "said"),
    [
        (
            LeftOut("skin_glue", None, "no_event"),
            "Skin glue is not fitted: no catheter with it recorded was removed for this reason.",
        ),
        (
            LeftOut("drug", None, "constant"),
            "Drug is not fitted: it does not vary among the catheters analysed.",
        ),
        (
            LeftOut("site", None, "one_level"),
            "Site is not fitted: catheters of one level alone were removed for this reason.",
        ),
        (
            LeftOut("age_years", None, "no_event"),
            "Age is not fitted: no catheter with it recorded was removed for this reason.",
        ),
        (
            LeftOut("age_band", None, "told_before"),
            "Age band is not fitted: it tells the same as the terms before it.",
        ),
        (
            LeftOut("limb", "trunk", "told_before"),
            "Limb: trunk is told by the terms before it.",
        ),
        (
            LeftOut("surgeon_type", "foot_ankle", "level_without_event"),
            "Surgeon type foot and ankle: no catheter was removed for this reason, so a ratio "
            "cannot be given; these catheters are not in the model.",
        ),
        (
            LeftOut("site", None, "few_events", events=83, wanted=12),
            "Site is not fitted: there are 83 removals for this reason, too few for the "
            "12 coefficients that the model would have, at 10 each.",
        ),
        (
            LeftOut("limb", None, "few_events", events=7, wanted=1),
            "Limb is not fitted: there are 7 removals for this reason, too few for the "
            "1 coefficient that the model would have, at 10 each.",
        ),
        (LeftOut("", None, "not_estimable", message="Why not."), "Why not."),
    ],
)
def test_what_was_left_out_is_a_sentence(left: LeftOut, said: str) -> None:
    assert left_out_sentence(left) == said


@pytest.mark.parametrize(
    ("column", "level", "said"),
    [
        ("age_years", None, "age, per year"),
        ("rate_ml_h", None, "rate, per ml/h"),
        ("reservoir_ml", None, "reservoir, per ml"),
        ("placed_hour", None, "hour of placement, per hour"),
        ("surgeon_type", "foot_ankle", "surgeon type: foot and ankle"),
    ],
)
def test_a_coefficient_is_named_by_its_step_or_its_level(column, level, said: str) -> None:
    assert effect_of(column, level) == said


def test_a_quantity_is_named_without_its_unit() -> None:
    assert quantity_of("planned_dwell_h") == ("planned dwell", "hour")
