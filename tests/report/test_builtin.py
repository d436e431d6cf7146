"""The built-in renderer: the same cells, one self-contained page, a tagged PDF."""

import re

import pypdf
import pytest

from pipeline.errors import NoDataError, RenderError
from pipeline.report import builtin
from pipeline.resources import resource

SOURCE = """---
title: "A title"
lang: en
---

```{python}
#| label: reading
#| tags: [parameters]
#| include: false
quarter = "default"
site = "default"
```

## First part {#first}

```{python}
#| echo: false
#| output: asis
from pipeline.report.markdown import show
with open("a.svg", "w") as file:
    file.write('<svg xmlns="http://www.w3.org/2000/svg" width="40" height="20">'
               '<rect width="40" height="20" fill="#0072B2"/></svg>')
show(f"Quarter {quarter}, site {site}.")
show('![Method.](a.svg){fig-alt="A bar of 40 by 20" width=4cm}')
```

```{python}
print("not in the page")
```

::: {.table-scroll tabindex="0" role="region" aria-label="Rates"}

| Measure | Line |
|:--------|-----:|
| Leakage | ![](a.svg){fig-alt="small line" width=2cm} |

: Rates

:::
"""


@pytest.fixture(scope="module")
def rendered(tmp_path_factory):
    folder = tmp_path_factory.mktemp("builtin")
    (folder / "a.qmd").write_text(SOURCE)
    told = []
    text = builtin.execute(folder / "a.qmd", {"quarter": "2025-Q4"}, told.append)
    (folder / "a.md").write_text(text)
    assets = resource("reports")
    builtin.to_html(folder / "a.md", assets, folder / "a.html", "Made by a test.")
    builtin.to_pdf(folder / "a.md", assets, folder / "a.pdf", "Made by a test.")
    return folder, text, told


def test_given_parameters_replace_defaults_and_others_stay(rendered):
    assert "Quarter 2025-Q4, site default." in rendered[1]


def test_only_what_a_cell_shows_is_in_the_page(rendered, capfd):
    _, text, _ = rendered
    assert "not in the page" not in text + capfd.readouterr().out
    assert "show(" not in text


def test_progress_names_each_section_once(rendered):
    assert rendered[2] == ["Reading", "First part"]


def test_the_page_needs_no_other_file(rendered):
    html = (rendered[0] / "a.html").read_text()
    addresses = re.findall(r'(?:src|href)="([^"]*)"', html)
    assert addresses
    assert all(a.startswith(("data:", "#")) for a in addresses)
    assert "url(" not in html.replace("url(#", "")
    assert "Content-Security-Policy" in html


def test_alternative_text_and_captions_reach_the_page(rendered):
    html = (rendered[0] / "a.html").read_text()
    assert html.count('alt="A bar of 40 by 20"') == 1
    assert "<figcaption>Method.</figcaption>" in html
    assert "<caption>Rates</caption>" in html
    assert '<html lang="en">' in html


def test_the_pdf_is_tagged_with_title_language_and_page_numbers(rendered):
    pdf = pypdf.PdfReader(rendered[0] / "a.pdf")
    root = pdf.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert str(root["/Lang"]).startswith("en")
    assert pdf.metadata.title == "A title"
    text = pdf.pages[0].extract_text()
    assert "1 of 1" in text
    assert "Made by a test." in text


FAILING = """---
title: "T"
---

## Quiet part

```{python}
1
```

## Broken part

```{python}
#| echo: false
%s
```

## Later part

```{python}
2
```
"""


def test_a_failing_cell_names_its_section_and_repeats_no_value(tmp_path):
    path = tmp_path / "a.qmd"
    path.write_text(FAILING % 'raise KeyError("episode 4711")')
    with pytest.raises(RenderError, match="“Broken part” could not be made") as caught:
        builtin.execute(path, {}, lambda _: None)
    assert "4711" not in str(caught.value)


def test_an_error_of_the_programs_own_passes_as_itself(tmp_path):
    path = tmp_path / "a.qmd"
    code = "from pipeline.errors import NoDataError\nraise NoDataError('None.', try_next='dwell x')"
    path.write_text(FAILING % code)
    with pytest.raises(NoDataError, match="None") as caught:
        builtin.execute(path, {}, lambda _: None)
    assert caught.value.try_next == "dwell x"
