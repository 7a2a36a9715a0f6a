# Demo: survey files of an invented settlement, made from its truth. A real site has none of this.

if SITE.site.demo:

    rule make_demo:
        input:
            truth=SITE.site.demo,
        output:
            sorted(
                {
                    path
                    for survey in SITE.surveys.values()
                    for path in (
                        survey.file,
                        survey.vertical.water_level,
                        *survey.ground_files,
                    )
                    if path and path.startswith("data/demo/")
                }
            ),
            "data/demo/truth.json",
            "data/demo/truth.gpkg",
        log:
            "logs/make_demo/all.log",
        params:
            code=fingerprint("make_demo"),
        message:
            "Demo: making the survey files of an invented settlement"
        script:
            "../../scripts/make_demo.py"
