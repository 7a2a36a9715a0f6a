rule scale_walls:
    input:
        "work/intake/{survey}.json",
    output:
        "work/walls/{survey}.txt",
    log:
        "logs/scale_walls/{survey}.log",
    params:
        code=code("scale_walls"),
        scale=SITE["scale"],
    script:
        "../../scripts/scale_walls.py"
