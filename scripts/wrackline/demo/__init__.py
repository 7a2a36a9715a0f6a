"""The demo: survey files of an invented settlement, made from a truth that a person can read.

`truth` and `made` are the model of the truth file; `town`, `houses` and `furnishing` lay out a
settlement; `hamlet` turns it into exact geometry; `survey` adds errors; `fieldwork`, `books`,
`dives`, `old_plan`, `digging`, `drawing`, `pictures` and `statements` do the surveys; `facts`
states the right answers; `files` writes them.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import partial
from pathlib import Path
from typing import Any

from wrackline.demo import (
    books,
    digging,
    dives,
    drawing,
    facts,
    fieldwork,
    old_plan,
    pictures,
    statements,
)
from wrackline.demo.fieldwork import Fieldwork
from wrackline.demo.files import write_cloud, write_layers, write_table
from wrackline.demo.hamlet import Hamlet
from wrackline.demo.town import settled
from wrackline.errors import ConfigError, Fault
from wrackline.io import write_json

LAYERS = {
    "wall_faces": ("walls", fieldwork.wall_faces),
    "wall_centres": ("walls", fieldwork.wall_centres),
    "features": ("features", fieldwork.features),
    "details": ("details", drawing.details),
    "plan_walls": ("plan", old_plan.plan_walls),
    "trench_outlines": ("trenches", digging.trench_outlines),
    "ground_traced": ("ground", statements.ground_traced),
    "swum": ("swum", statements.swum),
    "plants_drawn": ("plants", statements.plants_drawn),
}
TABLES = {
    "soundings": fieldwork.soundings,
    "bed_poles": fieldwork.bed_poles,
    "floors": fieldwork.floors,
    "plan_depths": old_plan.plan_depths,
    "station_day": books.station_day,
    "coded_points": books.coded_points,
    "tape_book": books.tape_book,
    "level_book": books.level_book,
    "probes": digging.probes,
    "finds": digging.finds,
}
RASTERS = {"photo_heights": pictures.photo_heights, "mosaic": pictures.mosaic}


def make(
    truth: Mapping[str, Any], folder: Path, *, wanted: Collection[str] | None = None
) -> list[Path]:
    """Write the demo's survey files, and the right answers beside them.

    Parameters
    ----------
    truth : mapping
        Content of a truth file, see `wrackline.demo.truth.Truth`.
    folder : Path
        The site's folder.
    wanted : collection of str, optional
        Files to write, relative to the site's folder; all that the truth describes if left out.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    ConfigError
        When the truth can't be used, or doesn't describe a wanted file.
    """
    hamlet = Hamlet(settled(truth))
    makers = _makers(hamlet)
    names = sorted(makers) if wanted is None else sorted(wanted)
    unknown = [name for name in names if name not in makers]
    if unknown:
        raise ConfigError([_not_described(name, sorted(makers)) for name in unknown])
    for name in names:
        makers[name](folder / name)
    return [folder / name for name in names]


def _makers(hamlet: Hamlet) -> dict[str, partial[None]]:
    """Return what writes each file that the truth describes, by the file's name."""
    truth = hamlet.truth
    makers = {made.file: partial(_survey, hamlet, name) for name, made in truth.surveys.items()}
    if truth.water is not None:
        makers[truth.water.file] = partial(_gauge, hamlet)
    for name, made in truth.surveys.items():
        if made.staff is not None:
            makers[made.staff.file] = partial(_staff, hamlet, name)
    makers[f"{truth.truth_files}.json"] = partial(_answers, hamlet)
    makers[f"{truth.truth_files}.gpkg"] = partial(_map, hamlet)
    return makers


def _survey(hamlet: Hamlet, name: str, path: Path) -> None:
    work = Fieldwork(hamlet, name)
    makes = work.made.makes
    if makes in LAYERS:
        layer, made_by = LAYERS[makes]
        write_layers({layer: made_by(work)}, path)
    elif makes in TABLES:
        write_table(TABLES[makes](work), path, work.made.decimal)
    elif makes in RASTERS:
        RASTERS[makes](work, path)
    else:
        write_cloud(fieldwork.swath(work), path)


def _gauge(hamlet: Hamlet, path: Path) -> None:
    if hamlet.truth.water is not None:
        write_table(fieldwork.gauge(hamlet.truth.water), path)


def _staff(hamlet: Hamlet, name: str, path: Path) -> None:
    write_table(dives.staff_record(hamlet, name), path)


def _answers(hamlet: Hamlet, path: Path) -> None:
    write_json(facts.answers(hamlet), path)


def _map(hamlet: Hamlet, path: Path) -> None:
    write_layers(facts.layers(hamlet), path)


def _not_described(name: str, described: list[str]) -> Fault:
    return Fault(
        kind="not_in_truth",
        found=f"the demo is to make '{name}'",
        allowed=f"files that its truth describes: {', '.join(described)}",
        consequence="a survey of the demo would have no file",
        remedy="describe it under surveys in config/demo.yaml, or keep real files out of data/demo",
        file=name,
    )
