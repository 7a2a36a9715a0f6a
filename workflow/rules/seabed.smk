from wrackline.sources import composite, surface_surveys


rule grid_survey:
    input:
        points="work/fit/{survey}/points.laz",
        errors="work/fit/{survey}/errors.json",
    output:
        surface="work/seabed/survey/{survey}.tif",
    log:
        "logs/grid_survey/{survey}.log",
    wildcard_constraints:
        survey="|".join(SITE.point_surveys) or "(?!)",
    params:
        code=fingerprint("grid_survey"),
        crs=SITE.site.crs,
        vertical_datum=SITE.site.vertical_datum,
        origin=list(SITE.site.origin),
        cell_m=SITE.site.seabed.cell_m,
        fill_distance_m=SITE.site.seabed.fill_distance_m,
    message:
        "Seabed: gridding {wildcards.survey}"
    script:
        "../../scripts/grid_survey.py"


rule merge_surfaces:
    input:
        surfaces=lambda w: expand(
            "work/seabed/survey/{survey}.tif",
            survey=surface_surveys(SITE, w.surface),
        ),
        errors=lambda w: expand(
            "work/fit/{survey}/errors.json",
            survey=surface_surveys(SITE, w.surface),
        ),
    output:
        surface="work/seabed/{surface}.tif",
        record="work/seabed/{surface}.json",
    log:
        "logs/merge_surfaces/{surface}.log",
    wildcard_constraints:
        surface="(upto|season)-[a-z0-9_]+",
    params:
        code=fingerprint("merge_surfaces"),
        surveys=lambda w: surface_surveys(SITE, w.surface),
        crs=SITE.site.crs,
        vertical_datum=SITE.site.vertical_datum,
        origin=list(SITE.site.origin),
        fill_distance_m=SITE.site.seabed.fill_distance_m,
        feather_m=SITE.site.seabed.feather_m,
        change_sd_m_per_year=SITE.site.seabed.change_sd_m_per_year,
        cell_m=SITE.site.seabed.cell_m,
    message:
        "Seabed: merging surveys into the surface {wildcards.surface}"
    script:
        "../../scripts/merge_surfaces.py"


rule draw_relief:
    input:
        surface=f"work/seabed/{composite(SITE)}.tif",
    output:
        slope="work/seabed/slope.tif",
        hillshade="work/seabed/hillshade.tif",
        contours="work/seabed/contours.parquet",
        waterlines="work/seabed/waterlines.parquet",
    log:
        "logs/draw_relief/all.log",
    params:
        code=fingerprint("draw_relief"),
        crs=SITE.site.crs,
        vertical_datum=SITE.site.vertical_datum,
        sea_levels=[to_json(level) for level in SITE.site.sea_levels],
        depths_below=SITE.site.depths_below,
        contour_step_m=SITE.site.seabed.contour_step_m,
    message:
        "Seabed: drawing slope, hillshade, contours and waterlines"
    script:
        "../../scripts/draw_relief.py"
