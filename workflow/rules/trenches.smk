from wrackline.sources import view_surveys


rule measure_deposit:
    input:
        floors=expand(
            "work/fit/{survey}/items.parquet", survey=SITE.holding(*FLOOR_HOLDS)
        ),
        errors=expand(
            "work/fit/{survey}/errors.json", survey=SITE.holding(*FLOOR_HOLDS)
        ),
        surface=expand("work/seabed/{surface}.tif", surface=SITE_SURFACE),
        record=expand("work/seabed/{surface}.json", surface=SITE_SURFACE),
        rooms=f"work/seasons/{LAST_SEASON}/rooms.parquet",
    output:
        table="work/trenches/deposit.csv",
    log:
        "logs/measure_deposit/all.log",
    params:
        code=fingerprint("measure_deposit"),
        crs=SITE.site.crs,
        cell_m=SITE.site.seabed.cell_m,
    message:
        "Trenches: measuring the deposit over the floors met"
    script:
        "../../scripts/measure_deposit.py"


rule outline_trenches:
    input:
        tables=lambda w: expand(
            "work/fit/{survey}/items.parquet",
            survey=view_surveys(SITE, f"upto-{w.season}", "trench_outlines"),
        ),
        errors=lambda w: expand(
            "work/fit/{survey}/errors.json",
            survey=view_surveys(SITE, f"upto-{w.season}", "trench_outlines"),
        ),
    output:
        trenches="work/trenches/{season}/trenches.parquet",
    log:
        "logs/outline_trenches/{season}.log",
    params:
        code=fingerprint("outline_trenches"),
        crs=SITE.site.crs,
    message:
        "Trenches: outlines of what had been dug by {wildcards.season}"
    script:
        "../../scripts/outline_trenches.py"
