"""Models of removal as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from pipeline.analysis.survival.aft import AftFit
from pipeline.analysis.survival.aft_model import AftResult
from pipeline.analysis.survival.imputed_model import ImputedModel
from pipeline.analysis.survival.model_data import ModelFit
from pipeline.analysis.survival.removal_model import ModelResult
from pipeline.words.numbers import json_number


def rows_of(names: tuple[str, ...], columns: Iterable[Any]) -> list[dict[str, Any]]:
    """Return a mapping a row of some columns, null where there is no number."""
    return [
        dict(zip(names, (json_number(v) for v in row), strict=True))
        for row in zip(*columns, strict=True)
    ]


def model_mapping(result: ModelResult) -> dict[str, Any]:
    """Return a model with its terms, risks, checks, and what was left out and why."""
    from pipeline.words.removal_model import left_out_sentence, model_sentences

    fit = result.fit
    found: dict[str, Any] = {
        "model": result.model,
        "reason": result.reason,
        "asked": list(result.asked),
        "episodes": fit.episodes if fit else None,
        "events": fit.events if fit else None,
        "children": fit.children if fit else None,
        "missing": result.missing,
        "missing_by_term": result.missing_by_term,
        "terms": [] if fit is None else model_terms(fit),
        "risks": [
            {
                "term": r.child.term, "value": r.child.value, "hour": r.hour, "risk": r.risk,
                "lower": r.lower, "upper": r.upper,
            }
            for r in result.risks
        ],
        "left_out": [
            {"term": x.term, "level": x.level, "why": left_out_sentence(x)}
            for x in result.left_out
        ],
        "strata": result.strata,
        "calibration": [asdict(group) for group in result.calibration],
        "sentences": model_sentences(result),
    }  # fmt: skip
    if (found_c := result.concordance) is not None:
        names = ("estimate", "se", "lower", "upper")
        found["concordance"] = {name: json_number(getattr(found_c, name)) for name in names}
    if result.imputed is not None:
        found["imputed"] = imputed_mapping(result.imputed, "hazard_ratio")
    if (frailty := result.frailty) is not None:
        found["random_effect"] = {
            "term": frailty.term, "sd": frailty.sd, "lower": frailty.lower,
            "upper": json_number(frailty.upper), "levels": [asdict(one) for one in frailty.levels],
        }  # fmt: skip
    if result.check is not None:
        found["proportional_hazards"] = [
            {"term": t.term, "chi_square": t.chi_square, "degrees": t.degrees, "p": t.p_value}
            for t in result.check.tests
        ]
        found["by_day"] = [
            {
                "term": w.column.term, "level": w.column.level, "from_h": w.from_h,
                "until_h": w.until_h, "hazard_ratio": json_number(w.hazard_ratio),
                "lower": json_number(w.lower), "upper": json_number(w.upper),
            }
            for w in result.check.windows
        ]  # fmt: skip
    return found


def aft_mapping(result: AftResult) -> dict[str, Any]:
    """Return time to unplanned removal: families, time ratios, hours, and the fit to the data."""
    from pipeline.words.removal_aft import aft_sentences
    from pipeline.words.removal_model import left_out_sentence

    check = result.check
    found: dict[str, Any] = {
        "model": "aft",
        "event": "removal for any reason but a completed course",
        "asked": list(result.asked),
        "families": [
            {"family": f.family, "log_likelihood": f.log_likelihood, "aic": f.aic}
            for f in result.fits
        ],
        "episodes": result.fits[0].episodes if result.fits else None,
        "events": result.fits[0].events if result.fits else None,
        "missing": result.missing,
        "terms": _time_ratios(result.fits[0]) if result.fits else [],
        "hours": [
            {
                "term": h.child.term, "value": h.child.value, "until_h": result.until_h,
                "hours": h.hours, "more": h.more, "lower": h.lower, "upper": h.upper,
            }
            for h in result.hours
        ],
        "without_unplanned_removal": [
            {"hour": hour, "nonparametric": free}
            | {family: float(curve[i]) for family, curve in check.by_family.items()}
            for i, (hour, free) in enumerate(
                zip(check.at_h.tolist(), check.nonparametric.tolist(), strict=True)
            )
        ],
        "left_out": [
            {"term": x.term, "level": x.level, "why": left_out_sentence(x)}
            for x in result.left_out
        ],
        "sentences": aft_sentences(result),
    }  # fmt: skip
    if result.imputed is not None:
        found["imputed"] = imputed_mapping(result.imputed, "time_ratio")
    return found


def imputed_mapping(imputed: ImputedModel, ratio: str) -> dict[str, Any]:
    """Return a model with what is missing imputed; `ratio` is what its ratios are called."""
    return {
        "imputations": imputed.imputations,
        "episodes": imputed.episodes,
        "terms": [
            asdict(term.column)
            | {
                ratio: json_number(term.ratio), "lower": json_number(term.lower),
                "upper": json_number(term.upper),
                "missing_information": json_number(term.missing_information),
                "not_recorded": term.not_recorded,
                "turning_point": json_number(term.turning_point),
            }
            for term in imputed.terms
        ],
    }  # fmt: skip


def _time_ratios(fit: AftFit) -> list[dict[str, Any]]:
    inner = slice(1, -1)  # without the intercept and the scale
    columns = (fit.coefficients[inner], fit.se[inner], *fit.time_ratio, fit.p_value)
    names = ("coefficient", "se", "time_ratio", "lower", "upper", "p")
    return [
        asdict(column) | row
        for column, row in zip(fit.columns, rows_of(names, columns), strict=True)
    ]


def model_terms(fit: ModelFit, ratio: str = "hazard_ratio") -> list[dict[str, Any]]:
    """Return a mapping a coefficient; `ratio` is what its exponential is called."""
    names = ("coefficient", "se", ratio, "lower", "upper", "p")
    columns = (fit.coefficients, fit.se, fit.hazard_ratio, fit.lower, fit.upper, fit.p_value)
    return [
        asdict(column) | row
        for column, row in zip(fit.columns, rows_of(names, columns), strict=True)
    ]
