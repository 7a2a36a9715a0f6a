# The story of a season: raw survey files in, one checkable record out.
# Run it with `make site`; see README.md. Data flows down this list and never back up.

from pathlib import Path

from wrackline.config import load_site
from wrackline.contract import PLAN_LAYERS
from wrackline.fingerprint import fingerprint
from wrackline.model import (
    FLOOR_HOLDS,
    for_fitting,
    for_measuring,
    for_reading,
    list_to_json,
    to_json,
)
from wrackline.sources import composite

SITE = load_site(Path())
LAST_SEASON = list(SITE.seasons)[-1]
SITE_SURFACE = [composite(SITE)] if SITE.point_surveys else []


wildcard_constraints:
    survey="[a-z0-9_]+-[a-z0-9_]+",
    season="[a-z0-9_]+",
    view="(upto-[a-z0-9_]+|only-[a-z0-9_]+-[a-z0-9_]+)",


include: "workflow/rules/demo.smk"
include: "workflow/rules/intake.smk"
include: "workflow/rules/fit.smk"
include: "workflow/rules/seabed.smk"
include: "workflow/rules/walls.smk"
include: "workflow/rules/rooms.smk"
include: "workflow/rules/seasons.smk"
include: "workflow/rules/trenches.smk"
include: "workflow/rules/accuracy.smk"
include: "workflow/rules/publish.smk"


rule all:
    default_target: True
    input:
        "work/publish/manifest.json",


rule check:
    input:
        "work/check/report.json",
