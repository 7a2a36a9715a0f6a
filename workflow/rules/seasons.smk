from wrackline.sources import printed_stamp, season_before


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
