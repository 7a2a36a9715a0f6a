"""The frame that the record's pages share: head, contents, sections; and pictures within them."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass

from wrackline.accuracy.markup import Markup, el, void
from wrackline.publish.report_words import STYLE


@dataclass(frozen=True)
class Part:
    """A part of a page: its name for links, its heading, and what stands below."""

    name: str
    heading: str
    inside: Sequence[Markup]


def whole_page(title: str, parts: Sequence[Part], script: str = "") -> str:
    """Return a page of parts with its contents: equal input gives equal bytes.

    Parameters
    ----------
    title : str
    parts : sequence of Part
    script : str
        What runs in the page; nothing where it needs none.
    """
    head = el(
        "head",
        void("meta", charset="utf-8"),
        void("meta", name_="viewport", content="width=device-width, initial-scale=1"),
        void("meta", name_="robots", content="noindex"),
        el("title", title),
        el("style", Markup(STYLE)),
    )
    links = (el("li", el("a", part.heading, href=f"#{part.name}")) for part in parts)
    skip = el("a", "to the text", href=f"#{parts[0].name}", class_="skip")
    top = el("header", el("h1", title), el("nav", el("ol", *links), aria_label="contents"))
    sections = [el("section", el("h2", p.heading, id=p.name), *p.inside) for p in parts]
    last = [el("script", Markup(script))] if script else []
    body = el("body", skip, top, el("main", *sections), *last)
    return "<!DOCTYPE html>\n" + el("html", head, body, lang="en") + "\n"


def image(png: bytes, words: str) -> Markup:
    """Return a picture that lies in the page itself, with what it shows in words."""
    data = base64.b64encode(png).decode("ascii")
    return void("img", src=f"data:image/png;base64,{data}", alt=words)
