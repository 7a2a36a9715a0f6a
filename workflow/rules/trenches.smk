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
