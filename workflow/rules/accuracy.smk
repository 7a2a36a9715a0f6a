rule audit_accuracy:
    input:
        surfaces=expand("work/seabed/survey/{survey}.tif", survey=SITE.point_surveys),
        errors=expand("work/fit/{survey}/errors.json", survey=SITE.point_surveys),
        overlaps="work/fit/overlaps.json",
    output:
        audit="work/accuracy/audit.json",
    log:
        "logs/audit_accuracy/all.log",
    params:
        code=fingerprint("audit_accuracy"),
        surveys=SITE.point_surveys,
        level=to_json(SITE.site.depth_level),
    message:
        "Accuracy: auditing the surveys of bed points"
    script:
        "../../scripts/audit_accuracy.py"
