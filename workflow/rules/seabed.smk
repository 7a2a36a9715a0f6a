from wrackline.model import for_levels
from wrackline.seabed.cell_size import survey_cell
from wrackline.sources import composite, seabed_shares, structure_max_m, surface_surveys

SHARES = {survey: seabed_shares(SITE, survey) for survey in SITE.point_surveys}
LARGE = [survey for survey in SHARES if SHARES[survey] > 1]
LARGE_JOB_MB = SITE.site.seabed.memory_mb // 2


rule spill_points:
    input:
        points="work/fit/{survey}/points.laz",
    output:
        spill=temp(directory("work/seabed/spill/{survey}")),
    log:
        "logs/spill_points/{survey}.log",
    wildcard_constraints:
        survey="|".join(LARGE) or "(?!)",
    resources:
        mem_mb=LARGE_JOB_MB,
    params:
        code=fingerprint("spill_points"),
        origin=list(SITE.site.origin),
        cell_m=lambda w: survey_cell(
            SITE.site.seabed.cell_m, SITE.surveys[w.survey].least_cell_m
        ),
        tile_m=SITE.site.seabed.tile_m,
    message:
        "Seabed: sorting the points of {wildcards.survey} into tiles"
    script:
        "../../scripts/spill_points.py"


rule grid_tiles:
    input:
        spill="work/seabed/spill/{survey}",
        errors="work/fit/{survey}/errors.json",
    output:
        cells=temp("work/seabed/tiles/{survey}/{share}.tif"),
        lone=temp("work/seabed/tiles/{survey}/{share}.npy"),
    log:
        "logs/grid_tiles/{survey}-{share}.log",
    wildcard_constraints:
        survey="|".join(LARGE) or "(?!)",
        share="[0-9]+",
    resources:
        mem_mb=LARGE_JOB_MB,
    params:
        code=fingerprint("grid_tiles"),
        cell_m=lambda w: survey_cell(
            SITE.site.seabed.cell_m, SITE.surveys[w.survey].least_cell_m
        ),
        structure_max_m=lambda w: structure_max_m(SITE, w.survey),
        memory_mb=LARGE_JOB_MB,
        shares=lambda w: SHARES[w.survey],
    message:
        "Seabed: gridding share {wildcards.share} of {wildcards.survey}"
    script:
        "../../scripts/grid_tiles.py"


rule grid_survey:
    input:
        points="work/fit/{survey}/points.laz",
        errors="work/fit/{survey}/errors.json",
        shares=lambda w: (
            expand(
                "work/seabed/tiles/{survey}/{share}.tif",
                survey=w.survey,
                share=range(SHARES[w.survey]),
            )
            if w.survey in LARGE
            else []
        ),
        lone=lambda w: (
            expand(
                "work/seabed/tiles/{survey}/{share}.npy",
                survey=w.survey,
                share=range(SHARES[w.survey]),
            )
            if w.survey in LARGE
            else []
        ),
    output:
        surface="work/seabed/survey/{survey}.tif",
        rejected="work/seabed/survey/{survey}.parquet",
        account="work/seabed/survey/{survey}.json",
    log:
        "logs/grid_survey/{survey}.log",
    wildcard_constraints:
        survey="|".join(SITE.point_surveys) or "(?!)",
    resources:
        mem_mb=lambda w: LARGE_JOB_MB if w.survey in LARGE else 0,
    params:
        code=fingerprint("grid_survey"),
        crs=SITE.site.crs,
        vertical_datum=SITE.site.vertical_datum,
        origin=list(SITE.site.origin),
        cell_m=lambda w: survey_cell(
            SITE.site.seabed.cell_m, SITE.surveys[w.survey].least_cell_m
        ),
        fill_distance_m=SITE.site.seabed.fill_distance_m,
        structure_max_m=lambda w: structure_max_m(SITE, w.survey),
        tile_m=SITE.site.seabed.tile_m,
        memory_mb=LARGE_JOB_MB,
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
        shade_around="work/seabed/shade_around.tif",
        local_relief="work/seabed/local_relief.tif",
        openness="work/seabed/openness.tif",
    log:
        "logs/draw_relief/all.log",
    params:
        code=fingerprint("draw_relief"),
        crs=SITE.site.crs,
        vertical_datum=SITE.site.vertical_datum,
        trend_m=SITE.site.seabed.trend_m,
        openness_m=SITE.site.seabed.openness_m,
        openness_directions=SITE.site.seabed.openness_directions,
    message:
        "Seabed: drawing views that show walls"
    script:
        "../../scripts/draw_relief.py"


rule draw_contours:
    input:
        surface=f"work/seabed/{composite(SITE)}.tif",
        record=f"work/seabed/{composite(SITE)}.json",
    output:
        contours="work/seabed/contours.parquet",
        waterlines="work/seabed/waterlines.parquet",
    log:
        "logs/draw_contours/all.log",
    params:
        code=fingerprint("draw_contours"),
        site=to_json(for_levels(SITE.site)),
        contour_step_m=SITE.site.seabed.contour_step_m,
    message:
        "Seabed: drawing contours and waterlines"
    script:
        "../../scripts/draw_contours.py"
