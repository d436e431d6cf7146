"""Work in two processes: nothing is lost, errors travel whole, one core is enough."""

from dataclasses import dataclass
from pathlib import Path

import pytest

from pipeline.errors import NoDataError, RenderError
from pipeline.report.second_process import SecondProcess


@dataclass(frozen=True)
class Picture:
    """Stands in for a figure: writes its name."""

    name: str

    def save(self, path):
        if self.name == "bad":
            raise RenderError("Cannot write.")
        Path(path).write_text(self.name)


class Homely(Picture):
    """A picture that cannot travel."""

    def __reduce__(self):
        raise TypeError


def refuse(what):
    raise NoDataError(f"No {what}.", try_next="dwell status")


def names(folder):
    return sorted(path.read_text() for path in folder.iterdir())


def test_every_figure_is_drawn_by_one_process_or_the_other(tmp_path):
    beside = SecondProcess(cores=2)
    drawn = [f"p{i:02d}" for i in range(12)]
    for name in drawn:
        beside.draw(Picture(name), tmp_path / name)
    beside.draw(Homely("home"), tmp_path / "home")
    assert beside.call(divmod, 7, 2).result() == (3, 1)
    beside.finish()
    assert names(tmp_path) == ["home", *drawn]


def test_an_error_travels_whole_and_ends_the_other_process(tmp_path):
    beside = SecondProcess(cores=2)
    with pytest.raises(NoDataError) as found:
        beside.call(refuse, "episodes").result()
    assert (found.value.message, found.value.try_next) == ("No episodes.", "dwell status")
    for name in ("good", "bad", "good"):
        beside.draw(Picture(name), tmp_path / name)
    with pytest.raises(RenderError):
        beside.finish()
    assert beside._pool is None


def test_one_core_does_everything_here_and_now(tmp_path):
    beside = SecondProcess(cores=1)
    assert beside.call(divmod, 7, 2).result() == (3, 1)
    beside.draw(Picture("here"), tmp_path / "here")
    assert names(tmp_path) == ["here"]
    beside.finish()
