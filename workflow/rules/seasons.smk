from wrackline.sources import (
    dug_between,
    files_there,
    printed_stamp,
    raw_stamp,
    readings_of,
    season_before,
)


rule carry_numbers:
    input:
        plan=expand("work/rooms/upto-{{season}}/{layer}.parquet", layer=PLAN_LAYERS),
        before=lambda w: expand(
            "work/seasons/{season}/things.parquet",
            season=season_before(SITE, w.season),
        ),
    output:
        plan=expand("work/seasons/{{season}}/{layer}.parquet", layer=PLAN_LAYERS),
        things="work/seasons/{season}/things.parquet",
        events="work/seasons/{season}/events.json",
    log:
        "logs/carry_numbers/{season}.log",
    params:
        code=fingerprint("carry_numbers"),
        origin=list(SITE.site.origin),
        printed=printed_stamp(SITE),
    message:
        "Seasons: carrying numbers into the plan of {wildcards.season}"
    script:
        "../../scripts/carry_numbers.py"


rule follow_readings:
    input:
        plan=rules.carry_numbers.output.plan,
        things=rules.carry_numbers.output.things,
        events=rules.carry_numbers.output.events,
        before=lambda w: expand(
            "work/seasons/{season}/readings.parquet",
            season=season_before(SITE, w.season),
        ),
    output:
        readings="work/seasons/{season}/readings.parquet",
    log:
        "logs/follow_readings/{season}.log",
    params:
        code=fingerprint("follow_readings"),
        readings=lambda w: readings_of(SITE, w.season),
        review_change_share=SITE.site.readings.review_change_share,
    message:
        "Seasons: following interpretations on to the plan of {wildcards.season}"
    script:
        "../../scripts/follow_readings.py"


rule measure_change:
    input:
        earlier=expand("work/seabed/season-{{earlier}}.{kind}", kind=["tif", "json"]),
        later=expand("work/seabed/season-{{later}}.{kind}", kind=["tif", "json"]),
        plan=expand(
            "work/seasons/{{later}}/{layer}.parquet",
            layer=["rooms", "buildings", "wall_bodies"],
        ),
        trenches=lambda w: expand(
            "work/fit/{survey}/items.parquet",
            survey=dug_between(SITE, w.earlier, w.later),
        ),
        stable=files_there(SITE, SITE.site.seabed.stable_ground),
    output:
        raster="work/seasons/change/{earlier}-{later}.tif",
        areas="work/seasons/change/{earlier}-{later}.parquet",
        figures="work/seasons/change/{earlier}-{later}.json",
    log:
        "logs/measure_change/{earlier}-{later}.log",
    wildcard_constraints:
        earlier="[a-z0-9_]+",
        later="[a-z0-9_]+",
    params:
        code=fingerprint("measure_change"),
        raw=raw_stamp(SITE, SITE.site.seabed.stable_ground),
        crs=SITE.site.crs,
        vertical_datum=SITE.site.vertical_datum,
        origin=list(SITE.site.origin),
        window_m=SITE.site.seabed.change_window_m,
    message:
        "Seasons: measuring how the seabed changed from {wildcards.earlier} to {wildcards.later}"
    script:
        "../../scripts/measure_change.py"
