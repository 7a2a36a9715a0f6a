"""Publish the audits: surveys against standards and against each other, deposit, intake.

Writes CSV tables `accuracy`, `overlaps`, `suspicions`, `changes` and `decisions` (what became of
the team's), and copies `deposit`.
"""

import shutil

from wrackline.io import read_json
from wrackline.publish import audits
from wrackline.publish.tables import write_csv
from wrackline.step import step


def main(job):
    audit, report = read_json(job.input.audit), read_json(job.input.report)
    write_csv(audits.accuracy_table(audit), job.output.accuracy, pairs=audits.ACCURACY_PAIRS)
    overlaps = audits.overlap_table(read_json(job.input.overlaps))
    write_csv(overlaps, job.output.overlaps, pairs=audits.OVERLAP_PAIRS)
    write_csv(audits.suspicion_table(report), job.output.suspicions)
    write_csv(audits.decision_table(read_json(job.input.team)), job.output.decisions)
    seasons = {
        season: read_json(events) + read_json(states)["events"]
        for season, events, states in zip(
            job.params.seasons, job.input.events, job.input.states, strict=True
        )
    }
    write_csv(audits.change_table(seasons), job.output.changes)
    shutil.copyfile(job.input.deposit, job.output.deposit)


step(main, snakemake)
