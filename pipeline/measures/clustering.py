"""How far the events of measures that count contacts cluster by child."""

from collections.abc import Sequence

from pipeline.measures import session
from pipeline.measures.catalogue import Measure
from pipeline.settings import Settings
from pipeline.store import Store


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
    if rates:
        session.copy_what_is_read(store, rates, settings)
    found = {measure.name: 1.0 for measure in measures}
    for measure in rates:
        ((value,),) = store.rows(_sql(measure))
        found[measure.name] = max(1.0, float(value or 1.0))
    return found


def _sql(measure: Measure) -> str:
    steps = ",\n".join([*session.steps([measure]), f"measured as (\n{measure.sql})"])
    # Sums of decimals do not depend on the order of the rows, sums of doubles do.
    return f"""
        with {steps},
        child as (
            select
                cast(sum(measured.numerator) as bigint) as y,
                sum(cast(measured.denominator as decimal(12, 6))) as d
            from measured
            inner join {session.keyed("episode_dwell")} as placed
                on measured.episode_id = placed.episode_id
            where measured.denominator > 0 and measured.numerator is not null
            group by placed.child_key
        ),
        sums as (
            select
                cast(sum(y) as double) as y,
                cast(sum(d) as double) as d,
                cast(sum(y * y) as double) as yy,
                cast(sum(y * d) as double) as yd,
                cast(sum(d * d) as double) as dd
            from child
        )
        select (yy - 2 * (y / d) * yd + (y / d) * (y / d) * dd) / y from sums where y > 0
        union all
        select 1.0 from sums where y is null or y = 0"""
