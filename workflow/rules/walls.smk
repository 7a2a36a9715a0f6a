from wrackline.sources import line_traits, team_words, view_surveys


rule join_walls:
    input:
        tables=lambda w: expand(
            "work/fit/{survey}/items.parquet",
            survey=view_surveys(SITE, w.view, "wall_lines"),
        ),
        errors=lambda w: expand(
            "work/fit/{survey}/errors.json",
            survey=view_surveys(SITE, w.view, "wall_lines"),
        ),
    output:
        lines="work/walls/{view}/lines.parquet",
        pieces="work/walls/{view}/pieces.parquet",
        edges="work/walls/{view}/edges.parquet",
        sources="work/walls/{view}/sources.parquet",
        shares="work/walls/{view}/shares.parquet",
        tracings="work/walls/{view}/tracings.parquet",
        outlines="work/walls/{view}/outlines.parquet",
        others="work/walls/{view}/others.parquet",
        team="work/walls/{view}/team.json",
    log:
        "logs/join_walls/{view}.log",
    params:
        code=fingerprint("join_walls"),
        traits=lambda w: line_traits(SITE, w.view),
        walls=to_json(SITE.site.walls),
        team=lambda w: team_words(SITE, w.view),
        crs=SITE.site.crs,
    message:
        "Walls: joining the wall lines of {wildcards.view}"
    script:
        "../../scripts/join_walls.py"
