from wrackline.sources import season_before


rule carry_numbers:
    input:
        plan=expand("work/rooms/upto-{{season}}/{layer}.parquet", layer=PLAN_LAYERS),
        before=lambda w: expand(
            "work/seasons/{season}/{file}",
            season=season_before(SITE, w.season),
            file=["changes.json", *(f"{layer}.parquet" for layer in PLAN_LAYERS)],
        ),
    output:
        plan=expand("work/seasons/{{season}}/{layer}.parquet", layer=PLAN_LAYERS),
        changes="work/seasons/{season}/changes.json",
    log:
        "logs/carry_numbers/{season}.log",
    params:
        code=fingerprint("carry_numbers"),
        origin=list(SITE.site.origin),
    message:
        "Seasons: carrying numbers into the plan of {wildcards.season}"
    script:
        "../../scripts/carry_numbers.py"
