from wrackline.sources import files_there, height_links, placing_part, raw_stamp


rule fit_points:
    input:
        lambda w: files_there(
            SITE,
            SITE.surveys[w.survey].vertical.water_level,
            *(link.geoid_grid for link in height_links(SITE, w.survey)),
        ),
        points="work/intake/{survey}/points.parquet",
    output:
        points="work/fit/{survey}/points.laz",
        errors="work/fit/{survey}/errors.json",
    log:
        "logs/fit_points/{survey}.log",
    wildcard_constraints:
        survey="|".join(SITE.point_surveys) or "(?!)",
    params:
        code=fingerprint("fit_points"),
        raw=lambda w: raw_stamp(
            SITE,
            SITE.surveys[w.survey].vertical.water_level,
            *(link.geoid_grid for link in height_links(SITE, w.survey)),
        ),
        survey=lambda w: to_json(for_fitting(SITE.surveys[w.survey])),
        error_sources=lambda w: [
            to_json(SITE.site.error_sources[name])
            for name in dict.fromkeys(
                [
                    *SITE.surveys[w.survey].resting_on,
                    *(link.error_source for link in height_links(SITE, w.survey)),
                ]
            )
        ],
        height_links=lambda w: list_to_json(height_links(SITE, w.survey)),
        crs=SITE.site.crs,
        vertical_datum=SITE.site.vertical_datum,
        origin=list(SITE.site.origin),
    message:
        "Fit: bringing the bed points of {wildcards.survey} into the site's CRS and datum"
    script:
        "../../scripts/fit_points.py"


rule compare_overlaps:
    input:
        points=expand("work/fit/{survey}/points.laz", survey=SITE.point_surveys),
        errors=expand("work/fit/{survey}/errors.json", survey=SITE.point_surveys),
    output:
        overlaps="work/fit/overlaps.json",
    log:
        "logs/compare_overlaps/all.log",
    params:
        code=fingerprint("compare_overlaps"),
        surveys=SITE.point_surveys,
        origin=list(SITE.site.origin),
        cell_m=SITE.site.seabed.cell_m,
        baseline=SITE.site.seabed.baseline,
    message:
        "Fit: comparing surveys where they overlap"
    script:
        "../../scripts/compare_overlaps.py"


rule fit_items:
    input:
        lambda w: files_there(
            SITE, *(link.geoid_grid for link in height_links(SITE, w.survey))
        ),
        table="work/intake/{survey}/items.parquet",
        verdict="work/intake/{survey}/verdict.json",
    output:
        table="work/fit/{survey}/items.parquet",
        errors="work/fit/{survey}/errors.json",
    log:
        "logs/fit_items/{survey}.log",
    wildcard_constraints:
        survey="|".join(SITE.vector_surveys) or "(?!)",
    params:
        code=fingerprint("fit_items"),
        raw=lambda w: raw_stamp(
            SITE, *(link.geoid_grid for link in height_links(SITE, w.survey))
        ),
        survey=lambda w: to_json(for_fitting(SITE.surveys[w.survey])),
        site=lambda w: placing_part(SITE, w.survey),
    message:
        "Fit: bringing {wildcards.survey} into the site's CRS and datum"
    script:
        "../../scripts/fit_items.py"
