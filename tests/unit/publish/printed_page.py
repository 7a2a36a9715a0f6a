"""What a printed picture shows: its texts where they stand, and those that touch or are cut."""

from itertools import combinations

from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from wrackline.publish.text_pictures.style import SETTINGS


def drawn_texts(made):
    """Return every text that is truly drawn, with its box on the page in pixels."""
    seen, draw = [], Text.draw

    def watched(self, renderer, *args, **kwargs):
        if self.get_visible() and self.get_text().strip():
            seen.append((self.get_text(), self.get_window_extent(renderer)))
        return draw(self, renderer, *args, **kwargs)

    Text.draw = watched
    try:
        with rc_context(SETTINGS):
            FigureCanvasAgg(made.figure).draw()
    finally:
        Text.draw = draw
    return seen


def touching(made, by_px=0.5):
    """Return pairs of texts that overlap by more than so much."""
    return [
        (one, other)
        for (one, a), (other, b) in combinations(drawn_texts(made), 2)
        if min(a.x1, b.x1) - max(a.x0, b.x0) > by_px and min(a.y1, b.y1) - max(a.y0, b.y0) > by_px
    ]


def cut(made):
    """Return texts that reach beyond the page."""
    page = made.figure.bbox
    return [
        text
        for text, box in drawn_texts(made)
        if box.x0 < -0.5 or box.y0 < -0.5 or box.x1 > page.x1 + 0.5 or box.y1 > page.y1 + 0.5
    ]


def by_gid(made, gid):
    """Return the one artist of a name."""
    (found,) = made.figure.findobj(lambda artist: artist.get_gid() == gid)
    return found


def gids(made, begin):
    """Return the artists whose names begin so, by name."""
    found = made.figure.findobj(lambda artist: str(artist.get_gid() or "").startswith(begin))
    return {artist.get_gid(): artist for artist in found}
