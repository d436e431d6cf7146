"""Where the SQL and report files lie, in a source tree or an installed wheel."""

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def resource(*parts: str) -> Path:
    """Path of a file or folder that is shipped beside the code.

    An installed wheel carries ``sql/`` and ``reports/`` inside the package as
    ``_sql`` and ``_reports``; a source tree has them beside it.

    Parameters
    ----------
    *parts : str
        The path's parts, the first being ``"sql"`` or ``"reports"``, as in
        ``resource("sql", "measures")``.

    Returns
    -------
    pathlib.Path
        The existing file or folder.

    Raises
    ------
    FileNotFoundError
        If neither place holds it: the installation is damaged.
    """
    top, *rest = parts
    for root in (_PACKAGE / f"_{top}", _PACKAGE.parent / top):
        path = root.joinpath(*rest)
        if path.exists():
            return path
    raise FileNotFoundError(f"{'/'.join(parts)} is missing from this installation")
