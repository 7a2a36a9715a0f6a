"""What the report says in words: methods, how errors are told apart, limits; and its look."""

from __future__ import annotations

from wrackline.publish.report_plan import STYLE as PLAN_STYLE

METHODS = (
    (
        "Walls",
        "Every survey's wall lines are brought into the site's grid and datum. Where two surveys "
        "traced one wall, the better known tracing stays and the other becomes its source; an old "
        "plan gives way to whatever was recorded since. Ends that miss each other are joined, "
        "gaps of a doorway's width closed as possible doorways; each such closing says inferred.",
    ),
    (
        "Rooms and buildings",
        "Rooms are the spaces that wall lines and closings enclose. A narrow strip between two "
        "faces is a wall's body, its thickness had from area and outline. Rooms that share walls "
        "are one building. Room, court and lane are suggestions from size and shape.",
    ),
    (
        "Areas and axes",
        "A floor's area lies between the wall faces; where only centres were traced, half the "
        "stated thickness is taken off. Lengths and areas are on the ground, the grid's scale "
        "taken out; axes count clockwise from true north.",
    ),
    (
        "Four heights",
        "Wall top as preserved, wall base, seabed and floor are never one for another. A floor has "
        "a depth only where one was met: excavated, at a threshold, paving, or by a probe.",
    ),
    (
        "Seabed",
        "Soundings, swaths, poles and photo models are gridded each by itself, then merged cell by "
        "cell: measured before filled, the newer season first. The sources stand in source.tif.",
    ),
)
ERRORS = (
    "Random errors differ from point to point, so many points average them away. Patchy errors are "
    "alike over a stated distance and average away slowly. Named sources, such as a benchmark or a "
    "gauge's zero, move everything that rests on them together: no number of points helps, and "
    "between two figures that rest on the same source they cancel."
)
READING = (
    "Figures read value ± one standard uncertainty (sd), rounded to what the sd supports; 1.96 sd "
    "each way hold the truth in 95 of 100 cases, as far as the errors stated by the surveys are "
    "right. A dash means that it can't be had, and the reason is given."
)
WORDS = (
    ("recorded", "a survey measured it"),
    ("inferred", "drawn by the program to close a gap; nobody saw it"),
    ("old plan", "known from an older drawing alone"),
    ("possible", "an opening of a doorway's width; robbing leaves the same gap"),
    ("seen", "an opening in which a threshold was recorded"),
    ("filled", "a cell of the seabed between soundings, within a stated distance of them"),
)
LIMITS = (
    "Support, the share of plausible outlines in which a room stands, is not computed yet. Phases "
    "are not taken apart: walls of different times are one network here. Plants that hide the bed "
    "are not told from it. What was not looked at is not said to be empty."
)
STYLE = (
    PLAN_STYLE
    + """
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 0.8rem; max-width: 70rem; background: #fff; color: #1b1b1b;
  font: 1rem/1.45 sans-serif; overflow-wrap: anywhere; }
h1 { font-size: 1.6rem; } h2 { font-size: 1.25rem; margin: 2.2rem 0 0.6rem;
  border-top: 3px solid #1b1b1b; padding-top: 0.5rem; }
h3 { font-size: 1.05rem; margin: 1.4rem 0 0.4rem; } h4 { margin: 0 0 0.2rem; }
small { font-weight: normal; } nav ol { columns: 2; } figure { margin: 0; }
img { max-width: 100%; height: auto; border: 1px solid #8a8a8a; }
.caution { border: 2px solid #1b1b1b; padding: 0.5rem 0.7rem; }
.wide { overflow-x: auto; margin: 0.5rem 0; }
table { border-collapse: collapse; font-size: 0.85rem; overflow-wrap: normal; }
caption { text-align: left; padding: 0.2rem 0; font-weight: bold; }
th, td { border: 1px solid #9a9a9a; padding: 0.15rem 0.4rem; text-align: left;
  vertical-align: top; }
thead th { background: #ececec; } thead button { font: inherit; border: 0; background: none;
  padding: 0; cursor: pointer; text-align: left; }
td { min-width: 3.2rem; }
.num { text-align: right; white-space: nowrap; }
article { border-left: 4px solid #b9a36b; padding: 0.3rem 0 0.3rem 0.7rem; margin: 0.8rem 0; }
dl { display: grid; grid-template-columns: minmax(6.5rem, max-content) 1fr; gap: 0.05rem 0.7rem;
  margin: 0.2rem 0; font-size: 0.92rem; } dt { font-weight: bold; } dd { margin: 0; }
.two dl { align-content: start; }
.two { display: grid; grid-template-columns: minmax(0, 1fr) minmax(0, 1fr); gap: 1rem; }
:target { outline: 3px solid #2a6f97; }
@media (max-width: 640px) { .two { grid-template-columns: 1fr; } nav ol { columns: 1; } }
@media print { body { font-size: 9pt; max-width: none; } a { color: inherit; }
  article, figure, tr { break-inside: avoid; } h2, h3, h4 { break-after: avoid; }
  .wide { overflow: visible; } nav { display: none; } * { print-color-adjust: exact; } }
"""
)
SORTING = """
for (const head of document.querySelectorAll("thead th")) {
  const button = document.createElement("button");
  button.type = "button"; button.title = "sort by this column";
  button.append(...head.childNodes); head.append(button);
  button.addEventListener("click", () => {
    const rows = [...head.closest("table").tBodies[0].rows], at = head.cellIndex;
    const down = head.dataset.down = head.dataset.down === "no" ? "yes" : "no";
    const key = row => { const text = row.cells[at].textContent, n = parseFloat(text);
      return Number.isNaN(n) ? text : n; };
    rows.sort((a, b) => { const x = key(a), y = key(b);
      const way = typeof x === typeof y ? (x > y) - (x < y) : typeof x === "number" ? -1 : 1;
      return down === "no" ? way : -way; });
    head.closest("table").tBodies[0].append(...rows);
  });
}
"""
