rule read_survey:
    output:
        "work/intake/{survey}.json",
    log:
        "logs/read_survey/{survey}.log",
    params:
        code=code("read_survey"),
        raw=lambda wildcards: stamp(Path(f"data/{wildcards.survey}.txt")),
    script:
        "../../scripts/read_survey.py"


rule verdict:
    input:
        expand("work/intake/{survey}.json", survey=SITE["surveys"]),
    output:
        "work/check/report.json",
    log:
        "logs/verdict.log",
    params:
        code=code("verdict"),
    script:
        "../../scripts/verdict.py"
