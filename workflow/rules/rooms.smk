from wrackline.sources import view_surface


rule find_rooms:
    input:
        lines="work/walls/{view}/lines.parquet",
        pieces="work/walls/{view}/pieces.parquet",
        edges="work/walls/{view}/edges.parquet",
        wall_errors=lambda w: expand(
            "work/fit/{survey}/errors.json",
            survey=view_surveys(SITE, w.view, "wall_lines"),
        ),
        features=lambda w: expand(
            "work/fit/{survey}/items.parquet",
            survey=view_surveys(SITE, w.view, "features"),
        ),
        floors=lambda w: expand(
            "work/fit/{survey}/items.parquet",
            survey=view_surveys(SITE, w.view, *FLOOR_HOLDS),
        ),
        item_errors=lambda w: expand(
            "work/fit/{survey}/errors.json",
            survey=view_surveys(SITE, w.view, "features", *FLOOR_HOLDS),
        ),
        surface=lambda w: expand(
            "work/seabed/{surface}.tif", surface=view_surface(SITE, w.view)
        ),
        record=lambda w: expand(
            "work/seabed/{surface}.json", surface=view_surface(SITE, w.view)
        ),
    output:
        expand("work/rooms/{{view}}/{layer}.parquet", layer=PLAN_LAYERS),
    log:
        "logs/find_rooms/{view}.log",
    params:
        code=fingerprint("find_rooms"),
        site=to_json(for_measuring(SITE.site)),
    message:
        "Rooms: finding and measuring the rooms of {wildcards.view}"
    script:
        "../../scripts/find_rooms.py"
