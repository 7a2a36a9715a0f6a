from wrackline.contract import LAYERS
from wrackline.model import for_levels, for_sheets, for_summary
from wrackline.sources import (
    change_pairs,
    changed_since,
    font_of,
    language_json,
    picture_below,
    picture_survey,
    printed_stamp,
    relief_below,
    season_before,
    season_surveys,
    sheet_surveys,
    standing_marks,
    statement_json,
    view_surface,
)

SITE_PLAN = expand(f"work/seasons/{LAST_SEASON}/{{layer}}.parquet", layer=PLAN_LAYERS)
VIEWS = ["slope", "hillshade", "shade_around", "local_relief", "openness"]
RASTERS = ["height", "sd", "count", "source", *VIEWS]
AUDITS = ["accuracy", "overlaps", "suspicions", "changes", "deposit", "decisions"]
CHANGES = [f"{earlier}-{later}" for earlier, later in change_pairs(SITE)]
TEXT_PICTURES = ["areas", "depths", "profile", "access"]
SOUNDED = [name for name in SITE.seasons if view_surface(SITE, f"upto-{name}")]
SITE_TEAM = f"work/rooms/upto-{LAST_SEASON}/team.json"


rule publish_season:
    input:
        plan=expand("work/seasons/{{season}}/{layer}.parquet", layer=PLAN_LAYERS),
        readings="work/seasons/{season}/readings.parquet",
        beside=[
            "work/seasons/{season}/spot_heights.parquet",
            "work/trenches/{season}/trenches.parquet",
        ],
    output:
        package="work/publish/seasons/{season}/plan.gpkg",
    log:
        "logs/publish_season/{season}.log",
    params:
        code=fingerprint("publish_season"),
        crs=SITE.site.crs,
        about=lambda w: statement_json(SITE, w.season),
    message:
        "Publish: the plan as known after {wildcards.season}"
    script:
        "../../scripts/publish_season.py"


rule report_season:
    input:
        plan=expand("work/seasons/{{season}}/{layer}.parquet", layer=PLAN_LAYERS),
        before=lambda w: expand(
            "work/seasons/{season}/{layer}.parquet",
            season=season_before(SITE, w.season),
            layer=PLAN_LAYERS,
        ),
        things="work/seasons/{season}/things.parquet",
        events="work/seasons/{season}/events.json",
        readings="work/seasons/{season}/readings.parquet",
        team="work/rooms/upto-{season}/team.json",
        states="work/seasons/{season}/states.json",
        sightings="work/seasons/{season}/sightings.parquet",
        tracings="work/walls/upto-{season}/tracings.parquet",
        changed=lambda w: changed_since(SITE, w.season, "json"),
        maps=lambda w: changed_since(SITE, w.season, "png"),
    output:
        page="work/publish/seasons/{season}/report.html",
        pictures=[
            "work/publish/seasons/{season}/changes.png",
            "work/publish/seasons/{season}/changes.svg",
        ],
        moved="work/publish/seasons/{season}/figures_moved.csv",
        decide="work/publish/seasons/{season}/to_decide.csv",
    log:
        "logs/report_season/{season}.log",
    params:
        code=fingerprint("report_season"),
        before=lambda w: "".join(season_before(SITE, w.season)),
        surveys=lambda w: season_surveys(SITE, w.season),
        about=lambda w: statement_json(SITE, w.season),
    message:
        "Publish: what {wildcards.season} brought"
    script:
        "../../scripts/report_season.py"


rule publish_rasters:
    input:
        surface=expand("work/seabed/{surface}.tif", surface=SITE_SURFACE),
        record=expand("work/seabed/{surface}.json", surface=SITE_SURFACE),
        views=expand("work/seabed/{view}.tif", view=VIEWS),
    output:
        expand("work/publish/seabed/{name}.tif", name=RASTERS),
    log:
        "logs/publish_rasters/all.log",
    params:
        code=fingerprint("publish_rasters"),
        names=RASTERS,
        views=VIEWS,
        about=statement_json(SITE, LAST_SEASON),
    message:
        "Publish: the seabed as rasters"
    script:
        "../../scripts/publish_rasters.py"


rule publish_change:
    input:
        raster="work/seasons/change/{earlier}-{later}.tif",
        areas="work/seasons/change/{earlier}-{later}.parquet",
        figures="work/seasons/change/{earlier}-{later}.json",
        rooms="work/seasons/{later}/rooms.parquet",
    output:
        raster="work/publish/seasons/{later}/seabed_change_since_{earlier}.tif",
        picture="work/publish/seasons/{later}/seabed_change_since_{earlier}.png",
    log:
        "logs/publish_change/{earlier}-{later}.log",
    wildcard_constraints:
        earlier="[a-z0-9_]+",
        later="[a-z0-9_]+",
    params:
        code=fingerprint("publish_change"),
        about=lambda w: statement_json(SITE, w.later),
    message:
        "Publish: the seabed's change from {wildcards.earlier} to {wildcards.later}"
    script:
        "../../scripts/publish_change.py"


rule tabulate_change:
    input:
        figures=[f"work/seasons/change/{pair}.json" for pair in CHANGES],
        areas=[f"work/seasons/change/{pair}.parquet" for pair in CHANGES],
    output:
        table="work/publish/tables/seabed_change.csv",
    log:
        "logs/tabulate_change/all.log",
    params:
        code=fingerprint("tabulate_change"),
        crs=SITE.site.crs,
    message:
        "Publish: the seabed's changes as a table"
    script:
        "../../scripts/tabulate_change.py"


rule list_set_aside:
    input:
        surfaces=expand("work/seabed/survey/{survey}.tif", survey=SITE.point_surveys),
        rejected=expand(
            "work/seabed/survey/{survey}.parquet", survey=SITE.point_surveys
        ),
        accounts=expand("work/seabed/survey/{survey}.json", survey=SITE.point_surveys),
    output:
        table="work/publish/tables/set_aside.csv",
    log:
        "logs/list_set_aside/all.log",
    params:
        code=fingerprint("list_set_aside"),
        surveys=SITE.point_surveys,
        files=[SITE.surveys[survey].file for survey in SITE.point_surveys],
        origin=list(SITE.site.origin),
    message:
        "Publish: soundings that were set aside"
    script:
        "../../scripts/list_set_aside.py"


rule publish_site:
    input:
        plan=SITE_PLAN,
        tracings=f"work/walls/upto-{LAST_SEASON}/tracings.parquet",
        readings=f"work/seasons/{LAST_SEASON}/readings.parquet",
        beside=[
            f"work/seasons/{LAST_SEASON}/spot_heights.parquet",
            f"work/trenches/{LAST_SEASON}/trenches.parquet",
        ],
        contours=["work/seabed/contours.parquet"] if SITE_SURFACE else [],
        waterlines=["work/seabed/waterlines.parquet"] if SITE_SURFACE else [],
        changed=[f"work/seasons/change/{pair}.parquet" for pair in CHANGES],
        verdicts=expand("work/intake/{survey}/verdict.json", survey=list(SITE.surveys)),
        grounds=expand(
            "work/seasons/{season}/ground.parquet", season=list(SITE.seasons)
        ),
        sightings=expand(
            "work/seasons/{season}/sightings.parquet", season=list(SITE.seasons)
        ),
        condition=rules.follow_condition.output.walls,
    output:
        package="work/publish/site.gpkg",
        tables=expand("work/publish/tables/{layer}.csv", layer=LAYERS),
        fields="work/publish/tables/fields.csv",
        statement="work/publish/READ_ME.txt",
    log:
        "logs/publish_site/all.log",
    params:
        code=fingerprint("publish_site"),
        crs=SITE.site.crs,
        surveys=[[name, to_json(survey)] for name, survey in SITE.surveys.items()],
        about=statement_json(SITE, LAST_SEASON),
    message:
        "Publish: the site as now known"
    script:
        "../../scripts/publish_site.py"


rule publish_audits:
    input:
        audit="work/accuracy/audit.json",
        overlaps="work/fit/overlaps.json",
        report="work/check/report.json",
        deposit="work/trenches/deposit.csv",
        team=SITE_TEAM,
        events=expand("work/seasons/{season}/events.json", season=list(SITE.seasons)),
        states=expand("work/seasons/{season}/states.json", season=list(SITE.seasons)),
    output:
        **{name: f"work/publish/tables/{name}.csv" for name in AUDITS},
    log:
        "logs/publish_audits/all.log",
    params:
        code=fingerprint("publish_audits"),
        seasons=list(SITE.seasons),
    message:
        "Publish: the audits as tables"
    script:
        "../../scripts/publish_audits.py"


rule summarise_site:
    input:
        plan=SITE_PLAN,
        package="work/publish/site.gpkg",
        deposit="work/trenches/deposit.csv",
        floors=expand(
            "work/fit/{survey}/items.parquet", survey=SITE.holding(*FLOOR_HOLDS)
        ),
        errors=expand(
            "work/fit/{survey}/errors.json",
            survey=SITE.holding("features", *FLOOR_HOLDS),
        ),
    output:
        summary="work/publish/summary.json",
        table="work/publish/tables/summary.csv",
        levels="work/publish/tables/levels.csv",
        sea_level="work/publish/tables/sea_level.csv",
        flooding="work/publish/tables/flooding.csv",
        adjacency="work/publish/tables/adjacency.csv",
        access="work/publish/tables/access.csv",
    log:
        "logs/summarise_site/all.log",
    params:
        code=fingerprint("summarise_site"),
        site=to_json(for_summary(SITE.site)),
    message:
        "Publish: the site in figures"
    script:
        "../../scripts/summarise_site.py"


rule draw_pictures:
    input:
        plan=SITE_PLAN,
        team=SITE_TEAM,
        contours=["work/seabed/contours.parquet"] if SITE_SURFACE else [],
        surface=expand("work/seabed/{surface}.tif", surface=SITE_SURFACE),
        shade=["work/seabed/shade_around.tif"] if SITE_SURFACE else [],
        relief=["work/seabed/local_relief.tif"] if SITE_SURFACE else [],
    output:
        plan=["work/publish/plan.png", "work/publish/plan.svg"],
        seabed=["work/publish/seabed.png"] if SITE_SURFACE else [],
    log:
        "logs/draw_pictures/all.log",
    params:
        code=fingerprint("draw_pictures"),
        about=statement_json(SITE, LAST_SEASON),
    message:
        "Publish: pictures of the plan and the seabed"
    script:
        "../../scripts/draw_pictures.py"


rule draw_uncertainty:
    input:
        surface=f"work/seabed/{composite(SITE)}.tif",
    output:
        picture="work/publish/uncertainty.png",
    log:
        "logs/draw_uncertainty/all.log",
    params:
        code=fingerprint("draw_uncertainty"),
        about=statement_json(SITE, LAST_SEASON),
    message:
        "Publish: how well the seabed is known, as a map"
    script:
        "../../scripts/draw_uncertainty.py"


rule draw_orientation:
    input:
        walls=f"work/seasons/{LAST_SEASON}/wall_lines.parquet",
    output:
        pictures=expand("work/publish/pictures/orientation.{kind}", kind=["png", "svg"]),
        data="work/publish/pictures/orientation.csv",
        table="work/publish/tables/orientation.csv",
    log:
        "logs/draw_orientation/all.log",
    params:
        code=fingerprint("draw_orientation"),
        about=statement_json(SITE, LAST_SEASON),
    message:
        "Publish: the directions of the walls"
    script:
        "../../scripts/draw_orientation.py"


rule draw_text_pictures:
    input:
        plan=SITE_PLAN,
        surface=expand("work/seabed/{surface}.tif", surface=SITE_SURFACE),
    output:
        pictures=expand(
            "work/publish/pictures/{name}.{kind}",
            name=TEXT_PICTURES,
            kind=["png", "svg"],
        ),
        data=expand("work/publish/pictures/{name}.csv", name=TEXT_PICTURES),
    log:
        "logs/draw_text_pictures/all.log",
    params:
        code=fingerprint("draw_text_pictures"),
        site=to_json(for_levels(SITE.site)),
        about=statement_json(SITE, LAST_SEASON),
    message:
        "Publish: areas, depths, sections and ways through buildings, for the text"
    script:
        "../../scripts/draw_text_pictures.py"


rule compare_seasons:
    input:
        tracings=f"work/walls/upto-{LAST_SEASON}/tracings.parquet",
        grounds=expand(
            "work/seasons/{season}/ground.parquet", season=list(SITE.seasons)
        ),
        rooms=expand("work/seasons/{season}/rooms.parquet", season=list(SITE.seasons)),
        buildings=expand(
            "work/seasons/{season}/buildings.parquet", season=list(SITE.seasons)
        ),
        events=expand("work/seasons/{season}/events.json", season=list(SITE.seasons)),
        states=expand("work/seasons/{season}/states.json", season=list(SITE.seasons)),
        surfaces=expand("work/seabed/upto-{season}.tif", season=SOUNDED),
    output:
        pictures=expand("work/publish/pictures/seasons.{kind}", kind=["png", "svg"]),
        data="work/publish/pictures/seasons.csv",
    log:
        "logs/compare_seasons/all.log",
    params:
        code=fingerprint("compare_seasons"),
        surveys=[[name, season_surveys(SITE, name)] for name in SITE.seasons],
        sounded=SOUNDED,
        about=statement_json(SITE, LAST_SEASON),
    message:
        "Publish: the seasons side by side"
    script:
        "../../scripts/compare_seasons.py"


rule draw_condition:
    input:
        walls=rules.follow_condition.output.walls,
        table=rules.follow_condition.output.table,
        buildings=f"work/seasons/{LAST_SEASON}/buildings.parquet",
    output:
        pictures=["work/publish/condition.png", "work/publish/condition.svg"],
    log:
        "logs/draw_condition/all.log",
    params:
        code=fingerprint("draw_condition"),
        about=statement_json(SITE, LAST_SEASON),
    message:
        "Publish: the condition of the site"
    script:
        "../../scripts/draw_condition.py"


rule draw_viewer:
    input:
        team=SITE_TEAM,
        interpretations="work/publish/tables/interpretations.csv",
        plan=SITE_PLAN,
        package="work/publish/site.gpkg",
        adjacency="work/publish/tables/adjacency.csv",
        access="work/publish/tables/access.csv",
        deposit="work/trenches/deposit.csv",
        surface=expand("work/seabed/{surface}.tif", surface=SITE_SURFACE),
        record=expand("work/seabed/{surface}.json", surface=SITE_SURFACE),
        shade=["work/seabed/shade_around.tif"] if SITE_SURFACE else [],
        changed=[f"work/seasons/change/{pair}.parquet" for pair in CHANGES],
        condition=rules.follow_condition.output.walls,
        events=expand("work/seasons/{season}/events.json", season=list(SITE.seasons)),
    output:
        page="work/publish/viewer.html",
    log:
        "logs/draw_viewer/all.log",
    params:
        code=fingerprint("draw_viewer"),
        about=statement_json(SITE, LAST_SEASON),
        crs=SITE.site.crs,
    message:
        "Publish: the plan viewer"
    script:
        "../../scripts/draw_viewer.py"


rule draw_buildings:
    input:
        plan=SITE_PLAN,
    output:
        page="work/publish/buildings.html",
    log:
        "logs/draw_buildings/all.log",
    params:
        code=fingerprint("draw_buildings"),
        about=statement_json(SITE, LAST_SEASON),
    message:
        "Publish: a page for each building"
    script:
        "../../scripts/draw_buildings.py"


rule join_interpretations:
    input:
        readings=f"work/seasons/{LAST_SEASON}/readings.parquet",
        things=f"work/seasons/{LAST_SEASON}/things.parquet",
    output:
        table="work/publish/tables/interpretations.csv",
    log:
        "logs/join_interpretations/all.log",
    params:
        code=fingerprint("join_interpretations"),
    message:
        "Publish: the team's interpretations"
    script:
        "../../scripts/join_interpretations.py"


rule list_numbers:
    input:
        plan=SITE_PLAN,
        things=f"work/seasons/{LAST_SEASON}/things.parquet",
        events=expand("work/seasons/{season}/events.json", season=list(SITE.seasons)),
    output:
        table="work/publish/tables/concordance.csv",
    log:
        "logs/list_numbers/all.log",
    params:
        code=fingerprint("list_numbers"),
        printed=printed_stamp(SITE),
    message:
        "Publish: old numbers and new"
    script:
        "../../scripts/list_numbers.py"


rule write_report:
    input:
        team=SITE_TEAM,
        interpretations="work/publish/tables/interpretations.csv",
        plan=SITE_PLAN,
        package="work/publish/site.gpkg",
        summary="work/publish/summary.json",
        adjacency="work/publish/tables/adjacency.csv",
        access="work/publish/tables/access.csv",
        orientation=rules.draw_orientation.output.table,
        rose=rules.draw_orientation.output.pictures[:1],
        checked="work/check/report.json",
        overlaps="work/fit/overlaps.json",
        audit="work/accuracy/audit.json",
        deposit="work/trenches/deposit.csv",
        set_aside="work/publish/tables/set_aside.csv",
        surface=expand("work/seabed/{surface}.tif", surface=SITE_SURFACE),
        record=expand("work/seabed/{surface}.json", surface=SITE_SURFACE),
        picture=rules.draw_pictures.output.seabed,
        uncertainty=rules.draw_uncertainty.output if SITE_SURFACE else [],
    output:
        page="work/publish/report.html",
    log:
        "logs/write_report/all.log",
    params:
        code=fingerprint("write_report"),
        about=statement_json(SITE, LAST_SEASON),
        sources=[[name, part.about] for name, part in SITE.site.error_sources.items()],
    message:
        "Publish: the report"
    script:
        "../../scripts/write_report.py"


rule draw_sheets:
    input:
        plan=SITE_PLAN,
        team=SITE_TEAM,
        spots=f"work/seasons/{LAST_SEASON}/spot_heights.parquet",
        trenches=f"work/trenches/{LAST_SEASON}/trenches.parquet",
        surface=expand("work/seabed/{surface}.tif", surface=SITE_SURFACE),
        contours=["work/seabed/contours.parquet"] if SITE_SURFACE else [],
        waterlines=["work/seabed/waterlines.parquet"] if SITE_SURFACE else [],
        relief=lambda w: relief_below(SITE, w.sheets),
        picture=lambda w: picture_below(SITE, w.sheets),
        font=lambda w: font_of(SITE, w.sheets),
    output:
        pdf="work/publish/sheets/{sheets}.pdf",
        drawings=directory("work/publish/sheets/{sheets}"),
        register="work/sheets/{sheets}.json",
    log:
        "logs/draw_sheets/{sheets}.log",
    params:
        code=fingerprint("draw_sheets"),
        settings=lambda w: to_json(SITE.site.sheets[w.sheets]),
        site=to_json(for_sheets(SITE.site)),
        language=lambda w: language_json(SITE, SITE.site.sheets[w.sheets].language),
        contour_step_m=SITE.site.seabed.contour_step_m,
        marks=standing_marks(SITE),
        surveys=sheet_surveys(SITE),
        survey=lambda w: picture_survey(SITE, w.sheets),
        season=LAST_SEASON,
    message:
        "Publish: the plan sheets {wildcards.sheets}"
    script:
        "../../scripts/draw_sheets.py"


rule list_sheets:
    input:
        registers=expand("work/sheets/{sheets}.json", sheets=list(SITE.site.sheets)),
    output:
        table="work/publish/tables/sheets.csv",
    log:
        "logs/list_sheets/all.log",
    params:
        code=fingerprint("list_sheets"),
    message:
        "Publish: the register of sheets"
    script:
        "../../scripts/list_sheets.py"


rule write_styles:
    output:
        layers=expand("work/publish/styles/{layer}.sld", layer=LAYERS),
        phases=(
            ["work/publish/styles/wall_lines_by_phase.sld"] if SITE.site.phases else []
        ),
    log:
        "logs/write_styles/all.log",
    params:
        code=fingerprint("write_styles"),
        phases=list(SITE.site.phases),
    message:
        "Publish: how the layers are drawn"
    script:
        "../../scripts/write_styles.py"


rule draw_dxf:
    input:
        package="work/publish/site.gpkg",
        team=SITE_TEAM,
    output:
        drawing="work/publish/plan.dxf",
    log:
        "logs/draw_dxf/all.log",
    params:
        code=fingerprint("draw_dxf"),
        about=statement_json(SITE, LAST_SEASON),
    message:
        "Publish: the plan as DXF"
    script:
        "../../scripts/draw_dxf.py"


rule list_products:
    input:
        rules.draw_dxf.output,
        rules.write_styles.output,
        rules.join_interpretations.output,
        [
            f"work/publish/sheets/{sheets}{kind}"
            for sheets in SITE.site.sheets
            for kind in ("", ".pdf")
        ],
        rules.list_sheets.output,
        rules.write_report.output,
        rules.publish_site.output,
        rules.publish_audits.output,
        rules.list_set_aside.output,
        rules.list_numbers.output,
        rules.summarise_site.output,
        rules.draw_pictures.output,
        rules.draw_orientation.output,
        rules.draw_text_pictures.output,
        rules.compare_seasons.output,
        rules.draw_buildings.output,
        rules.draw_viewer.output,
        rules.follow_condition.output.table,
        rules.draw_condition.output,
        rules.publish_rasters.output if SITE_SURFACE else [],
        rules.draw_uncertainty.output if SITE_SURFACE else [],
        expand(rules.publish_season.output, season=list(SITE.seasons)),
        expand(rules.report_season.output, season=list(SITE.seasons)),
        rules.tabulate_change.output,
        [
            f"work/publish/seasons/{later}/seabed_change_since_{earlier}.{kind}"
            for earlier, later in change_pairs(SITE)
            for kind in ("tif", "png")
        ],
    output:
        manifest="work/publish/manifest.json",
    log:
        "logs/list_products/all.log",
    params:
        code=fingerprint("list_products"),
        about=statement_json(SITE, LAST_SEASON),
    message:
        "Publish: listing all products with their checksums"
    script:
        "../../scripts/list_products.py"
