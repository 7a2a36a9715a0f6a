"""Whether the files in which a team states where it looked, and saw plants, can be used."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from wrackline.errors import InputError
from wrackline.grounds import ground_stated, plants_stated, swim_corridor
from wrackline.verdict import Problems, Source

READERS = {
    "looked_at": partial(ground_stated, crs=None),
    "swim_lines": partial(swim_corridor, reach_m=1.0, crs=None),
    "plant_cover": partial(plants_stated, crs=None),
}
WANTED = {
    "looked_at": "a polygon file of the ground that was looked at, or a raster",
    "swim_lines": "a line file of the way that was swum",
    "plant_cover": "a polygon file of where plants grow, or one share for all of the ground",
}


def check_ground_files(source: Source, problems: Problems) -> None:
    """Name what is wrong with the files that state where a survey looked.

    Parameters
    ----------
    source : Source
    problems : Problems
        Gets a fault for each file that is missing or can't be used.
    """
    for key, reader in READERS.items():
        stated = getattr(source.survey, key)
        if not isinstance(stated, str):
            continue
        if not (source.folder / stated).is_file():
            problems.add(
                source.fault(
                    f"{key}_missing",
                    "no such file",
                    WANTED[key],
                    "what was not looked for could not be told from what is not there",
                    f"put the file there, mend `{key}`, or leave it out",
                    file=stated,
                )
            )
            continue
        try:
            reader(source.folder / stated)
        except InputError as slip:
            for fault in slip.faults:
                problems.add(replace(fault, file=stated, survey=source.name))
