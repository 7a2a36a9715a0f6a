"""What every product says beside its figures: units, datum, sea level, dates, caution."""

from __future__ import annotations

from collections.abc import Mapping

from wrackline.model import Season, Site

CAUTION = (
    "Not for navigation and not for dive planning. Trench sides collapse. Local diving and "
    "heritage codes and licensed practice decide what may be done on site. The position of a "
    "site can be a secret: ask before passing this on."
)


def statement(site: Site, seasons: Mapping[str, Season]) -> dict[str, str]:
    """Return what must stand beside every figure, by topic.

    Parameters
    ----------
    site : Site
    seasons : mapping of str to Season
        The seasons that the product rests on.
    """
    surveys = [survey for season in seasons.values() for survey in season.surveys]
    level = site.depth_level
    return {
        "site": site.name,
        "crs": site.crs,
        "units": "metres and square metres on the ground; degrees from true north",
        "vertical_datum": site.vertical_datum,
        "depths": f"below {level.name}, {level.height_m:+.3f} m (sd {level.sd_m:.3f} m) from the "
        "datum; positive down, negative above it",
        "uncertainties": "sd is one standard uncertainty; 95 % intervals are 1.96 sd each way",
        "surveyed": f"{min(s.from_date for s in surveys)} to {max(s.to_date for s in surveys)}",
        "credit": site.credit or "not stated",
        "caution": CAUTION,
    }


def as_text(parts: Mapping[str, str]) -> str:
    """Return a statement as lines for people.

    >>> print(as_text({"site": "Somewhere", "units": "metres"}))
    site:  Somewhere
    units: metres
    """
    width = max(map(len, parts)) + 2
    return "\n".join(f"{topic + ':':<{width}}{text}" for topic, text in parts.items())
