"""The report of a built site: whole, self-contained, and right about every room."""

import re

import geopandas as gpd
import pytest
from defusedxml import ElementTree

from wrackline.quantities import measured


@pytest.fixture(scope="module")
def text(hamlet):
    return (hamlet / "results" / "report.html").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def page(text):
    """Return the page as a tree: it is well-formed XML but for its doctype and void elements."""
    closed = re.sub(r"<(meta|img)([^>]*)>", r"<\1\2/>", text.removeprefix("<!DOCTYPE html>\n"))
    return ElementTree.fromstring(re.sub(r"(?s)<(style|script)>.*?</\1>", "", closed))


@pytest.fixture(scope="module")
def rooms(hamlet):
    return gpd.read_file(hamlet / "results" / "site.gpkg", layer="rooms")


def card(page, room):
    """Return what is said of a room, by its name."""
    (article,) = [one for one in page.iter("article") if one.get("id") == room]
    listed = article.find("dl")
    names = [one.text for one in listed.findall("dt")]
    return dict(zip(names, ["".join(one.itertext()) for one in listed.findall("dd")], strict=True))


def test_it_needs_nothing_from_outside(text):
    """No address of a server stands in it, its pictures are within; links lead to one neighbour."""
    beside = r"buildings\.html#|condition\.png|pictures/[a-z]+\.svg|seasons/[a-z0-9_]+/report\.html"
    assert re.findall(rf"(?:src|href)=\"(?!#|data:image/png;base64,|{beside})", text) == []
    assert "http" not in text.replace("http-equiv", "")


def test_every_link_leads_somewhere(page):
    """Contents, plans and tables lead to parts of the page that are there."""
    ids = {one.get("id") for one in page.iter() if one.get("id")}
    links = {one.get("href")[1:] for one in page.iter("a") if one.get("href").startswith("#")}
    assert links <= ids
    assert len(links) > 40


def test_every_room_says_how_large_how_sure_and_by_whom(page, rooms):
    """Each room's card has its area with its sd, and its surveys with dates and lines."""
    for _, row in rooms.iterrows():
        told = card(page, row["room"])
        assert measured(row["floor_area_m2"], row["floor_area_sd_m2"], "m2") in told["floor area"]
        assert f"{100 * row['recorded_share']:.0f} % of it recorded" in told["outline"]
        for survey in row["surveys"].split(";"):
            assert survey in told["measured by"]
            assert survey in told["survey lines"]
        assert "2031-06" in told["measured by"]


def test_a_floor_that_was_not_met_has_no_depth(page, rooms):
    """Where no floor was met the card says so; elsewhere how it was met."""
    for _, row in rooms.iterrows():
        floor = card(page, row["room"])["floor"]
        if row["floor_depth_m"] == row["floor_depth_m"]:
            assert row["floor_evidence"].split(";")[0] in floor
        else:
            assert floor == "none was met"


def test_what_was_inferred_around_a_room_is_named(page, rooms, hamlet):
    """A room whose outline was not all recorded names the closings; they are near it."""
    partly = rooms[rooms["recorded_share"] < 0.97]
    assert len(partly) > 10
    for room in partly["room"]:
        assert "Inferred: " in card(page, room)["outline"]


def test_units_datum_cautions_and_methods_are_told(text):
    """The page names datum, sea level, dates, its cautions, and how figures are had."""
    for words in (
        "levelling datum of Callowmer Bay",
        "below mean sea level 2021-2030",
        "Not for navigation and not for dive planning",
        "Trench sides collapse",
        "position of a site can be a secret",
        "Patchy errors",
        "at or below",
    ):
        assert words in text
