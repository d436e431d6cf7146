"""Units that an export may use, turned into those of the layout."""

# (unit of the layout, unit of the export): factor. The pound is exact by the
# international definition of 1959 (recalled, not retrieved).
FACTORS: dict[tuple[str | None, str], float] = {
    ("kg", "kg"): 1.0,
    ("kg", "lb"): 0.45359237,
    ("kg", "g"): 0.001,
    ("hours", "h"): 1.0,
    ("hours", "min"): 1 / 60,
    ("hours", "d"): 24.0,
    ("hours since placement", "h"): 1.0,
    ("hours since placement", "min"): 1 / 60,
    ("hours since placement", "d"): 24.0,
    ("minutes", "min"): 1.0,
    ("minutes", "s"): 1 / 60,
    ("minutes", "h"): 60.0,
    ("percent (g per 100 ml)", "%"): 1.0,
    ("percent (g per 100 ml)", "mg/ml"): 0.1,
    ("ml/h", "ml/h"): 1.0,
    ("ml/h", "ml/min"): 60.0,
    ("ml", "ml"): 1.0,
    ("ml", "l"): 1000.0,
    ("years", "y"): 1.0,
    ("years", "months"): 1 / 12,
}
