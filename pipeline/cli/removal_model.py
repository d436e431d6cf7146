"""A model of `dwell removal` as JSON."""

from __future__ import annotations

from typing import Any

from pipeline.analysis.survival.model_data import ModelFit
from pipeline.analysis.survival.modelling import ModelResult
from pipeline.cli.removal_numbers import count, number
from pipeline.disclosure import Policy


def model_mapping(result: ModelResult, policy: Policy) -> dict[str, Any]:
    """Return a model with its terms, risks, checks, and what was left out and why."""
    from pipeline.words.removal_model import left_out_sentence, model_sentences

    fit = result.fit
    found: dict[str, Any] = {
        "model": result.model,
        "reason": result.reason,
        "asked": list(result.asked),
        "episodes": count(fit.episodes, policy) if fit else None,
        "events": count(fit.events, policy) if fit else None,
        "children": count(fit.children, policy) if fit else None,
        "missing": count(result.missing, policy),
        "missing_by_term": {t: count(n, policy) for t, n in result.missing_by_term.items()},
        "terms": [] if fit is None else _terms(fit),
        "risks": [
            {
                "term": r.child.term, "value": r.child.value, "hour": r.hour, "risk": r.risk,
                "lower": r.lower, "upper": r.upper,
            }
            for r in result.risks
        ],
        "left_out": [
            {"term": x.term, "level": x.level, "why": left_out_sentence(x, policy.threshold)}
            for x in result.left_out
        ],
        "sentences": model_sentences(result, policy.threshold),
    }  # fmt: skip
    if result.check is not None:
        found["proportional_hazards"] = [
            {"term": t.term, "chi_square": t.chi_square, "degrees": t.degrees, "p": t.p_value}
            for t in result.check.tests
        ]
        found["by_day"] = [
            {
                "term": w.column.term, "level": w.column.level, "from_h": w.from_h,
                "until_h": w.until_h, "hazard_ratio": number(w.hazard_ratio),
                "lower": number(w.lower), "upper": number(w.upper),
            }
            for w in result.check.windows
        ]  # fmt: skip
    return found


def _terms(fit: ModelFit) -> list[dict[str, Any]]:
    return [
        {
            "term": column.term,
            "level": column.level,
            "reference": column.reference,
            "coefficient": float(fit.coefficients[i]),
            "se": float(fit.se[i]),
            "hazard_ratio": float(fit.hazard_ratio[i]),
            "lower": float(fit.lower[i]),
            "upper": float(fit.upper[i]),
            "p": float(fit.p_value[i]),
        }
        for i, column in enumerate(fit.columns)
    ]
