"""The check's page: whole, harmless, and with the same numbers in pictures and lists."""

import re
from html.parser import HTMLParser

import numpy as np
import pytest
from trial_site import HOSTILE, MARK, SURVEYS, fault, page, sketches, survey, verdict

from wrackline.accuracy.check_page import Page
from wrackline.accuracy.check_report import check_report
from wrackline.accuracy.markup import Markup, el
from wrackline.accuracy.sketches import Sketch

VOID = {"meta"}


class Outline(HTMLParser):
    """Notes elements, their attributes and the texts of a page, and holds tags to their pairs."""

    def __init__(self):
        super().__init__()
        self.tags, self.attributes, self.open, self.texts = [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.texts.append(data)


def outline(html):
    """Return the outline of a page whose tags pair off."""
    seen = Outline()
    seen.feed(html)
    seen.close()
    assert seen.open == []
    return seen


def part(html, name):
    """Return the section of a survey."""
    return next(s for s in html.split("<section") if f"<h2>{name}</h2>" in s)


def labels(section):
    """Return the labels of marks in a section's picture."""
    return re.findall(r'<g class="mark">.*?<text[^>]*>([^<]+)</text></g>', section, re.DOTALL)


def numbers(section):
    """Return the numbers of a section's list."""
    return re.findall(r'<span class="no">(\d+)</span>', section)


def hostile_page():
    """Return a page in which every text that can come from outside is hostile."""
    bad = fault("x", found=HOSTILE, file=HOSTILE, remedy=HOSTILE, allowed=HOSTILE, place=(5.0, 5.0))
    account = {HOSTILE: 1.0, "setups": [{"station": HOSTILE, "back_sights": [{"mark": HOSTILE}]}]}
    given = [
        verdict("2031-walls", adjustment=account),
        verdict("2031-bed", suspicions=[bad], accepted=[bad]),
        verdict("2031-floors"),
    ]
    pair = {"newer": HOSTILE, "older": HOSTILE, "figure": HOSTILE, "values": [1.0], "sds": [1.0]}
    made = page(
        given,
        {"pairs": [{**pair, "count": 1}]},
        control=[MARK.model_copy(update={"point": HOSTILE})],
    )
    surveys = [{**one, "file": HOSTILE, "technique": HOSTILE} for one in made.found["surveys"]]
    site = made.site.model_copy(update={"name": HOSTILE, "depths_below": made.site.depths_below})
    return Page({**made.found, "surveys": surveys}, made.sketches, SURVEYS, site, made.control)


def test_hostile_text_stays_text():
    """Markup in names, cells, marks and notes is shown letter by letter and makes no element."""
    html = hostile_page().html()
    seen = outline(html)
    assert "script" not in seen.tags
    assert sum(HOSTILE in text for text in seen.texts) >= 12
    assert "<script" not in html


def test_nothing_is_loaded_from_outside():
    """The page has no script and no link, and refers to nothing but itself."""
    seen = outline(page().html())
    assert not {"script", "link", "img", "iframe", "object", "base", "form"} & set(seen.tags)
    refers = [value for key, value in seen.attributes if key in ("href", "src", "xlink:href")]
    assert refers
    assert all(value.startswith("#") for value in refers)
    assert "url(" not in page().html().replace("url(#ground)", "")


def test_quotes_do_not_end_an_attribute():
    """A quotation mark in an attribute is escaped; markup of our own goes through as it is."""
    assert el("a", Markup("<b>"), title='"><i>') == '<a title="&quot;&gt;&lt;i&gt;"><b></a>'


def test_signs_that_steer_are_replaced():
    """Control signs, turned-round text and lone surrogates can't stand in the page."""
    html = page([verdict("2031-bed", suspicions=[fault(found="\x00\u202e\udc80")])]).html()
    assert "���" in html
    html.encode("utf-8")


def test_numbers_are_those_of_the_list():
    """Marks in a survey's picture bear the numbers of its list, over all surveys together."""
    given = [
        verdict("2031-walls", suspicions=[fault("s", "2031-walls", place=(10.0, 10.0))]),
        verdict("2031-bed", faults=[fault("f", severity="fault", place=(30.0, 25.0))]),
        verdict("2031-floors", suspicions=[fault("t", "2031-floors", place=(5.0, 5.0))] * 2),
    ]
    html = page(given).html()
    sections = [part(html, name) for name in SURVEYS]
    assert [numbers(section) for section in sections] == [["2"], ["1"], ["3", "4"]]
    assert [labels(section) for section in sections] == [["2"], ["1"], ["3–4"]]
    assert "[2] s, 2031-walls" in html


def test_each_part_is_on_the_page():
    """Table, figures, four parts, pairs, accepted, tomorrow's list and cautions all stand there."""
    pair = {"newer": "2031-bed", "older": "2031-walls", "figure": "survey_offset"}
    cross = {"pairs": [{**pair, "values": [0.2121], "sds": [0.031], "count": 812}]}
    cross["accepted"] = [fault("tilt", remedy="accepted: the beach moved").as_dict()]
    given = [
        verdict(
            "2031-bed",
            sha256="0123456789abcdef" * 4,
            bounds=[1.0, 2.0, 3.0, 4.0],
            suspicions=[fault(place=(5.0, 5.0), row=12)],
        )
    ]
    text = " ".join(outline(page(given, cross).html()).texts)
    for words in (
        "No fault in 1 survey, but 1 suspicion", "0123456789ab…", "x 1.000 to 3.000",
        "2031-06-01 to 2031-06-02", "f.csv, row 12", "allowed", "effect", "to do", "E 5.00, N 5.00",
        "+0.212", "812", "the beach moved", "S1", "navigation", "secret", "licensed", "collapse",
    ):  # fmt: skip
        assert words in text, words


def test_an_adjustment_is_shown_with_what_was_set_aside():
    """Setups, their back sights with residuals, and the one that was rejected stand in tables."""
    sights = [{"mark": "B1", "along_m": 0.31, "set_aside": True}, {"mark": "B2", "along_m": None}]
    account = {"setups": [{"station": "A1", "back_sights": sights}], "errors": []}
    html = part(page([verdict("2031-walls", adjustment=account)]).html(), "2031-walls")
    assert "<caption>back sights of setups 1</caption>" in html
    assert '<th scope="col">along [m]</th>' in html
    assert re.search(r"<td>B1</td><td class=\"num\">0.310</td><td>yes</td>", html)


def test_a_site_with_all_surveys_faulty():
    """With nothing read there are still pictures, each with a note, and the faults."""
    bad = [
        verdict(name, rows=0, used=0, faults=[fault("no_rows", name, "fault")]) for name in SURVEYS
    ]
    made = page(bad, drawn=[Sketch(name) for name in SURVEYS], control=())
    html = made.html()
    outline(html)
    assert html.count("Nothing could be read of this survey") == 3
    assert html.count('class="pic"') == 3
    assert "3 faults in 3 of 3 surveys" in html
    assert "To measure again" not in html


def test_a_survey_elsewhere_is_told_in_words():
    """Of a survey far to the south-west the page says where it lies, and shows the others."""
    drawn = sketches()
    drawn[2] = Sketch("2031-floors", dots=np.array([[-3000.0, -3000.0]]))
    section = part(page(drawn=drawn).html(), "2031-floors")
    assert re.search(
        r"lies outside the picture, as far as 4\.\d km south-west of its middle", section
    )


def test_equal_input_gives_equal_bytes():
    """Made twice, from surveys read twice, the page is the same to the byte."""
    assert hostile_page().html().encode() == hostile_page().html().encode()


def test_twenty_surveys_stay_below_two_megabytes():
    """Twenty surveys of as many dots and vertices as a sketch holds make a page below 2 MB."""
    rng = np.random.default_rng(7)
    names = [f"2031-survey_{k}" for k in range(20)]
    drawn = [
        Sketch(name, rng.uniform(0, 99, (1500, 2)), list(rng.uniform(0, 99, (30, 100, 2))))
        for name in names
    ]
    surveys = {name: survey(name.split("-")[1]) for name in names}
    doubts = [fault("s", name, place=(5.0 * k, 5.0)) for name in names for k in range(20)]
    given = [
        verdict("2031-walls", suspicions=[f for f in doubts if f.survey == name]) for name in names
    ]
    given = [type(v)(**{**vars(v), "survey": name}) for v, name in zip(given, names, strict=True)]
    made = Page(check_report(given), drawn, surveys, page().site)
    assert len(made.html().encode()) < 2_000_000


@pytest.mark.parametrize("control", [(), (MARK,)])
def test_tomorrows_picture_shows_the_marks(control):
    """Stops are labelled S1 …, and marks by their names where there are any."""
    html = page([verdict("2031-bed", suspicions=[fault(place=(9.0, 9.0))])], control=control).html()
    section = html.split("<h2>To measure again</h2>")[1]
    assert labels(section) == ["S1", *(mark.point for mark in control)]


def test_rules_for_print_come_after_those_that_they_change():
    """A picture is narrower on paper, so that a survey's figures stand on its sheet."""
    style = page().html().partition("</style>")[0]
    assert style.index("@media print") > style.index(".pic { display")
    assert re.search(r"@media print.*\.pic \{ max-width: 11cm", style, re.DOTALL)
