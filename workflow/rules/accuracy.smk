from wrackline.model import for_checking, without_note
from wrackline.sources import files_there, raw_stamp


rule cross_check:
    input:
        tables=[SITE.intake_table(survey) for survey in SITE.surveys],
        verdicts=expand("work/intake/{survey}/verdict.json", survey=list(SITE.surveys)),
        water=files_there(
            SITE, *(survey.vertical.water_level for survey in SITE.surveys.values())
        ),
        stable=files_there(SITE, SITE.site.seabed.stable_ground),
    output:
        checked="work/accuracy/cross_check.json",
    log:
        "logs/cross_check/all.log",
    params:
        code=fingerprint("cross_check"),
        raw=raw_stamp(SITE, SITE.site.seabed.stable_ground),
        names=list(SITE.surveys),
        surveys=[to_json(without_note(survey)) for survey in SITE.surveys.values()],
        site=to_json(for_checking(SITE.site)),
    message:
        "Accuracy: holding the surveys against each other"
    script:
        "../../scripts/cross_check.py"


rule report_check:
    input:
        tables=[SITE.intake_table(survey) for survey in SITE.surveys],
        verdicts=expand("work/intake/{survey}/verdict.json", survey=list(SITE.surveys)),
        cross_check="work/accuracy/cross_check.json",
    output:
        report="work/check/report.json",
        page="work/check/report.html",
    log:
        "logs/report_check/all.log",
    params:
        code=fingerprint("report_check"),
        names=list(SITE.surveys),
        surveys=[to_json(without_note(survey)) for survey in SITE.surveys.values()],
        site=to_json(for_checking(SITE.site)),
        control=list_to_json(SITE.control),
    message:
        "Accuracy: writing down what was found in all files"
    script:
        "../../scripts/report_check.py"


rule audit_accuracy:
    input:
        surfaces=expand("work/seabed/survey/{survey}.tif", survey=SITE.point_surveys),
        errors=expand("work/fit/{survey}/errors.json", survey=SITE.point_surveys),
        overlaps="work/fit/overlaps.json",
        composite=expand("work/seabed/{surface}.tif", surface=SITE_SURFACE),
        record=expand("work/seabed/{surface}.json", surface=SITE_SURFACE),
    output:
        audit="work/accuracy/audit.json",
    log:
        "logs/audit_accuracy/all.log",
    params:
        code=fingerprint("audit_accuracy"),
        surveys=SITE.point_surveys,
        resolutions={
            name: SITE.surveys[name].resolution_m for name in SITE.point_surveys
        },
        level=to_json(SITE.site.depth_level),
    message:
        "Accuracy: auditing the surveys of bed points"
    script:
        "../../scripts/audit_accuracy.py"
