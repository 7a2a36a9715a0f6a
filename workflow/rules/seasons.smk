from wrackline.sources import (
    ground_files,
    ground_traits,
    dug_between,
    files_there,
    printed_stamp,
    raw_stamp,
    readings_of,
    season_before,
    seasons_up_to,
    sight_traits,
    surface_surveys,
    surveys_of_season,
    view_surface,
    view_surveys,
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


rule choose_spot_heights:
    input:
        plan=expand(
            "work/seasons/{{season}}/{layer}.parquet",
            layer=["wall_lines", "wall_bodies", "rooms", "buildings"],
        ),
        lines="work/walls/upto-{season}/lines.parquet",
        sources="work/walls/upto-{season}/sources.parquet",
        shares="work/walls/upto-{season}/shares.parquet",
        wall_errors=lambda w: expand(
            "work/fit/{survey}/errors.json",
            survey=view_surveys(SITE, f"upto-{w.season}", "wall_lines"),
        ),
        floors=lambda w: expand(
            "work/fit/{survey}/items.parquet",
            survey=view_surveys(SITE, f"upto-{w.season}", *FLOOR_HOLDS),
        ),
        floor_errors=lambda w: expand(
            "work/fit/{survey}/errors.json",
            survey=view_surveys(SITE, f"upto-{w.season}", *FLOOR_HOLDS),
        ),
        surface=lambda w: expand(
            "work/seabed/{surface}.tif",
            surface=view_surface(SITE, f"upto-{w.season}"),
        ),
        record=lambda w: expand(
            "work/seabed/{surface}.json",
            surface=view_surface(SITE, f"upto-{w.season}"),
        ),
    output:
        spots="work/seasons/{season}/spot_heights.parquet",
    log:
        "logs/choose_spot_heights/{season}.log",
    params:
        code=fingerprint("choose_spot_heights"),
        site=to_json(for_measuring(SITE.site)),
    message:
        "Seasons: choosing the spot heights of {wildcards.season}"
    script:
        "../../scripts/choose_spot_heights.py"


rule find_ground:
    input:
        lambda w: ground_files(SITE, w.season),
    output:
        ground="work/seasons/{season}/ground.parquet",
    log:
        "logs/find_ground/{season}.log",
    params:
        code=fingerprint("find_ground"),
        raw=lambda w: raw_stamp(
            SITE,
            *(
                file
                for survey in surveys_of_season(SITE, w.season)
                for file in SITE.surveys[survey].ground_files
            ),
        ),
        traits=lambda w: ground_traits(SITE, w.season),
        crs=SITE.site.crs,
    message:
        "Seasons: where the surveys of {wildcards.season} looked"
    script:
        "../../scripts/find_ground.py"


rule sight_walls:
    input:
        plan=[
            "work/seasons/{season}/wall_lines.parquet",
            "work/seasons/{season}/wall_bodies.parquet",
        ],
        lines="work/walls/upto-{season}/lines.parquet",
        wall_errors=lambda w: expand(
            "work/fit/{survey}/errors.json",
            survey=view_surveys(SITE, f"upto-{w.season}", "wall_lines"),
        ),
        ground="work/seasons/{season}/ground.parquet",
        tables=lambda w: expand(
            "work/fit/{survey}/items.parquet",
            survey=SITE.holding("wall_lines", season=w.season),
        ),
        surfaces=lambda w: expand(
            "work/seabed/survey/{survey}.tif",
            survey=surface_surveys(SITE, f"season-{w.season}"),
        ),
        bed_errors=lambda w: expand(
            "work/fit/{survey}/errors.json",
            survey=surface_surveys(SITE, f"season-{w.season}"),
        ),
    output:
        sightings="work/seasons/{season}/sightings.parquet",
    log:
        "logs/sight_walls/{season}.log",
    params:
        code=fingerprint("sight_walls"),
        traits=lambda w: sight_traits(SITE, w.season),
        walls=to_json(SITE.site.walls),
        crs=SITE.site.crs,
    message:
        "Seasons: what {wildcards.season} saw of every wall"
    script:
        "../../scripts/sight_walls.py"


rule tell_states:
    input:
        rooms="work/seasons/{season}/rooms.parquet",
        buildings="work/seasons/{season}/buildings.parquet",
        sightings=lambda w: expand(
            "work/seasons/{season}/sightings.parquet",
            season=seasons_up_to(SITE, w.season),
        ),
        before=lambda w: expand(
            "work/seasons/{season}/states.json", season=season_before(SITE, w.season)
        ),
    output:
        states="work/seasons/{season}/states.json",
    log:
        "logs/tell_states/{season}.log",
    params:
        code=fingerprint("tell_states"),
        seasons=lambda w: seasons_up_to(SITE, w.season),
    message:
        "Seasons: rooms that {wildcards.season} found lost, buried or uncovered"
    script:
        "../../scripts/tell_states.py"


rule follow_condition:
    input:
        sightings=expand(
            "work/seasons/{season}/sightings.parquet", season=list(SITE.seasons)
        ),
        buildings=f"work/seasons/{LAST_SEASON}/buildings.parquet",
    output:
        walls="work/seasons/wall_condition.parquet",
        table="work/publish/tables/condition.csv",
    log:
        "logs/follow_condition/all.log",
    params:
        code=fingerprint("follow_condition"),
        seasons=list(SITE.seasons),
    message:
        "Seasons: condition of the walls over time"
    script:
        "../../scripts/follow_condition.py"


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
