"""The checks of `dwell doctor`, each answered in one line."""

import shutil
import stat
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Literal

from pipeline import __version__
from pipeline.errors import DwellError, RenderError
from pipeline.resources import resource

if TYPE_CHECKING:
    from packaging.requirements import Requirement

DISTRIBUTION = "dwell-pipeline"
OLDEST_PYTHON = (3, 11)
ROOM = 3  # a write works on a copy, a migration keeps another, and a load spills beside it

TRIAL = """\
---
title: A trial
lang: en
---

```{python}
print("made by a cell")
```
"""

# Ten lines without a cell, as Quarto gets a report.
QUARTO_TRIAL = """\
---
title: A trial
lang: en
---

## A section

A paragraph.

- an item
"""

Verdict = Literal["ok", "note", "fault"]


@dataclass(frozen=True, slots=True)
class Check:
    """The answer to one check; `try_next` where something can be done."""

    area: str
    name: str
    verdict: Verdict
    says: str
    try_next: str | None = None


def check_everything(db: Path, settings: Path | None, *, store_is_named: bool) -> Iterator[Check]:
    """Yield every check as it is answered.

    Parameters
    ----------
    db : Path
        The store.
    settings : Path or None
        The settings file that was named.
    store_is_named : bool
        Whether somebody asked for this store, so that its absence is a fault.
    """
    yield from installation()
    yield from renderers()
    yield _settings(settings)
    yield from store(db, is_named=store_is_named)


def _answer(area: str, name: str, ask: Callable[[], str]) -> Check:
    """Ask; whatever is raised is a fault, in the words of the error where they are ours."""
    try:
        return Check(area, name, "ok", ask())
    except DwellError as error:
        return Check(area, name, "fault", error.message, error.try_next)
    except Exception as error:  # a broken library can raise anything
        return Check(area, name, "fault", f"failed ({type(error).__name__})", "install it again")


def installation() -> Iterator[Check]:
    """Check Python, the libraries and the files that come with the program."""
    area = "installation"
    found = ".".join(map(str, sys.version_info[:3]))
    is_new_enough = sys.version_info >= OLDEST_PYTHON
    yield Check(
        area, "python", "ok" if is_new_enough else "fault", f"dwell {__version__} on {found}"
    )
    yield _libraries()
    yield _answer(area, "catalogue", _catalogue)
    yield _answer(area, "views", _views)
    yield _answer(area, "report sources", lambda: str(_report_sources()))


def _libraries() -> Check:
    """Compare what is installed with what the program says that it needs."""
    from packaging.requirements import Requirement

    area, name = "installation", "libraries"
    try:
        needed = [Requirement(line) for line in metadata.requires(DISTRIBUTION) or ()]
    except metadata.PackageNotFoundError:
        return Check(area, name, "note", "not installed: run from its source", "make demo")
    wanted = [r for r in needed if r.marker is None or r.marker.evaluate({"extra": ""})]
    wrong = [said for requirement in wanted if (said := _what_is_wrong(requirement))]
    if wrong:
        return Check(area, name, "fault", "; ".join(wrong), "install dwell again")
    return Check(area, name, "ok", f"{len(wanted)}, each of a version that fits")


def _what_is_wrong(requirement: "Requirement") -> str | None:
    try:
        version = metadata.version(requirement.name)
    except metadata.PackageNotFoundError:
        return f"{requirement.name} is missing"
    if requirement.specifier.contains(version, prereleases=True):
        return None
    return f"{requirement.name} is {version}, needed {requirement.specifier}"


def _catalogue() -> str:
    from pipeline.measures.catalogue import load_catalogue

    return f"{len(load_catalogue())} measures"


def _views() -> str:
    from pipeline.store.view_descriptions import describe_views

    return f"{len(describe_views())} views"


def _report_sources() -> str:
    sources = sorted(path.name for path in resource("reports").glob("*.qmd"))
    if not sources:
        raise DwellError("no report source is there", try_next="install dwell again")
    return ", ".join(sources)


def renderers() -> Iterator[Check]:
    """Make a page and a PDF of a few words, and look for Quarto."""
    area = "renderers"
    yield _answer(area, "built-in, page", lambda: _trial("html"))
    yield _answer(area, "built-in, PDF", lambda: _trial("pdf"))
    quarto = _answer(area, "Quarto", _quarto)
    without = Check(area, "Quarto", "note", "not installed; the built-in renderer serves")
    yield quarto if quarto.says else without


def _trial(suffix: str) -> str:
    """Run a cell and make a page or a PDF of what it prints."""
    from pipeline.report import builtin

    with TemporaryDirectory(prefix="dwell-doctor-") as place:
        folder = Path(place)
        for path in resource("reports").iterdir():
            if path.is_file():
                shutil.copyfile(path, folder / path.name)
        (folder / "trial.qmd").write_text(TRIAL, encoding="utf-8")
        text = builtin.execute(folder / "trial.qmd", {}, lambda _: None)
        (folder / "trial.md").write_text(text, encoding="utf-8")
        make = builtin.to_html if suffix == "html" else builtin.to_pdf
        make(folder / "trial.md", folder, folder / f"trial.{suffix}", "A trial.")
        size = (folder / f"trial.{suffix}").stat().st_size
    return f"made a trial of {size:,} bytes"


def _quarto() -> str:
    """Let Quarto make a page of ten lines: its version alone says little."""
    from pipeline.report.quarto import find_quarto, render_with_quarto

    found = find_quarto()
    if found is None:
        return ""
    with TemporaryDirectory(prefix="dwell-doctor-") as place:
        qmd = Path(place) / "trial.qmd"
        qmd.write_text(QUARTO_TRIAL, encoding="utf-8")
        render_with_quarto(found, qmd, to="html", output="trial.html", footer="A trial.")
        if not qmd.with_name("trial.html").is_file():
            raise RenderError("Quarto ended well but left no page.", try_next="--renderer builtin")
    return f"{found.version} at {found.path} made a trial"


def _settings(path: Path | None) -> Check:
    """Read the settings; a target of an unknown measure would never be drawn."""
    from pipeline.settings import SETTINGS_FILE

    area, name = "settings", "settings"
    if path is None and not Path(SETTINGS_FILE).exists():
        return Check(area, name, "note", f"no {SETTINGS_FILE} here; every setting has its default")
    return _answer(area, name, lambda: _read_settings(path or Path(SETTINGS_FILE)))


def _read_settings(path: Path) -> str:
    from dataclasses import fields

    from pipeline.settings import Settings, load_settings

    values = load_settings(path)
    set_here = [
        f.name for f in fields(Settings) if getattr(values, f.name) != getattr(Settings(), f.name)
    ]
    return f"{path} sets {', '.join(set_here) or 'nothing'}"


def store(db: Path, *, is_named: bool) -> Iterator[Check]:
    """Open the store and look at its permissions, its sums and its own checks."""
    area = "store"
    if not db.exists():
        verdict: Verdict = "fault" if is_named else "note"
        yield Check(
            area, "store", verdict, f"there is none at {db}", f"dwell load FOLDER --db {db}"
        )
        return
    opened = _answer(area, "store", lambda: _holds(db))
    yield opened
    yield _permissions(db)
    yield _room(db)
    if opened.verdict == "ok":
        yield _answer(area, "sums", lambda: _sums(db))
        yield _found_by_checks(db)


def _holds(db: Path) -> str:
    from pipeline.store import open_store
    from pipeline.store.holdings import records

    with open_store(db) as opened:
        (episodes,) = records(opened).filter(record="episode")["rows"]
        return f"{episodes:,} episodes as of {opened.as_of()}, data {opened.fingerprint()}"


def _permissions(db: Path) -> Check:
    others = stat.S_IMODE(db.stat().st_mode) & (stat.S_IRWXG | stat.S_IRWXO)
    if sys.platform == "win32" or not others:
        return Check("store", "permissions", "ok", "its owner's alone")
    return Check("store", "permissions", "fault", "others can reach it", f"chmod 600 {db}")


def _room(db: Path) -> Check:
    free, size = shutil.disk_usage(db.resolve().parent).free, db.stat().st_size
    said = f"{free / 1e9:.1f} GB free beside a store of {size / 1e9:.2g} GB"
    if free >= ROOM * size:
        return Check("store", "disk", "ok", said)
    return Check("store", "disk", "note", said, f"free {ROOM} times the store's size")


def _sums(db: Path) -> str:
    """Every row that came in is new, corrected, unchanged or set aside."""
    from pipeline.store import holdings, open_store

    with open_store(db) as opened:
        files = holdings.loads(opened)
    wrong = files.filter(files["balances"].not_())
    if not wrong.is_empty():
        raise DwellError(f"{wrong.height} files do not add up", try_next="dwell status")
    return "in every file, rows in = new + corrected + unchanged + set aside"


def _found_by_checks(db: Path) -> Check:
    from pipeline.store import open_store
    from pipeline.store.checks import run_checks, store_checks

    with open_store(db) as opened:
        found = run_checks(opened)
    if not found:
        return Check("store", "checks", "ok", f"{len(store_checks())} find nothing")
    said = f"{len({finding.check for finding in found})} of {len(store_checks())} find something"
    return Check("store", "checks", "note", said, "dwell status")
