from wrackline.sources import printed_stamp, readings_of, season_before


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
