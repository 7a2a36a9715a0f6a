// The plan viewer: what is drawn, what is chosen, and what is picked.

const data = JSON.parse(document.getElementById("data").textContent);
const { words } = data;
const NEAR_CM = 45, OWN_SCALE = 0.9;
const OFF_AT_FIRST = new Set(["grid", "earlier", "changes", "spots"]);

/** Return everything that can be drawn, and which layers are on. */
function modelOf() {
  const { bounds } = data, kinds = data.kinds.map(kind => new Kind(kind, bounds));
  const lines = Object.entries(data.lines).map(([name, one]) =>
    new Drawn(one.shapes, bounds, () => name, id => (one.bold[id] ? "index" : "")));
  const bodies = new Drawn(data.bodies.shapes, bounds, () => "bodies");
  bodies.first = data.bodies.first;
  bodies.surveys = data.bodies.surveys;
  const passages = new Drawn(data.passages, bounds, () => "passages");
  const order = Object.keys(data.layers);
  return {
    bounds, kinds, bodies, order,
    drawn: [...kinds, ...lines, bodies, passages],
    on: new Set(order.filter(name => !OFF_AT_FIRST.has(name))),
    zero: data.place ? [100 * data.place.easting, 100 * data.place.northing] : [0, 0],
    relief: null,
    loading: data.relief !== null,
  };
}

/** The viewer: its model, its plan, what is chosen, picked and measured. */
class App {
  constructor() {
    this.model = modelOf();
    this.choice = {
      after: data.seasons.length - 1,
      seasons: new Set(data.seasons),
      techniques: new Set(data.surveys.map(one => one.technique)),
    };
    this.turn = data.place ? data.place.turn_deg : 0;
    this.groundScale = data.place ? data.place.scale : 1;
    this.picked = null;
    this.beside = [];
    this.plan = new Plan(by("map"), this.model);
    this.plan.over = [(ink, sight) => this.drawOver(ink, sight)];
    this.plan.drawnFirst = () => performance.mark("plan drawn");
    this.measuring = new Measuring(by("measure"), this);
    showLayers(by("part-layers"), this);
    showAbout(by("part-about"));
    this.showPicked();
    this.table = new ThingTable(by("list"), this);
    this.tools();
    this.plan.whole();
    this.loadRelief();
  }

  loadRelief() {
    if (!data.relief) return;
    const image = new Image();
    image.addEventListener("load", () => {
      this.model.relief = { image, extent: data.relief.extent };
      this.model.loading = false;
      this.plan.drop();
    });
    image.src = data.relief.picture;
  }

  tools() {
    const act = (name, run, more = {}) => button(words[name], run, { id: `do-${name}`, ...more });
    by("tools").append(
      act("closer", () => this.plan.zoom(CLOSER), { "aria-label": words.closer_label }),
      act("wider", () => this.plan.zoom(1 / CLOSER), { "aria-label": words.wider_label }),
      act("whole", () => this.plan.whole()),
      act("measure", () => this.measure(!this.measuring.isOn), { "aria-pressed": "false" }),
      act("table", () => this.openTable(by("list").hidden), { "aria-expanded": "false" }),
      act("print", () => window.print()));
  }

  /** Return the layers on which something lies, the highest first, and the tones of each. */
  layersThere() {
    const there = new Map([["grid", new Set()], ["numbers", new Set()]]);
    if (data.relief) there.set("relief", new Set());
    for (const drawn of this.model.drawn) {
      for (let id = 0; id < drawn.shapes.count; id += 1) {
        const layer = drawn.layerOf(id);
        if (!there.has(layer)) there.set(layer, new Set());
        there.get(layer).add(drawn.toneOf(id));
      }
    }
    const layers = this.model.order.filter(layer => there.has(layer)).reverse();
    return layers.map(layer => {
      const tones = Object.keys(SIGNS[layer] || {}).filter(tone => there.get(layer).has(tone));
      return [layer, tones];
    });
  }

  turnLayer(layer, on) {
    if (on) this.model.on.add(layer); else this.model.on.delete(layer);
    this.plan.drop();
    this.showPicked();
  }

  /** Apply the choice of seasons and techniques to all things. */
  choose() {
    const { after, seasons, techniques } = this.choice;
    const ticked = data.surveys.map(({ season, technique }) =>
      seasons.has(season) && techniques.has(technique));
    for (const drawn of [...this.model.kinds, this.model.bodies]) {
      for (let id = 0; id < drawn.shapes.count; id += 1) {
        const mine = drawn.surveys[id], measured = mine.some(place => ticked[place]);
        drawn.shown[id] = drawn.first[id] <= after && (measured || !mine.length);
      }
    }
    this.plan.drop();
    this.table.renew();
    this.showPicked();
  }

  isDrawn(kind, id) { return Boolean(kind.shown[id]) && this.model.on.has(kind.layerOf(id)); }

  isPicked(kind, id) {
    return this.picked !== null && this.picked[0] === kind && this.picked[1] === id;
  }

  /** Return the thing that bears a number, if there is one. */
  numbered(number) {
    if (!this.numbers) {
      this.numbers = new Map();
      for (const kind of this.model.kinds.filter(one => one.name !== "spots")) {
        kind.numbers.forEach((name, id) => this.numbers.set(name, [kind, id]));
      }
    }
    return this.numbers.get(number);
  }

  say(text) { by("said").textContent = text; }

  /** Return the things at a place: lines and points within reach, the nearest first; then areas,
   * the smallest first. */
  hits(x, y, reachPx) {
    const reach = Math.min(reachPx / this.plan.view.scale, NEAR_CM);
    const box = [x - reach, y - reach, x + reach, y + reach], near = [], around = [];
    for (const kind of this.model.kinds) {
      for (const id of kind.net.within(box)) {
        if (!this.isDrawn(kind, id)) continue;
        const area = kind.shapes.kinds[id] === AREA;
        if (area && kind.shapes.holds(id, x, y)) around.push([kind, id, kind.shapes.size(id)]);
        const off = area ? Infinity : kind.shapes.distance(id, x, y);
        if (off <= reach) near.push([kind, id, off]);
      }
    }
    for (const found of [near, around]) found.sort((a, b) => a[2] - b[2]);
    return [...near, ...around].map(([kind, id]) => [kind, id]);
  }

  /** Take a place of the screen: as a corner while measuring, else to pick what lies there. */
  takePlace(px, py, reachPx) {
    this.tellPlace(px, py);
    const [x, y] = this.plan.sight.ground(px, py);
    if (this.measuring.isOn) { this.measuring.add(x, y); return; }
    const found = this.hits(x, y, reachPx);
    if (found.length) { this.pick(...found[0], found); return; }
    this.letGo();
    this.say(words.nothing_here);
  }

  /** Pick a thing; its row is shown in the table, and what else lies at its place is offered. */
  pick(kind, id, here = []) {
    this.picked = [kind, id];
    this.beside = here.filter(([other, at]) => other !== kind || at !== id);
    this.table.follow(kind, id);
    this.tellPicked();
  }

  /** Pick a thing in the table: the plan goes to it. */
  pickRow(kind, id) {
    this.picked = [kind, id];
    this.beside = [];
    this.table.follow(kind, id);
    this.tellPicked();
    this.goTo(kind, id);
  }

  letGo() {
    this.picked = null;
    this.table.fill(true);
    this.showPicked();
    this.plan.ask();
  }

  tellPicked() {
    const [kind, id] = this.picked;
    this.showPicked();
    openTab("figures");
    const [[name, column] = ["", null]] = kind.facts;
    const fact = column ? `${name}: ${column.at(id)}` : "";
    this.say(`${kindName(kind, kind.numbers[id])}. ${fact}`);
    this.plan.ask();
  }

  showPicked() { showFigures(by("part-figures"), this.picked, this.beside, this); }

  /** Show a thing with what lies around it. */
  goTo(kind, id) {
    const [west, south, east, north] = kind.shapes.boxOf(id);
    const around = 0.6 * Math.max(east - west, north - south, 200);
    const box = [west - around, south - around, east + around, north + around];
    this.plan.fit(box, OWN_SCALE);
  }

  drawOver(ink, sight) {
    drawGridFigures(ink, sight, this.model, this.plan.painter);
    if (this.picked) drawPicked(ink, sight, ...this.picked);
    if (this.measuring.isOn) drawLegs(ink, sight, this.measuring.corners);
    drawScaleBar(ink, sight);
    drawNorth(ink, sight, this.turn, words.true_north);
    if (by("map").matches(":focus-visible")) drawCross(ink, sight);
  }

  /** Tell where a place of the screen lies, and what is there. */
  tellPlace(px, py) {
    const { sight } = this.plan, [x, y] = sight.ground(px, py), [east, north] = this.model.zero;
    const digits = sight.scale > 0.1 ? 2 : 1;
    const place = [
      `${words.east_sign} ${fixed((x + east) / 100, digits)}`,
      `${words.north_sign} ${fixed((y + north) / 100, digits)}`,
    ];
    const [hit] = this.hits(x, y, CLICK_PX);
    if (hit) place.push(kindName(hit[0], hit[0].numbers[hit[1]]));
    by("where").textContent = place.join("  ");
  }

  openTable(open) {
    by("list").hidden = !open;
    by("do-table").setAttribute("aria-expanded", open);
    document.body.classList.toggle("listing", open);
    this.plan.resize();
    this.table.fill(true);
    if (open && this.picked) this.table.follow(...this.picked);
  }

  measure(on) {
    this.measuring.turn(on);
    by("do-measure").setAttribute("aria-pressed", on);
    this.plan.resize();
  }
}

const app = new App();
useTabs();
new Pointers(by("map"), app);
useKeys(by("map"), app);
useAddress(app);
window.addEventListener("hashchange", () => useAddress(app));
window.addEventListener("beforeprint", () => app.plan.onPaper(by("paper")));
new ResizeObserver(() => app.plan.resize()).observe(by("map"));
