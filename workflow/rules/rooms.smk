from wrackline.sources import team_words, view_surface


rule find_rooms:
    input:
        lines="work/walls/{view}/lines.parquet",
        pieces="work/walls/{view}/pieces.parquet",
        edges="work/walls/{view}/edges.parquet",
        sources="work/walls/{view}/sources.parquet",
        shares="work/walls/{view}/shares.parquet",
        outlines="work/walls/{view}/outlines.parquet",
        team="work/walls/{view}/team.json",
        wall_errors=lambda w: expand(
            "work/fit/{survey}/errors.json",
            survey=view_surveys(SITE, w.view, "wall_lines"),
        ),
        features=lambda w: [
            f"work/walls/{w.view}/others.parquet",
            *expand(
                "work/fit/{survey}/items.parquet",
                survey=view_surveys(SITE, w.view, "features"),
            ),
        ],
        floors=lambda w: expand(
            "work/fit/{survey}/items.parquet",
            survey=view_surveys(SITE, w.view, *FLOOR_HOLDS),
        ),
        item_errors=lambda w: expand(
            "work/fit/{survey}/errors.json",
            survey=view_surveys(SITE, w.view, "wall_lines", "features", *FLOOR_HOLDS),
        ),
        surface=lambda w: expand(
            "work/seabed/{surface}.tif", surface=view_surface(SITE, w.view)
        ),
        record=lambda w: expand(
            "work/seabed/{surface}.json", surface=view_surface(SITE, w.view)
        ),
    output:
        plan=expand("work/rooms/{{view}}/{layer}.parquet", layer=PLAN_LAYERS),
        team="work/rooms/{view}/team.json",
    log:
        "logs/find_rooms/{view}.log",
    params:
        code=fingerprint("find_rooms"),
        site=to_json(for_measuring(SITE.site)),
        team=lambda w: team_words(SITE, w.view),
    message:
        "Rooms: finding and measuring the rooms of {wildcards.view}"
    script:
        "../../scripts/find_rooms.py"
