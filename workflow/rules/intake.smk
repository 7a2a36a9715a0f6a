from wrackline.sources import files_there, raw_stamp


rule read_points:
    input:
        lambda w: files_there(
            SITE,
            SITE.surveys[w.survey].file,
            SITE.surveys[w.survey].vertical.water_level,
        ),
    output:
        points="work/intake/{survey}/points.parquet",
        verdict="work/intake/{survey}/verdict.json",
    log:
        "logs/read_points/{survey}.log",
    wildcard_constraints:
        survey="|".join(SITE.point_surveys) or "(?!)",
    params:
        code=fingerprint("read_points"),
        raw=lambda w: raw_stamp(
            SITE,
            SITE.surveys[w.survey].file,
            SITE.surveys[w.survey].vertical.water_level,
            SITE.surveys[w.survey].looked_at,
        ),
        survey=lambda w: to_json(for_reading(SITE.surveys[w.survey])),
        crs=SITE.site.crs,
        origin=list(SITE.site.origin),
    message:
        "Intake: reading the bed points of {wildcards.survey}"
    script:
        "../../scripts/read_points.py"


rule report_intake:
    input:
        expand("work/intake/{survey}/verdict.json", survey=list(SITE.surveys)),
    output:
        report="work/intake/report.json",
    log:
        "logs/report_intake/all.log",
    params:
        code=fingerprint("report_intake"),
    message:
        "Intake: gathering what was found in all files"
    script:
        "../../scripts/report_intake.py"


rule read_items:
    input:
        lambda w: files_there(SITE, SITE.surveys[w.survey].file),
    output:
        table="work/intake/{survey}/items.parquet",
        verdict="work/intake/{survey}/verdict.json",
    log:
        "logs/read_items/{survey}.log",
    wildcard_constraints:
        survey="|".join(SITE.vector_surveys) or "(?!)",
    params:
        code=fingerprint("read_items"),
        raw=lambda w: raw_stamp(
            SITE, SITE.surveys[w.survey].file, SITE.surveys[w.survey].looked_at
        ),
        survey=lambda w: to_json(for_reading(SITE.surveys[w.survey])),
        crs=SITE.site.crs,
        origin=list(SITE.site.origin),
    message:
        "Intake: reading the items of {wildcards.survey}"
    script:
        "../../scripts/read_items.py"
