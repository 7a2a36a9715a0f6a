"""Surveys that others are held against: checked against the config, and what rests on them."""

from __future__ import annotations

import difflib
from collections.abc import Mapping

from wrackline.errors import Fault
from wrackline.model import POINT_HOLDS, Season, Site, Survey


def with_baselines(
    seasons: Mapping[str, Season], site: Site, faults: list[Fault]
) -> dict[str, Season]:
    """Return seasons whose applied offsets rest on the sources of what they were measured against.

    Parameters
    ----------
    seasons : mapping of str to Season
        By name.
    site : Site
    faults : list of Fault
        Grows by what is wrong with `seabed.baseline` and with every `against`.
    """
    surveys = {
        f"{season.season}-{survey.name}": survey
        for season in seasons.values()
        for survey in season.surveys
    }
    if site.seabed.baseline is not None and _no_bed(site.seabed.baseline, surveys):
        faults.append(
            _unknown(site.seabed.baseline, surveys, "seabed.baseline", file="config/site.yaml")
        )
    return {
        name: season.model_copy(
            update={"surveys": [_resting(s, season, surveys, site, faults) for s in season.surveys]}
        )
        for name, season in seasons.items()
    }


def _resting(
    survey: Survey,
    season: Season,
    surveys: Mapping[str, Survey],
    site: Site,
    faults: list[Fault],
) -> Survey:
    """Return a survey with the sources that its applied offset rests on."""
    offset = survey.applied_offset
    if offset is None or offset.against is None:
        return survey
    name, file = f"{season.season}-{survey.name}", f"config/seasons/{season.season}.yaml"
    if _no_bed(offset.against, surveys) or offset.against == name:
        others = {other: s for other, s in surveys.items() if other != name}
        faults.append(
            _unknown(offset.against, others, "applied_offset.against", file=file, survey=name)
        )
        return survey
    base = surveys[offset.against]
    if base.applied_offset is not None:
        faults.append(_chained(offset.against, file, name))
        return survey
    links = [link.error_source for link in site.links_from(base.vertical.zero)]
    names = list(dict.fromkeys([*offset.rests_on, *base.error_sources, *links]))
    resting = offset.model_copy(update={"rests_on": names})
    return survey.model_copy(update={"applied_offset": resting})


def _no_bed(name: str, surveys: Mapping[str, Survey]) -> bool:
    return name not in surveys or surveys[name].holds not in POINT_HOLDS


def _unknown(
    name: str, surveys: Mapping[str, Survey], key: str, *, file: str, survey: str = ""
) -> Fault:
    names = sorted(other for other, one in surveys.items() if one.holds in POINT_HOLDS)
    near = difflib.get_close_matches(name, names, n=1, cutoff=0.5)
    return Fault(
        kind="unknown_baseline",
        found=f"{key}: {name}",
        allowed=f"another survey of bed points, as <season>-<name>: {', '.join(names) or 'none'}",
        consequence="heights would be held against nothing",
        remedy=f"did you mean '{near[0]}'?" if near else "mend the name",
        file=file,
        survey=survey,
    )


def _chained(against: str, file: str, survey: str) -> Fault:
    return Fault(
        kind="chained_offset",
        found=f"applied_offset.against: {against}, which bears an applied_offset itself",
        allowed="a survey whose heights stand as they were measured",
        consequence="the errors of the first correction would be lost in the second",
        remedy="measure the correction against the baseline itself",
        file=file,
        survey=survey,
    )
