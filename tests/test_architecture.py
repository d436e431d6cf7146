"""The direction of imports, and the one home of each heavy library."""

import ast
import re
from collections import defaultdict
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "pipeline"

# Data goes one way along this line; a stage may import itself and what stands before it.
LINE = [
    "records", "store", "measures", "analysis", "disclosure", "answers",
    "words", "figures", "report",
]  # fmt: skip
# Known to every stage: they know none of them.
GROUND = {"errors", "settings", "resources", "outputs", "children"}
# `analysis` works on plain numbers: it knows no store and no SQL.
# A result draws and words itself when it is asked to, so these are imported only then.
WHEN_ASKED = {"answers": {"figures", "words"}}
# Numbers and codes as text know nothing of ours, so a result may hold them.
PLAIN_WORDS = ("pipeline.words.numbers.", "pipeline.words.codes.")
NARROWER = {"analysis": {"analysis"}, "disclosure": {"disclosure"}}
# What `dwell report` and `dwell doctor` call: it makes files, and computes nothing.
RENDERING = ("pipeline.report.render", "pipeline.report.builtin", "pipeline.report.quarto")
MOST_LINES = 300
HOMES = {
    "duckdb": ("pipeline/store/", "synthetic_data/"),
    "lifelines": ("pipeline/analysis/",),
    "plotnine": ("pipeline/figures/",),
}


def stage_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports_of(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path} imports relatively"
            names.update(f"{node.module}.{alias.name}" for alias in node.names)
    return names


def texts_of(path: Path) -> list[tuple[int, str]]:
    """Return the texts of a module with their lines; docstrings are none."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    documented = (ast.Module, ast.ClassDef, ast.FunctionDef)
    docs = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, documented) and node.body and isinstance(node.body[0], ast.Expr)
    }
    return [
        (node.lineno, node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs
    ]


def imports_at_once(path: Path) -> set[str]:
    """Return what is imported when a module is."""
    return {
        f"{node.module}.{alias.name}"
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_never_point_back(path: Path) -> None:
    stage = stage_of(path)
    if stage in {"cli", "__init__"}:
        return
    allowed = (
        set() if stage in GROUND else NARROWER.get(stage) or set(LINE[: LINE.index(stage) + 1])
    )
    at_once, later = imports_at_once(path), WHEN_ASKED.get(stage, set())
    for name in imports_of(path):
        parts = name.split(".")
        if name.startswith(PLAIN_WORDS) and stage == "answers":
            continue
        if name not in at_once and len(parts) > 1 and parts[1] in later:
            continue
        if parts[0] == "synthetic_data":
            pytest.fail(f"{path} imports the synthetic records")
        if parts[0] != "pipeline" or len(parts) < 2 or parts[1] == "__version__":
            continue
        assert parts[1] in allowed | GROUND, f"{stage} imports {name}"


@pytest.mark.parametrize("library", HOMES)
def test_each_heavy_library_has_one_home(library: str) -> None:
    paths = [*modules(), *sorted((ROOT / "synthetic_data").rglob("*.py"))]
    strangers = [
        str(path.relative_to(ROOT))
        for path in paths
        if any(name.split(".")[0] == library for name in imports_of(path))
        and not str(path.relative_to(ROOT)).startswith(HOMES[library])
    ]
    assert not strangers


def test_nothing_else_asks_whether_a_count_is_small() -> None:
    """One door out: suppression has one room, and the threshold one way into it."""
    asks = re.compile(r"small_cell|is_small|withh[eo]ld|suppression", re.IGNORECASE)
    told = {
        "settings.py",  # says what the threshold is
        "answers/release.py", "answers/release_decisions.py",  # hand it on
        "answers/released.py", "report/release.py", "report/release_words.py",  # show what is told
        "cli/release.py",
        "measures/release_ledger.py",
        "answers/comparison.py",  # a group of few children sets no standard
    }  # fmt: skip
    strangers = [
        str(path.relative_to(PACKAGE))
        for path in modules()
        if stage_of(path) != "disclosure" and asks.search(path.read_text(encoding="utf-8"))
    ]
    assert set(strangers) <= told
    door = (PACKAGE / "report" / "release.py", PACKAGE / "answers" / "released.py")
    for path in door:  # what is made of a release's figures reads no store
        assert not any(name.startswith("pipeline.store") for name in imports_of(path))


@pytest.mark.parametrize(("importer", "imported"), [("report", "cli"), ("cli", "report")])
def test_commands_and_reports_meet_in_the_answers_alone(importer: str, imported: str) -> None:
    guilty = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in sorted((PACKAGE / importer).rglob("*.py"))
        for name in imports_of(path)
        if name.startswith(f"pipeline.{imported}.") and not name.startswith(RENDERING)
    ]
    assert not guilty


def test_selects_stand_in_the_store_and_the_measures() -> None:
    guilty = [
        f"{path.relative_to(ROOT)}:{line}"
        for path in modules()
        if stage_of(path) not in {"store", "measures"}
        for line, text in texts_of(path)
        if re.match(r"\s*(select|with)\b.+\bfrom (?!where)\w", text, re.DOTALL | re.IGNORECASE)
    ]
    assert not guilty


def test_no_module_is_longer_than_a_reader_holds() -> None:
    long = [
        str(path.relative_to(ROOT))
        for path in modules()
        if len(path.read_text(encoding="utf-8").splitlines()) > MOST_LINES
    ]
    assert not long


def public_names(path: Path) -> list[str]:
    """Return the public classes and functions of a module; a command has its own name."""
    return [
        node.name
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.ClassDef | ast.FunctionDef)
        and not node.name.startswith("_")
        and not any("command" in ast.unparse(decorator) for decorator in node.decorator_list)
    ]


def test_a_public_name_is_defined_once() -> None:
    places: dict[str, list[str]] = defaultdict(list)
    for path in modules():
        for name in public_names(path):
            places[name].append(str(path.relative_to(ROOT)))
    assert {name: where for name, where in places.items() if len(where) > 1} == {}


def test_every_stage_of_the_line_exists() -> None:
    for stage in LINE:
        assert (PACKAGE / stage).is_dir() or (PACKAGE / f"{stage}.py").is_file(), stage
