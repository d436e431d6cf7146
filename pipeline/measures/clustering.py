"""How far the events of measures that count contacts cluster by child."""

from collections.abc import Sequence

from pipeline.measures import session
from pipeline.measures.catalogue import Measure
from pipeline.settings import Settings
from pipeline.store import Store

# The variance of children's counts over that of independent events.
_RATIO = """(yy::double - 2 * (y::double / d::double) * yd::double
    + (y::double / d::double) * (y::double / d::double) * dd::double) / y::double"""


def clustering_by_child(
    store: Store, measures: Sequence[Measure], settings: Settings | None = None
) -> dict[str, float]:
    """Return by measure the variance of children's counts over that of independent events.

    A family that calls once is likelier to call again, so that a hundred calls tell less
    than a hundred families would. One figure a measure, from all children of the store: of
    few children it could not be told. It is 1 for a proportion, and never below.

    Parameters
    ----------
    store : Store
        An open store.
    measures : sequence of Measure
        Their cards.
    settings : Settings, optional
        The programme's settings; the defaults where there are none.
    """
    rates = [measure for measure in measures if measure.denominator_kind == "rate"]
    if rates and not store.holds_counts:
        session.bring_to_keys(store, rates, settings)
    found = {measure.name: 1.0 for measure in measures}
    for measure in rates:
        if store.holds_counts:
            sums = f"select * from gathered_child where measure = '{measure.name}'"
        else:
            steps = [*session.steps([measure]), f"measured as (\n{measure.sql})"]
            placed = session.keyed("episode_dwell")
            sums = f"with {', '.join(steps)} {child_sums('measured', placed)}"
        for (value,) in store.rows(f"select {_RATIO} from ({sums}) where y > 0"):
            found[measure.name] = max(1.0, float(value))
    return found


def child_sums(measured: str, placed: str) -> str:
    """Return SQL of sums over children: of events, what they are counted against, products.

    `measured` and `placed` name a measure's rows and those of `episode_dwell`.
    """
    # Sums of decimals do not depend on the order of the rows, sums of doubles do.
    return f"""
        select sum(y) as y, sum(d) as d, sum(y * y) as yy, sum(y * d) as yd, sum(d * d) as dd
        from (
            select
                cast(sum(measured.numerator) as integer) as y,
                cast(sum(cast(measured.denominator as decimal(12, 6))) as decimal(14, 6)) as d
            from {measured} as measured
            inner join {placed} as placed on measured.episode_id = placed.episode_id
            where measured.denominator > 0 and measured.numerator is not null
            group by placed.child_key
        ) as child"""
