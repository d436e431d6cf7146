"""The SQL of the store's views, made from the files of `sql/`."""

from pipeline.resources import resource

# Stands in `sql/views` where the measures go, so that a new measure is one new file.
EVERY_MEASURE = "/* one select a file of sql/measures, united */"


def views_text() -> str:
    """Return the SQL of every view, in the order of the file names."""
    paths = sorted(resource("sql", "views").glob("*.sql"))
    text = "\n".join(path.read_text(encoding="utf-8") for path in paths)
    return text.replace(EVERY_MEASURE, every_measure())


def every_measure() -> str:
    """Return the select of every file of `sql/measures`, named and united."""
    paths = sorted(resource("sql", "measures").glob("*.sql"))
    return "\nunion all\n".join(
        f"select '{path.stem}' as measure, episode_id, numerator, denominator\n"
        f"from (\n{path.read_text(encoding='utf-8')}\n) as {path.stem}"
        for path in paths
    )
