from wrackline.sources import files_there, raw_stamp


rule read_points:
    input:
        lambda w: files_there(
            SITE,
            SITE.surveys[w.survey].file,
            SITE.surveys[w.survey].vertical.water_level,
            *SITE.surveys[w.survey].ground_files,
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
            *SITE.surveys[w.survey].ground_files,
        ),
        survey=lambda w: to_json(for_reading(SITE.surveys[w.survey])),
        corrections=lambda w: list_to_json(SITE.corrections_to(w.survey)),
        crs=SITE.site.crs,
        origin=list(SITE.site.origin),
    message:
        "Intake: reading the bed points of {wildcards.survey}"
    script:
        "../../scripts/read_points.py"


rule read_items:
    input:
        lambda w: files_there(
            SITE, SITE.surveys[w.survey].file, *SITE.surveys[w.survey].ground_files
        ),
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
            SITE, SITE.surveys[w.survey].file, *SITE.surveys[w.survey].ground_files
        ),
        survey=lambda w: to_json(for_reading(SITE.surveys[w.survey])),
        control=lambda w: list_to_json(SITE.control_for(w.survey)),
        corrections=lambda w: list_to_json(SITE.corrections_to(w.survey)),
        crs=SITE.site.crs,
        origin=list(SITE.site.origin),
    message:
        "Intake: reading the items of {wildcards.survey}"
    script:
        "../../scripts/read_items.py"
