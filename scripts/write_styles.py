"""Write how each layer is drawn, as OGC styles.

Writes `styles/<layer>.sld` for every layer of `wrackline.contract.LAYERS`, and, where the site has
phases, `styles/wall_lines_by_phase.sld`.
"""

from wrackline import contract
from wrackline.publish.style_rules import STYLES, by_phase
from wrackline.publish.styles import write_style
from wrackline.step import step


def main(job):
    for layer, path in zip(contract.LAYERS, job.output.layers, strict=True):
        write_style(layer, STYLES[layer], path)
    for path in job.output.phases:
        write_style("wall_lines", by_phase(job.params.phases), path)


step(main, snakemake)
