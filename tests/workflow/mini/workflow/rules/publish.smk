rule publish:
    input:
        expand("work/walls/{survey}.txt", survey=SITE["surveys"]),
    output:
        plan="work/publish/plan.txt",
        surveys=expand("work/publish/surveys/{survey}.txt", survey=SITE["surveys"]),
        manifest="work/publish/manifest.json",
    log:
        "logs/publish.log",
    params:
        code=code("publish"),
        title=SITE["title"],
    script:
        "../../scripts/publish.py"
