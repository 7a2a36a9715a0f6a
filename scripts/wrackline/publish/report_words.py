"""What the report says in words: methods, how errors are told apart, limits; and its look."""

from __future__ import annotations

from wrackline.publish.report_plan import STYLE as PLAN_STYLE

METHODS = (
    (
        "Walls",
        "Every survey's wall lines are brought into the site's grid and datum. Where several "
        "traced one wall, it lies at their mean, weighted by variance; what disagrees beyond its "
        "errors has no share and is named. An old plan gives way to whatever was recorded since. "
        "Ends that miss each other are joined, gaps of a doorway's width closed as possible "
        "doorways; each such closing says inferred.",
    ),
    (
        "Lasting numbers",
        "The seasons are replayed in order: what is seen again keeps its number, what is new gets "
        "one from its place, and a number once given is never given to anything else. Numbers in "
        "print never change. What split, merged or went is in tables/changes.csv, old numbers and "
        "new in tables/concordance.csv.",
    ),
    (
        "Not seen is not gone",
        "For every stretch of wall each season's surveys say seen, buried, overgrown, lost, not "
        "looked for or could not be seen, with the evidence: heights of the wall and the bed "
        "beside it, ground looked at, visibility, plants. It is a suggestion, and takes nothing "
        "off the plan.",
    ),
    (
        "Rooms and buildings",
        "Rooms are the spaces that wall lines and closings enclose. What lies between the two "
        "faces of a wall is its body, told from open ground over the whole plan, by its width "
        "where one face alone was traced; its thickness is had from area and outline. Rooms that "
        "share walls are one building. Room, court and lane are suggestions from size and shape.",
    ),
    (
        "Areas and axes",
        "A floor's area lies between the wall faces; where only centres were traced, half the "
        "stated thickness is taken off, and where a pole was held against the face, half its "
        "stated width is given back to the floor and taken off the wall. Lengths and areas are on "
        "the ground, the grid's scale taken out; axes count clockwise from true north.",
    ),
    (
        "Four heights",
        "Wall top as preserved, wall base, seabed and floor are never one for another. A floor has "
        "a depth only where one was met: excavated, at a threshold, paving, or by a probe.",
    ),
    (
        "Ways through buildings",
        "An opening that was seen is a door. A possible one is a door or a gap made by robbing: "
        "both are tried, in every combination of up to eight, else in 256 drawn at random with a "
        "fixed seed. Steps from outside, dead ends and the like are ranges over these plausible "
        "outlines, and are left out where fewer than a quarter of the doors were seen. Doors "
        "that left no gap, other floors and blocked doors are not known to them. All is in "
        "tables/access.csv, with the measures of Hillier and Hanson 1984.",
    ),
    (
        "Seabed",
        "Soundings, swaths, poles and photo models are gridded each by itself: what nothing around "
        "bears out is set aside and listed, means are brought to the centres of cells, gaps filled "
        "by kriging within the stated distance. Then they join by their total variance, measured "
        "before filled, and fade at their edges; where a newer season measured, older ones count "
        "only if the config says how the bed changes. The sources stand in source.tif.",
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
    ("seen", "an opening in which a threshold or jamb was recorded"),
    ("filled", "a cell of the seabed between soundings, within a stated distance of them"),
)
LIMITS = (
    "Walls of different times are one network, unless the team tells their phases; those that "
    "heights show one upon another are named above.",
    "Plants that hide the bed are not told from it.",
    "What was not looked at is not said to be empty.",
    "Kinds of spaces, possible openings and closings are suggestions, to be checked on site.",
    "All uncertainties are as good as what the surveys state of their own errors.",
)
STYLE = (
    PLAN_STYLE
    + """
* { box-sizing: border-box; }
html { scroll-padding-top: 0.5rem; }
body { margin: 0 auto; padding: 0.8rem 1rem 3rem; max-width: 74rem; background: #fff;
  color: #1b1b1b; font: 1rem/1.45 Arial, "Liberation Sans", "Noto Sans", sans-serif; }
p, li, dd { overflow-wrap: break-word; } p { max-width: 46rem; }
h1 { font-size: 1.6rem; line-height: 1.2; } h2 { font-size: 1.3rem; margin: 2.6rem 0 0.6rem;
  border-top: 3px solid #1b1b1b; padding-top: 0.5rem; }
h3 { font-size: 1.1rem; margin: 1.6rem 0 0.4rem; } h4 { font-size: 1rem; margin: 0 0 0.2rem; }
a { color: #12507a; } a:focus-visible, summary:focus-visible, button:focus-visible {
  outline: 3px solid #2a6f97; outline-offset: 2px; }
small { font-weight: normal; } nav ol { columns: 3 14rem; padding-left: 1.6rem; }
figure { margin: 0; } figcaption { font-size: 0.85rem; margin: 0.2rem 0 0.8rem; }
.small { max-width: 30rem; } img { display: block; width: 100%; height: auto;
  border: 1px solid #8a8a8a; }
.skip { position: absolute; left: -99rem; background: #fff; padding: 0.3rem; }
.skip:focus { position: static; }
.caution { border: 2px solid #1b1b1b; padding: 0.5rem 0.7rem; max-width: none; }
.wide, .map { overflow-x: auto; margin: 0.5rem 0; }
table { border-collapse: collapse; font-size: 0.84rem; font-variant-numeric: tabular-nums; }
caption { text-align: left; padding: 0.4rem 0 0.2rem; font-weight: bold; }
th, td { border-bottom: 1px solid #b5b5b5; padding: 0.18rem 0.6rem 0.18rem 0.2rem;
  text-align: left; vertical-align: top; }
thead th { border-bottom: 2px solid #1b1b1b; vertical-align: bottom; }
thead button { font: inherit; border: 0; background: none; padding: 0; cursor: pointer;
  text-align: left; text-decoration: underline dotted; }
th[aria-sort="ascending"] button::after { content: " ▲"; font-size: 0.7em; }
th[aria-sort="descending"] button::after { content: " ▼"; font-size: 0.7em; }
td { min-width: 3.2rem; } td.num { text-align: right; } .num, .q, td a { white-space: nowrap; }
.cards { display: grid; grid-template-columns: repeat(auto-fill, minmax(min(100%, 30rem), 1fr));
  gap: 0.9rem 1.4rem; align-items: start; margin-top: 0.9rem; }
article { border-top: 3px solid #b9a36b; padding: 0.35rem 0 0; min-width: 0; }
dl { display: grid; grid-template-columns: 7.6rem minmax(0, 1fr); gap: 0.1rem 0.7rem;
  margin: 0.2rem 0 0.6rem; font-size: 0.9rem; line-height: 1.35; }
dt { color: #4a4a4a; } dd { margin: 0; } dd ul { margin: 0; padding-left: 1rem; }
.two { display: grid; grid-template-columns: minmax(0, 1fr) minmax(0, 1fr); gap: 1.4rem; }
.two dl { align-content: start; } .columns { columns: 2 22rem; }
.key { list-style: none; padding: 0; margin: 0.4rem 0; display: grid; gap: 0.15rem 1.2rem;
  grid-template-columns: repeat(auto-fill, minmax(min(100%, 20rem), 1fr)); font-size: 0.88rem; }
.key li { display: flex; align-items: center; gap: 0.6rem; }
.key svg.plan { flex: none; width: 2.2rem; border: 0; }
.index { max-width: none; word-spacing: 0.5rem; font-size: 0.9rem; }
details { margin: 0.6rem 0; } summary { cursor: pointer; }
:target { outline: 3px solid #2a6f97; outline-offset: 3px; }
@media (max-width: 640px) { .two { grid-template-columns: 1fr; }
  .map svg.plan, .map img { width: 46rem; } .wide table { min-width: 32rem; }
  dl { grid-template-columns: 6.2rem minmax(0, 1fr); } }
@page { size: A4; margin: 14mm 13mm; }
@media print { thead { break-inside: avoid; }
  body { font-size: 8.5pt; line-height: 1.3; max-width: none; padding: 0; }
  a { color: inherit; text-decoration: none; } thead button { text-decoration: none; }
  article, figure, tr, .two, dl > div { break-inside: avoid; } h2, h3, h4 { break-after: avoid; }
  h4 { font-size: 8.5pt; } dl { font-size: 7.4pt; line-height: 1.2; gap: 0 2mm;
    grid-template-columns: 17mm minmax(0, 1fr); margin-bottom: 2mm; }
  table { font-size: 7.6pt; } .wide, .map { overflow: visible; }
  .two { grid-template-columns: 2fr 3fr; gap: 4mm; }
  .map svg.plan, .map img { width: 100%; } .map svg.plan { max-height: 215mm; }
  .cards { display: block; columns: 2; column-gap: 5mm; margin-top: 2mm; }
  h2 { margin-top: 7mm; } h3 { margin-top: 4mm; } p { max-width: none; }
  .small { max-width: 85mm; } figcaption { font-size: 7pt; }
  nav, .index, .skip, details { display: none; } :target { outline: none; }
  * { print-color-adjust: exact; -webkit-print-color-adjust: exact; } }
"""
)
SORTING = """
for (const head of document.querySelectorAll("thead th")) {
  const button = document.createElement("button");
  button.type = "button"; button.title = "sort by this column";
  button.append(...head.childNodes); head.append(button);
  button.addEventListener("click", () => {
    const body = head.closest("table").tBodies[0], at = head.cellIndex;
    const up = head.getAttribute("aria-sort") !== "ascending";
    const key = row => { const text = row.cells[at].textContent;
      const number = /^[-+±]?\\d+(\\.\\d+)?(?![-\\d.])/.exec(text);
      return number ? parseFloat(number[0].replace("±", "")) : text; };
    const rows = [...body.rows].map(row => [key(row), row]);
    rows.sort(([x], [y]) => { if (x === "–" || y === "–") return (x === "–") - (y === "–");
      const way = typeof x === typeof y ? (x > y) - (x < y) : typeof x === "number" ? -1 : 1;
      return up ? way : -way; });
    for (const other of head.parentNode.cells) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", up ? "ascending" : "descending");
    body.append(...rows.map(([, row]) => row));
  });
}
"""
