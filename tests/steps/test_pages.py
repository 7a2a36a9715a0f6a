"""Every HTML page of a record, held to the standard as far as a parser and its tree can tell.

A parser of the HTML standard names each parse error; what elements may hold, and which attributes
they must have, is from memory. Not checked: styles, scripts, and how it looks.
"""

import pytest
from tinyhtml5.parser import HTMLParser

PAGES = ("results/report.html", "results/buildings.html", "results/seasons/2031/report.html")
PAGES += ("work/check/report.html", "results/viewer.html")
SPACE = "{http://www.w3.org/1999/xhtml}"
PHRASING_ONLY = ("p", "span", "a", "h1", "h2", "h3", "dt", "em", "strong", "label", "button")
BLOCKS = ("p", "div", "table", "ul", "ol", "dl", "section", "article", "h1", "h2", "h3", "figure")


@pytest.fixture(scope="module", params=PAGES)
def parsed(request, hamlet):
    """Return a page's file, its parse errors and its tree."""
    path = hamlet / request.param
    parser = HTMLParser()
    with path.open("rb") as stream:
        tree = parser.parse(stream)
    return path, parser.errors, tree


def elements(parsed, name):
    """Return the elements of a name."""
    return list(parsed[2].iter(f"{SPACE}{name}"))


def test_no_parse_error(parsed):
    """The standard's parser finds nothing to mend."""
    path, errors, _ = parsed
    assert errors == []
    assert path.read_bytes().startswith(b"<!DOCTYPE html>")


def test_names_are_given_once_and_links_lead_somewhere(parsed):
    """No id stands twice; links lead to an id of the page or to a file of the record."""
    path, _, tree = parsed
    ids = [one.get("id") for one in tree.iter() if one.get("id") is not None]
    assert len(ids) == len(set(ids))
    for link in elements(parsed, "a"):
        file, _, part = link.get("href", "").partition("#")
        if file:
            assert (path.parent / file).is_file(), file
        elif part:
            assert part in ids


def test_what_a_reader_needs_is_told(parsed):
    """Language, title, one heading on top, the encoding, and words for every picture."""
    _, _, tree = parsed
    assert tree.get("lang") == "en"
    assert len(elements(parsed, "title")) == len(elements(parsed, "h1")) == 1
    assert [one.get("charset") for one in elements(parsed, "meta") if one.get("charset")] == [
        "utf-8"
    ]
    assert all(one.get("alt") for one in elements(parsed, "img"))


def test_blocks_stand_where_blocks_may(parsed):
    """No block lies in what holds text alone; lists hold items, tables rows."""
    for name in PHRASING_ONLY:
        for one in elements(parsed, name):
            inside = {child.tag.removeprefix(SPACE) for child in one.iter() if child is not one}
            assert not inside & set(BLOCKS), name
    for name, items in (("ul", {"li"}), ("ol", {"li"}), ("dl", {"dt", "dd", "div"})):
        for one in elements(parsed, name):
            assert {child.tag.removeprefix(SPACE) for child in one} <= items


def test_nothing_is_fetched(parsed):
    """Pictures lie in the page or beside it; scripts, styles and frames come from nowhere else."""
    assert elements(parsed, "iframe") == []
    links = [one.get("href", "") for one in elements(parsed, "link")]
    assert [link for link in links if not link.startswith("data:")] == []
    sources = [one.get("src", "") for one in parsed[2].iter() if one.get("src")]
    assert [src for src in sources if not src.startswith("data:") and ":" in src] == []
