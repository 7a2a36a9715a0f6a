"""Write the products and the manifest that names them."""

import hashlib
import json
from pathlib import Path

from mini_parts import write_slowly

from wrackline.step import step


def main(snakemake):
    totals = [Path(file).read_text().split()[0] for file in snakemake.input]
    write_slowly(snakemake.output.plan, f"{snakemake.params.title}: {' '.join(totals)}\n")
    for file, total in zip(snakemake.output.surveys, totals, strict=True):
        Path(file).write_text(total + "\n")
    manifest = Path(snakemake.output.manifest)
    files = {}
    for name in [snakemake.output.plan, *snakemake.output.surveys]:
        content = Path(name).read_bytes()
        digest = hashlib.sha256(content).hexdigest()
        key = Path(name).relative_to(manifest.parent).as_posix()
        files[key] = {"sha256": digest, "bytes": len(content)}
    manifest.write_text(json.dumps({"files": files}))


step(main, snakemake)
