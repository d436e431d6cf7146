"""Reading the report sources as Quarto reads them."""

import pytest

from pipeline.errors import RenderError
from pipeline.report.qmd import CodeCell, Prose, read_qmd

SOURCE = """---
title: "T"
---

```{python}
#| label: first-cell
#| tags: [parameters]
#| include: false
quarter = "x"
```

## Heading {#h .charts}

words

```{python}
#| echo: false
show()
```
"""


@pytest.fixture
def qmd(tmp_path):
    path = tmp_path / "a.qmd"
    path.write_text(SOURCE)
    return path


def test_blocks_come_in_order(qmd):
    kinds = [type(block) for block in read_qmd(qmd)]
    assert kinds == [Prose, CodeCell, Prose, CodeCell, Prose]


def test_a_parameter_cell_is_told_by_its_tag(qmd):
    blocks = read_qmd(qmd)
    assert blocks[1] == CodeCell('quarter = "x"', "First cell", is_parameters=True)
    assert not blocks[3].is_parameters


def test_a_cell_knows_its_section_or_its_label(qmd):
    blocks = read_qmd(qmd)
    assert blocks[1].section == "First cell"
    assert blocks[3].section == "Heading"


def test_a_cell_that_is_not_closed_is_named_by_its_line(tmp_path):
    path = tmp_path / "a.qmd"
    path.write_text("words\n\n```{python}\n1\n")
    with pytest.raises(RenderError, match=r"a\.qmd, line 3: the cell is not closed"):
        read_qmd(path)


def test_a_source_that_is_not_there_is_an_error_of_ours(tmp_path):
    with pytest.raises(RenderError, match="Cannot read the report source"):
        read_qmd(tmp_path / "absent.qmd")
