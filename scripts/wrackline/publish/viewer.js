// The plan viewer: what is drawn, what is picked, and how mouse, fingers and keys work on it.

const data = JSON.parse(document.getElementById("data").textContent);
const { words } = data;
const CLICK_PX = 4, TOUCH_PX = 10, NEAR_CM = 40, STEP_PX = 80, SNAP_PX = 9, OWN_SCALE = 0.9;
const by = id => document.getElementById(id);

/** Return everything that can be drawn, and which layers are on. */
function modelOf() {
  const { bounds } = data;
  const kinds = data.kinds.map(kind => new Kind(kind, bounds));
  const drawn = [...kinds];
  for (const [name, one] of Object.entries(data.lines)) {
    drawn.push(new Drawn(one.shapes, bounds, () => name, id => (one.bold[id] ? "index" : "")));
  }
  const bodies = new Drawn(data.bodies.shapes, bounds, () => "bodies");
  bodies.first = data.bodies.first;
  bodies.surveys = data.bodies.surveys;
  drawn.push(bodies, new Drawn(data.passages, bounds, () => "passages"));
  const order = Object.keys(data.layers);
  const off = new Set(["grid", "earlier", "changes", ...(data.lines.contours ? [] : ["contours"])]);
  const zero = () => (data.place ? [100 * data.place.easting, 100 * data.place.northing] : [0, 0]);
  return { kinds, drawn, bodies, bounds, order, zero, on: new Set(order.filter(name => !off.has(name))), relief: null, loading: Boolean(data.relief) };
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
    this.picked = null;
    this.legs = null;
    this.plan = new Plan(by("map"), this.model);
    this.plan.over = [(ink, sight) => this.drawOver(ink, sight)];
    this.plan.drawnFirst = () => performance.mark("plan drawn");
    showLayers(by("part-layers"), this);
    showFigures(by("part-figures"), null, [], this);
    showAbout(by("part-about"));
    this.table = new ThingTable(by("list"), this);
    this.tools();
    this.plan.whole();
    this.loadRelief();
  }

  get turn() { return data.place ? data.place.turn_deg : 0; }

  get groundScale() { return data.place ? data.place.scale : 1; }

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

  /** Return the layers on which something lies. */
  layersThere() {
    const there = new Set(["grid", "numbers", ...(data.relief ? ["relief"] : [])]);
    for (const drawn of this.model.drawn) {
      for (let id = 0; id < drawn.shapes.count; id += 1) there.add(drawn.layerOf(id));
    }
    return this.model.order.filter(layer => there.has(layer)).reverse();
  }

  /** Return the tones that a layer's things have, in the order of its signs. */
  tonesOf(layer) {
    const there = new Set();
    for (const drawn of this.model.drawn) {
      for (let id = 0; id < drawn.shapes.count; id += 1) {
        if (drawn.layerOf(id) === layer) there.add(drawn.toneOf(id));
      }
    }
    return Object.keys(SIGNS[layer] || {}).filter(tone => there.has(tone));
  }

  turnLayer(layer, on) {
    if (on) this.model.on.add(layer); else this.model.on.delete(layer);
    this.plan.drop();
    this.showPicked();
  }

  /** Apply the choice of seasons and techniques to all things. */
  choose() {
    const { after, seasons, techniques } = this.choice;
    const ticked = data.surveys.map(one => seasons.has(one.season) && techniques.has(one.technique));
    for (const drawn of [...this.model.kinds, this.model.bodies]) {
      for (let id = 0; id < drawn.shapes.count; id += 1) {
        const mine = drawn.surveys[id];
        drawn.shown[id] = drawn.first[id] <= after && (!mine.length || mine.some(place => ticked[place]));
      }
    }
    this.plan.drop();
    this.table.renew();
    this.showPicked();
  }

  isDrawn(kind, id) { return Boolean(kind.shown[id]) && this.model.on.has(kind.layerOf(id)); }

  isPicked(kind, id) { return this.picked !== null && this.picked[0] === kind && this.picked[1] === id; }

  say(text) { by("said").textContent = text; }

  /** Return the things at a place, the smallest first: lines within reach, then areas. */
  hits(x, y, reachPx) {
    const reach = Math.min(reachPx / this.plan.view.scale, NEAR_CM);
    const box = [x - reach, y - reach, x + reach, y + reach], near = [], around = [];
    for (const kind of this.model.kinds) {
      for (const id of kind.net.within(box)) {
        if (!this.isDrawn(kind, id)) continue;
        if (kind.shapes.holds(id, x, y)) around.push([kind, id]);
        else if (kind.shapes.kinds[id] !== AREA) {
          const off = kind.shapes.distance(id, x, y);
          if (off <= reach) near.push([kind, id, off]);
        }
      }
    }
    near.sort((a, b) => a[2] - b[2]);
    around.sort((a, b) => this.size(a) - this.size(b));
    return [...near.map(([kind, id]) => [kind, id]), ...around];
  }

  size([kind, id]) {
    const [west, south, east, north] = kind.shapes.boxOf(id);
    return (east - west) * (north - south);
  }

  /** Pick what lies at a place of the screen. */
  pickAt(px, py, reachPx) {
    const { sight } = this.plan;
    const found = this.hits(sight.west + px / sight.scale, sight.north - py / sight.scale, reachPx);
    if (!found.length) { this.letGo(); this.say(words.nothing_here); return; }
    this.pick(...found[0], found);
  }

  /** Pick a thing; the table follows, and its figures are shown. */
  pick(kind, id, here = []) {
    this.picked = [kind, id];
    this.beside = here.filter(([other, at]) => other !== kind || at !== id);
    this.table.follow(kind, id);
    this.showPicked();
    openTab("figures");
    const [first] = kind.facts.map(([name, column]) => `${name}: ${column.at(id)}`);
    this.say(filled(words.picked_said, { kind: data.kind_words[kind.name][0], number: kind.numbers[id], fact: first || "" }));
    this.plan.ask();
  }

  /** Pick a thing in the table: the plan goes to it. */
  pickRow(kind, id) {
    this.picked = [kind, id];
    this.beside = [];
    this.table.fill(true);
    this.showPicked();
    openTab("figures");
    this.goTo(kind, id);
    this.say(kindName(kind, kind.numbers[id]));
  }

  letGo() {
    this.picked = null;
    this.table.fill(true);
    this.showPicked();
    this.plan.ask();
  }

  showPicked() { showFigures(by("part-figures"), this.picked, this.beside || [], this); }

  /** Show a thing with what lies around it. */
  goTo(kind, id) {
    const [west, south, east, north] = kind.shapes.boxOf(id), around = 0.6 * Math.max(east - west, north - south, 200);
    this.plan.fit([west - around, south - around, east + around, north + around], OWN_SCALE);
  }

  drawOver(ink, sight) {
    drawGridFigures(ink, sight, this.model, this.plan.painter);
    if (this.picked) drawPicked(ink, sight, ...this.picked);
    if (this.legs) drawLegs(ink, sight, this.legs);
    drawScaleBar(ink, sight);
    drawNorth(ink, sight, this.turn, words.true_north);
    if (by("map").matches(":focus-visible")) drawCross(ink, sight);
  }

  /** Tell where a place of the screen lies, and what is there. */
  tellPlace(px, py) {
    const { sight } = this.plan, x = sight.west + px / sight.scale, y = sight.north - py / sight.scale;
    const [zeroEast, zeroNorth] = this.model.zero(), digits = sight.scale > 0.1 ? 2 : 1;
    const place = `${words.east_sign} ${fixed((x + zeroEast) / 100, digits)}  ${words.north_sign} ${fixed((y + zeroNorth) / 100, digits)}`;
    const [hit] = this.hits(x, y, CLICK_PX);
    by("where").textContent = hit ? `${place}  ${kindName(hit[0], hit[0].numbers[hit[1]])}` : place;
    return by("where").textContent;
  }

  tools() {
    const act = (name, run, more = {}) => button(words[name], run, { id: `do-${name}`, ...more });
    by("tools").append(
      act("closer", () => this.plan.zoom(1.5), { "aria-label": words.closer_label }),
      act("wider", () => this.plan.zoom(1 / 1.5), { "aria-label": words.wider_label }),
      act("whole", () => this.plan.whole()),
      act("measure", () => this.measure(!this.legs), { "aria-pressed": "false" }),
      act("table", () => this.openTable(by("list").hidden), { "aria-expanded": "false", "aria-controls": "list" }),
      act("print", () => window.print()));
  }

  openTable(open) {
    by("list").hidden = !open;
    by("do-table").setAttribute("aria-expanded", open);
    document.body.classList.toggle("listing", open);
    this.plan.resize();
    this.table.fill(true);
    if (this.picked) this.table.follow(...this.picked);
  }

  /** Begin or end measuring. */
  measure(on) {
    this.legs = on ? [] : null;
    by("measure").hidden = !on;
    by("do-measure").setAttribute("aria-pressed", on);
    this.plan.resize();
    this.showLegs();
    if (on) this.say(words.measuring);
  }

  /** Take a place of the screen as the next corner, or a corner of the plan that lies near. */
  addLeg(px, py) {
    const { sight } = this.plan, x = sight.west + px / sight.scale, y = sight.north - py / sight.scale;
    this.legs.push(this.cornerNear(x, y, SNAP_PX / sight.scale) || [x, y]);
    this.showLegs();
  }

  takeBack() {
    this.legs.pop();
    this.showLegs();
  }

  cornerNear(x, y, reach) {
    const box = [x - reach, y - reach, x + reach, y + reach];
    let least = reach, found = null;
    for (const kind of this.model.kinds) {
      for (const id of kind.net.within(box)) {
        if (!this.isDrawn(kind, id)) continue;
        const [from, to] = kind.shapes.corners(id);
        for (let k = from; k < to; k += 1) {
          const cx = kind.shapes.xy[2 * k], cy = kind.shapes.xy[2 * k + 1], off = Math.hypot(cx - x, cy - y);
          if (off < least) [least, found] = [off, [cx, cy]];
        }
      }
    }
    return found;
  }

  /** Return the legs: lengths in the grid and on the ground [m], azimuth from true north [degrees]. */
  measured() {
    return this.legs.slice(1).map(([x, y], k) => {
      const [fromX, fromY] = this.legs[k], grid = Math.hypot(x - fromX, y - fromY) / 100;
      const azimuth = Math.atan2(x - fromX, y - fromY) * 180 / Math.PI + this.turn;
      return { grid, ground: grid / this.groundScale, azimuth: (azimuth + 360) % 360 };
    });
  }

  showLegs() {
    this.plan.ask();
    if (!this.legs) { by("measure").replaceChildren(); return; }
    const legs = this.measured(), sum = key => legs.reduce((total, leg) => total + leg[key], 0);
    const row = (name, leg, azimuth) => make("tr", {}, make("th", { scope: "row" }, name),
      make("td", { class: "num" }, fixed(leg.grid, 2)), make("td", { class: "num" }, fixed(leg.ground, 2)),
      make("td", { class: "num" }, azimuth));
    const heads = ["leg", "in_grid", "on_ground", "azimuth"].map(key => make("th", { scope: "col" }, words[key]));
    const total = { grid: sum("grid"), ground: sum("ground") };
    const rows = legs.map((leg, k) => row(k + 1, leg, fixed(leg.azimuth, 1)));
    const note = filled(data.place ? words.measure_note : words.measure_note_bare, {
      scale: fixed(this.groundScale, 6), turn: fixed(Math.abs(this.turn), 2),
      side: this.turn > 0 ? words.west : words.east, pixel: plainNumber(Number((0.01 / this.plan.view.scale).toPrecision(2))),
    });
    by("measure").replaceChildren(make("table", { "aria-label": words.measure }, 
      make("thead", {}, make("tr", {}, ...heads)),
      make("tbody", {}, ...rows), make("tfoot", {}, row(words.total, total, ""))),
      make("p", { class: "small screen" }, words.measuring), make("p", { class: "small" }, note));
    if (legs.length) this.say(`${words.total} ${fixed(total.ground, 2)} m`);
  }
}

/** Show one of the parts beside the plan. */
function openTab(name) {
  for (const tab of document.querySelectorAll("[role=tab]")) {
    const mine = tab.id === `tab-${name}`;
    tab.setAttribute("aria-selected", mine);
    tab.tabIndex = mine ? 0 : -1;
    by(tab.getAttribute("aria-controls")).classList.toggle("closed", !mine);
  }
}

function useTabs() {
  const tabs = [...document.querySelectorAll("[role=tab]")];
  tabs.forEach((tab, k) => {
    tab.addEventListener("click", () => openTab(tab.id.slice(4)));
    tab.addEventListener("keydown", event => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!step) return;
      const next = tabs[(k + step + tabs.length) % tabs.length];
      openTab(next.id.slice(4));
      next.focus();
      event.preventDefault();
    });
  });
  openTab("layers");
}

/** Mouse and fingers: one moves and picks, two bring closer. */
function usePointers(app) {
  const canvas = by("map"), down = new Map();
  let moved = 0;
  const at = event => { const box = canvas.getBoundingClientRect(); return [event.clientX - box.left, event.clientY - box.top]; };
  const apart = () => { const [a, b] = [...down.values()]; return Math.hypot(a[0] - b[0], a[1] - b[1]); };
  canvas.addEventListener("pointerdown", event => {
    if (event.pointerType === "mouse" && event.button !== 0) return;
    if (!down.size) moved = 0;
    down.set(event.pointerId, at(event));
    canvas.setPointerCapture(event.pointerId);
  });
  canvas.addEventListener("pointermove", event => {
    const now = at(event), before = down.get(event.pointerId);
    if (!before) { app.tellPlace(...now); return; }
    const was = down.size === 2 ? apart() : 0;
    down.set(event.pointerId, now);
    moved += Math.hypot(now[0] - before[0], now[1] - before[1]);
    if (moved < (event.pointerType === "touch" ? TOUCH_PX : CLICK_PX)) return;
    app.plan.move((now[0] - before[0]) / down.size, (now[1] - before[1]) / down.size);
    if (down.size === 2 && was) {
      const [a, b] = [...down.values()];
      app.plan.zoom(apart() / was, (a[0] + b[0]) / 2, (a[1] + b[1]) / 2);
    }
  });
  const up = event => {
    if (!down.delete(event.pointerId) || down.size || event.type === "pointercancel") return;
    const touch = event.pointerType === "touch";
    if (moved >= (touch ? TOUCH_PX : CLICK_PX)) return;
    app.tellPlace(...at(event));
    if (app.legs) app.addLeg(...at(event)); else app.pickAt(...at(event), touch ? TOUCH_PX : CLICK_PX);
  };
  canvas.addEventListener("pointerup", up);
  canvas.addEventListener("pointercancel", up);
  canvas.addEventListener("wheel", event => {
    event.preventDefault();
    const lines = event.deltaMode === 1 ? 20 : 1;
    app.plan.zoom(Math.exp(-Math.max(-200, Math.min(200, event.deltaY * lines)) / 350), ...at(event));
  }, { passive: false });
}

/** Keys on the plan: the cross in its middle stands for the pointer. */
function useKeys(app) {
  const canvas = by("map"), middle = () => [app.plan.wide / 2, app.plan.tall / 2];
  const moves = { ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  const acts = {
    "+": () => app.plan.zoom(1.5), "=": () => app.plan.zoom(1.5), "-": () => app.plan.zoom(1 / 1.5),
    0: () => app.plan.whole(),
    Enter: () => (app.legs ? app.addLeg(...middle()) : app.pickAt(...middle(), CLICK_PX)),
    Backspace: () => app.legs && app.takeBack(),
    Escape: () => (app.legs ? app.measure(false) : app.letGo()),
    m: () => app.measure(!app.legs), M: () => app.measure(!app.legs),
  };
  canvas.addEventListener("keydown", event => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const step = event.shiftKey ? STEP_PX / 10 : STEP_PX;
    if (moves[event.key]) app.plan.move(...moves[event.key].map(way => way * step));
    else if (acts[event.key]) acts[event.key]();
    else return;
    event.preventDefault();
    app.tellPlace(...middle());
  });
  for (const name of ["focus", "blur"]) canvas.addEventListener(name, () => app.plan.ask());
}

/** Pick the thing that the page's address names, such as viewer.html#R051-038. */
function useAddress(app) {
  const wanted = decodeURIComponent(location.hash.slice(1));
  for (const kind of wanted ? app.model.kinds : []) {
    const id = kind.numbers.indexOf(wanted);
    if (id >= 0) { app.pick(kind, id); app.goTo(kind, id); return; }
  }
}

function usePaper(app) {
  window.addEventListener("beforeprint", () => app.plan.onPaper(by("paper")));
}

useTabs();
const app = new App();
usePointers(app);
useKeys(app);
usePaper(app);
useAddress(app);
window.addEventListener("hashchange", () => useAddress(app));
new ResizeObserver(() => app.plan.resize()).observe(by("map"));
