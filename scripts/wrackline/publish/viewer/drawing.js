// The drawing: signs, tiles, and what lies over them.
// A tile is drawn once for a scale and a choice of layers; a frame puts tiles side by side and
// draws missing ones for a few milliseconds, so that moving stays smooth however much there is.

const TILE_PX = 256, FRAME_MS = 8, SETTLED_MS = 140;
const CLOSEST = 20;  // pixels a centimetre
const LABEL_PX = 11, TEXT_SHARE = 2.5, APART_PX = 18, BELOW_PX = 12, FULL_SCALE = 0.1;
const INK = "#1b1b1b", PAPER = "#ffffff";
const FACE = "Arial, 'Liberation Sans', 'Noto Sans', sans-serif";

// Signs differ by tone, hatch, dash or width as well as by colour, so that they stand in grey.
const SIGNS = {
  contours: { "": { stroke: "#8aa2b4", width: 0.6 }, index: { stroke: "#5f7d92", width: 1.2 } },
  waterlines: { "": { stroke: "#1f5f8b", width: 1.8, dash: [10, 3, 2, 3] } },
  changes: {
    come: { stroke: INK, width: 1, hatch: "rising" },
    gone: { stroke: INK, width: 1, dash: [3, 2], hatch: "falling" },
  },
  buildings: { "": { fill: "#d5cdbf", stroke: "#8a8378", width: 0.6, veil: true } },
  bodies: { "": { fill: "#8a8378" } },
  passages: { "": { fill: PAPER } },
  rooms: {
    room: { fill: "#f6e4bf", veil: true },
    court: { fill: "#f4f7ee", hatch: "dots", veil: true },
    lane: { fill: "#f7f7f7", hatch: "level", veil: true },
    unknown: { fill: "#dedede", veil: true },
  },
  earlier: { "": { stroke: "#6a6a6a", width: 0.8, dash: [1, 3] } },
  trenches: { "": { stroke: "#5a3d7a", width: 1.6, dash: [12, 4], hatch: "crossed" } },
  features: {
    "": { stroke: "#3c5a78", width: 1.1, mark: "diamond" },
    stone: { stroke: "#6a6a6a", width: 0.8, mark: "diamond" },
    hachure: { stroke: "#3a3a3a", width: 0.7 },
    "section line": { stroke: INK, width: 1.6, dash: [14, 3, 2, 3, 2, 3] },
  },
  recorded: { "": { stroke: INK, width: 1.4 } },
  old: { "": { stroke: "#4a6a86", width: 1.4, dash: [1.5, 2.5] } },
  inferred: { "": { stroke: "#9c2f00", width: 1.3, dash: [5, 3.5], under: 2.8 } },
  openings: {
    seen: { stroke: INK, width: 5.5 },
    possible: { stroke: INK, width: 5.5, inside: 2.9 },
  },
  spots: { "": { stroke: INK, width: 1, mark: "level" } },
};
const VEIL = 0.68;

/** Return a pattern of lines or dots, 8 px by 8 px, so that it goes on from tile to tile. */
function hatch(name, dense) {
  const side = 8 * dense, sheet = document.createElement("canvas");
  sheet.width = sheet.height = side;
  const ink = sheet.getContext("2d");
  ink.scale(dense, dense);
  ink.strokeStyle = ink.fillStyle = "#6f6f6f";
  ink.lineWidth = 0.8;
  const lines = { rising: ["/"], falling: ["\\"], crossed: ["/", "\\"], level: ["-"], dots: [] };
  ink.beginPath();
  for (const way of lines[name]) {
    for (const k of [-8, 0, 8]) {
      if (way === "/") { ink.moveTo(k, 8); ink.lineTo(k + 8, 0); }
      if (way === "\\") { ink.moveTo(k, 0); ink.lineTo(k + 8, 8); }
    }
    if (way === "-") { ink.moveTo(0, 4); ink.lineTo(8, 4); }
  }
  ink.stroke();
  if (name === "dots") ink.fillRect(3, 3, 1.4, 1.4);
  const pattern = ink.createPattern(sheet, "repeat");
  pattern.setTransform(new DOMMatrix([1 / dense, 0, 0, 1 / dense, 0, 0]));
  return pattern;
}

const hatches = new Map();

function hatchOf(name, dense) {
  const key = `${name} ${dense}`;
  if (!hatches.has(key)) hatches.set(key, hatch(name, dense));
  return hatches.get(key);
}

/** Paint what `trace` draws as a path with a sign; marks of points stand in `marks`.
 *
 * `look` says whether areas let the relief through, and how much thinner lines are from afar. */
function paint(ink, sign, trace, marks, look = { veiled: false, thin: 1 }) {
  const alpha = look.veiled && sign.veil ? VEIL : 1;
  ink.setLineDash([]);
  if (sign.fill || sign.hatch) {
    ink.beginPath();
    trace(ink);
    ink.globalAlpha = alpha;
    if (sign.fill) { ink.fillStyle = sign.fill; ink.fill("evenodd"); }
    if (sign.hatch) { ink.fillStyle = hatchOf(sign.hatch, ink.dense || 1); ink.fill("evenodd"); }
    ink.globalAlpha = 1;
  }
  if (sign.stroke) {
    ink.beginPath();
    trace(ink);
    const dash = (sign.dash || []).map(px => px * Math.max(look.thin, 0.6));
    if (sign.under) strokeWith(ink, PAPER, sign.under * look.thin);
    strokeWith(ink, sign.stroke, sign.width * look.thin, dash);
    if (sign.inside) strokeWith(ink, PAPER, sign.inside * look.thin);
  }
  for (const [x, y] of marks) mark(ink, sign, x, y, look.thin);
}

function strokeWith(ink, color, width, dash) {
  ink.strokeStyle = color;
  ink.lineWidth = width;
  ink.setLineDash(dash || []);
  ink.stroke();
  ink.setLineDash([]);
}

/** Draw a point: a diamond, or the trade's level mark, a triangle standing on its tip. */
function mark(ink, sign, x, y, thin) {
  const half = 3.2 * Math.max(thin, 0.5);
  ink.beginPath();
  if (sign.mark === "level") {
    ink.moveTo(x, y); ink.lineTo(x - 4, y - 7); ink.lineTo(x + 4, y - 7);
  } else {
    ink.moveTo(x - half, y); ink.lineTo(x, y - half);
    ink.lineTo(x + half, y); ink.lineTo(x, y + half);
  }
  ink.closePath();
  ink.fillStyle = sign.mark === "level" ? PAPER : sign.stroke;
  ink.fill();
  strokeWith(ink, sign.stroke, 1);
}

/** A window onto the ground: its upper left corner [cm], pixels a centimetre, its size [px]. */
class Sight {
  constructor(west, north, scale, wide, tall) {
    Object.assign(this, { west, north, scale, wide, tall });
  }

  x(east) { return (east - this.west) * this.scale; }

  y(north) { return (this.north - north) * this.scale; }

  /** Return the ground [cm] under a place of the window [px]. */
  ground(px, py) { return [this.west + px / this.scale, this.north - py / this.scale]; }

  /** Return the ground that the window shows, with so many pixels around it. */
  box(around) {
    const more = around / this.scale;
    const south = this.north - this.tall / this.scale, east = this.west + this.wide / this.scale;
    return [this.west - more, south - more, east + more, this.north + more];
  }
}

/** Add the lines of a thing to the path, areas closed. */
function traceThing(ink, sight, shapes, id) {
  const { xy } = shapes, closed = shapes.kinds[id] === AREA;
  for (let part = shapes.thingAt[id]; part < shapes.thingAt[id + 1]; part += 1) {
    const from = shapes.partAt[part], to = shapes.partAt[part + 1];
    ink.moveTo(sight.x(xy[2 * from]), sight.y(xy[2 * from + 1]));
    for (let k = from + 1; k < to; k += 1) ink.lineTo(sight.x(xy[2 * k]), sight.y(xy[2 * k + 1]));
    if (closed) ink.closePath();
  }
}

/** Return a round length of ground that takes at least so many pixels [m]. */
function roundLength(px, scale) {
  const least = px / scale / 100, power = 10 ** Math.floor(Math.log10(least));
  return [1, 2, 5, 10].map(k => k * power).find(length => length >= least * 0.999);
}

/** Draws a model's layers into any window: a tile, the whole view, a sheet of paper. */
class Painter {
  constructor(model) {
    this.model = model;
    this.texts = new TextPlaces(model);
  }

  /** Draw all layers that are on, the lowest first. */
  region(ink, sight) {
    ink.fillStyle = PAPER;
    ink.fillRect(0, 0, sight.wide, sight.tall);
    ink.lineJoin = ink.lineCap = "round";
    ink.lineCap = "butt";
    const groups = this.groups(sight), thin = Math.max(0.4, Math.min(1, sight.scale / FULL_SCALE));
    const look = { veiled: this.model.on.has("relief") && this.model.relief, thin };
    for (const layer of this.model.order) {
      if (!this.model.on.has(layer)) continue;
      if (layer === "relief") this.relief(ink, sight);
      if (layer === "grid") this.grid(ink, sight);
      if (layer === "numbers") this.texts.draw(ink, sight);
      const gaping = layer === "rooms" && this.model.on.has("openings");
      if (gaping) this.layer(ink, sight, groups, "passages", look);
      this.layer(ink, sight, groups, layer, look);
      this.lineTexts(ink, sight, layer);
    }
  }

  /** Write heights on contours and names on sea levels, on lines long enough, clear of walls. */
  lineTexts(ink, sight, layer) {
    const { texts = [] } = data.lines[layer] || {}, [west, south, east, north] = sight.box(160);
    ink.font = `10px ${FACE}`;
    ink.textAlign = "center";
    ink.textBaseline = "middle";
    for (const [x, y, long, text] of texts) {
      const near = x > west && x < east && y > south && y < north;
      const wide = near ? ink.measureText(text).width : 0;
      if (near && long * sight.scale > TEXT_SHARE * wide && this.isFree(x, y, wide, sight.scale)) {
        haloed(ink, text, sight.x(x), sight.y(y));
      }
    }
  }

  /** Tell whether a text at a place would cover no building and no wall. */
  isFree(x, y, wide, scale) {
    const half = (wide / 2 + 3) / scale, tall = 8 / scale;
    const box = [x - half, y - tall, x + half, y + tall];
    const built = this.model.kinds.filter(kind => ["buildings", "walls"].includes(kind.name));
    return built.every(kind => !kind.net.within(box).some(id => kind.shown[id]));
  }

  /** Return what lies in a window, by layer and tone. */
  groups(sight) {
    const found = new Map(), box = sight.box(8);
    for (const drawn of this.model.drawn) {
      for (const id of drawn.net.within(box)) {
        if (!drawn.shown[id] || (drawn.apart && drawn.apart[id] * sight.scale < APART_PX)) continue;
        const key = `${drawn.layerOf(id)} ${drawn.toneOf(id)}`;
        if (!found.has(key)) found.set(key, []);
        found.get(key).push([drawn.shapes, id]);
      }
    }
    return found;
  }

  layer(ink, sight, groups, layer, look) {
    for (const [tone, sign] of Object.entries(SIGNS[layer] || {})) {
      const group = groups.get(`${layer} ${tone}`) || [];
      if (!group.length) continue;
      const lines = group.filter(([shapes, id]) => shapes.kinds[id] !== POINT);
      const points = group.filter(([shapes, id]) => shapes.kinds[id] === POINT);
      const marks = points.map(([shapes, id]) => {
        const at = 2 * shapes.corners(id)[0];
        return [sight.x(shapes.xy[at]), sight.y(shapes.xy[at + 1])];
      });
      const trace = on => { for (const [shapes, id] of lines) traceThing(on, sight, shapes, id); };
      paint(ink, sign, trace, marks, look);
    }
  }

  relief(ink, sight) {
    if (!this.model.relief) return;
    const [west, east, south, north] = this.model.relief.extent;
    const [x, y] = [sight.x(west), sight.y(north)];
    ink.imageSmoothingEnabled = true;
    ink.drawImage(this.model.relief.image, x, y, sight.x(east) - x, sight.y(south) - y);
  }

  /** Return the lines of the grid in a window: places [cm] of one axis and the step [m]. */
  gridLines(from, to, zero, scale) {
    const step = 100 * roundLength(110, scale), found = [];
    for (let k = Math.ceil((from + zero) / step); k * step <= to + zero; k += 1) {
      found.push(k * step - zero);
    }
    return found;
  }

  grid(ink, sight) {
    const [west, south, east, north] = sight.box(1), [zeroEast, zeroNorth] = this.model.zero;
    ink.beginPath();
    for (const x of this.gridLines(west, east, zeroEast, sight.scale)) {
      ink.moveTo(sight.x(x), 0); ink.lineTo(sight.x(x), sight.tall);
    }
    for (const y of this.gridLines(south, north, zeroNorth, sight.scale)) {
      ink.moveTo(0, sight.y(y)); ink.lineTo(sight.wide, sight.y(y));
    }
    strokeWith(ink, "#b9b9b9", 0.6);
  }
}

/** Numbers on the plan: each stands where it fits its room, so none meets another or a wall. */
class TextPlaces {
  constructor(model) {
    this.model = model;
    this.texts = [];
    const roomOf = this.largestRooms();
    for (const kind of model.kinds.filter(one => one.labels)) {
      kind.numbers.forEach((number, id) => {
        const until = kind.name === "buildings" ? roomOf.get(number) || 0 : Infinity;
        const [text, lift] = kind.labels.text ? [kind.labels.text[id], 13] : [number, 0];
        const x = kind.labels.xy[2 * id], y = kind.labels.xy[2 * id + 1];
        this.texts.push({ kind, id, text, lift, x, y, wide: kind.labels.wide[id], until });
      });
    }
    const boxes = new Float64Array(4 * this.texts.length);
    this.texts.forEach(({ x, y }, k) => boxes.set([x, y, x, y], 4 * k));
    this.net = new Net(boxes, model.bounds);
  }

  /** Return how wide the widest room of each building is, by its number [cm]. */
  largestRooms() {
    const rooms = this.model.kinds.find(one => one.name === "rooms"), widest = new Map();
    if (!rooms) return widest;
    const building = rooms.columns[0].text;
    rooms.numbers.forEach((_, id) => {
      const number = building.at(id), wide = rooms.labels.wide[id];
      widest.set(number, Math.max(widest.get(number) || 0, wide));
    });
    return widest;
  }

  /** Write numbers that fit; a building's goes when one of its rooms bears its own. */
  draw(ink, sight) {
    ink.font = `${LABEL_PX}px ${FACE}`;
    ink.textAlign = "center";
    ink.textBaseline = "middle";
    const below = this.model.on.has("spots") ? BELOW_PX : 0;  // heights stand above their marks
    for (const k of this.net.within(sight.box(80))) {
      const { kind, id, text, lift, x, y, wide, until } = this.texts[k];
      if (!kind.shown[id] || !this.model.on.has(kind.layerOf(id))) continue;
      const needed = ink.measureText(text).width + 6, building = until !== Infinity;
      const fits = wide * sight.scale * (building ? 1.5 : 1) > needed;
      const roomSays = building && this.model.on.has("rooms") && until * sight.scale > needed;
      const down = lift ? -lift : below;
      if (fits && !roomSays) haloed(ink, text, sight.x(x), sight.y(y) + down, building);
    }
  }
}

function haloed(ink, text, x, y, bold) {
  if (bold) ink.font = `bold ${ink.font}`;
  ink.lineWidth = 3;
  ink.lineJoin = "round";
  ink.strokeStyle = PAPER;
  ink.strokeText(text, x, y);
  ink.fillStyle = INK;
  ink.fillText(text, x, y);
  if (bold) ink.font = ink.font.replace("bold ", "");
}

/** The plan on the screen: its view, its tiles, and what is drawn over them. */
class Plan {
  constructor(canvas, model) {
    this.canvas = canvas;
    this.model = model;
    this.painter = new Painter(model);
    this.over = [];
    this.tiles = new Map();
    this.view = { x: 0, y: 0, scale: 0.1 };
    this.ghost = null;
    this.waiting = false;
    this.settledAt = 0;
    this.resize();
  }

  resize() {
    const { clientWidth: wide, clientHeight: tall } = this.canvas;
    this.dense = Math.min(window.devicePixelRatio || 1, 2.5);
    if (wide === this.wide && tall === this.tall && this.canvas.width) return;
    [this.wide, this.tall] = [Math.max(wide, 1), Math.max(tall, 1)];
    this.canvas.width = Math.round(this.wide * this.dense);
    this.canvas.height = Math.round(this.tall * this.dense);
    this.most = 3 * (this.wide / TILE_PX + 2) * (this.tall / TILE_PX + 2);
    this.drop();
  }

  get sight() {
    const { x, y, scale } = this.view, { wide, tall } = this;
    return new Sight(x - wide / 2 / scale, y + tall / 2 / scale, scale, wide, tall);
  }

  /** Forget what was drawn, since layers or sizes are others. */
  drop() {
    this.tiles.clear();
    this.ghost = null;
    this.ask();
  }

  move(dx, dy) {
    this.view.x -= dx / this.view.scale;
    this.view.y += dy / this.view.scale;
    this.ask();
  }

  /** Change the scale, the ground at a place of the screen staying where it is. */
  zoom(factor, px = this.wide / 2, py = this.tall / 2) {
    const { sight } = this;
    const scale = Math.max(this.least, Math.min(CLOSEST, this.view.scale * factor));
    const [x, y] = sight.ground(px, py);
    this.look(x - (px - this.wide / 2) / scale, y + (py - this.tall / 2) / scale, scale);
  }

  /** Show a place at a scale. */
  look(x, y, scale) {
    if (scale !== this.view.scale) {
      this.keepGhost();
      this.tiles.clear();
      this.settledAt = performance.now() + SETTLED_MS;
    }
    this.view = { x, y, scale };
    this.ask();
  }

  /** Show a window of ground, with some room around it. */
  fit(box, most = CLOSEST) {
    const wide = Math.max(box[2] - box[0], 1), tall = Math.max(box[3] - box[1], 1);
    const scale = Math.min(most, 0.94 * Math.min(this.wide / wide, this.tall / tall));
    this.look((box[0] + box[2]) / 2, (box[1] + box[3]) / 2, scale);
    this.settledAt = 0;
  }

  whole() {
    const box = this.model.bounds;
    this.least = 0.3 * Math.min(this.wide / (box[2] - box[0]), this.tall / (box[3] - box[1]));
    this.fit(box);
  }

  /** Keep what is on the screen, to be shown larger or smaller until the tiles are drawn. */
  keepGhost() {
    if (this.ghost || !this.tiles.size) return;
    const sheet = document.createElement("canvas");
    sheet.width = this.canvas.width;
    sheet.height = this.canvas.height;
    const ink = sheet.getContext("2d"), { sight } = this;
    ink.scale(this.dense, this.dense);
    for (const [key, tile] of this.tiles) this.put(ink, sight, key.split(",").map(Number), tile);
    this.ghost = { sheet, sight };
  }

  /** Draw once more when the screen is next renewed. */
  ask() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => { this.waiting = false; this.frame(); });
  }

  frame() {
    const ink = this.canvas.getContext("2d"), { sight } = this;
    ink.setTransform(this.dense, 0, 0, this.dense, 0, 0);
    ink.fillStyle = PAPER;
    ink.fillRect(0, 0, this.wide, this.tall);
    if (this.ghost) this.putGhost(ink, sight);
    const settled = performance.now() >= this.settledAt;
    const whole = settled && this.putTiles(ink, sight);
    if (whole) this.ghost = null;
    for (const draw of this.over) draw(ink, sight);
    if (!whole) this.ask();
    else if (this.drawnFirst && !this.model.loading) { this.drawnFirst(); this.drawnFirst = null; }
  }

  putGhost(ink, sight) {
    const { sheet, sight: then } = this.ghost, factor = sight.scale / then.scale;
    const size = [then.wide * factor, then.tall * factor];
    ink.drawImage(sheet, sight.x(then.west), sight.y(then.north), ...size);
  }

  /** Put tiles on the screen, missing ones as long as time is left; tell whether all are there. */
  putTiles(ink, sight) {
    const started = performance.now();
    let whole = true;
    for (const at of this.tilesOf(sight)) {
      const key = at.join(",");
      let tile = this.tiles.get(key);
      if (!tile && performance.now() - started < FRAME_MS) {
        tile = this.tile(at);
        this.tiles.set(key, tile);
      }
      if (tile) this.put(ink, sight, at, tile); else whole = false;
    }
    this.forget();
    return whole;
  }

  /** Return which tiles a window needs, those in its middle first. */
  tilesOf(sight) {
    const left = sight.west * sight.scale / TILE_PX, top = -sight.north * sight.scale / TILE_PX;
    const right = left + sight.wide / TILE_PX, bottom = top + sight.tall / TILE_PX, found = [];
    for (let row = Math.floor(top); row < bottom; row += 1) {
      for (let column = Math.floor(left); column < right; column += 1) found.push([column, row]);
    }
    const middle = [(left + right - 1) / 2, (top + bottom - 1) / 2];
    const off = ([column, row]) => Math.hypot(column - middle[0], row - middle[1]);
    return found.sort((a, b) => off(a) - off(b));
  }

  tile([column, row]) {
    const sheet = document.createElement("canvas"), { scale } = this.view;
    sheet.width = sheet.height = Math.ceil(TILE_PX * this.dense);
    const ink = sheet.getContext("2d");
    ink.dense = this.dense;
    ink.scale(sheet.width / TILE_PX, sheet.width / TILE_PX);
    const west = column * TILE_PX / scale, north = -row * TILE_PX / scale;
    this.painter.region(ink, new Sight(west, north, scale, TILE_PX, TILE_PX));
    return sheet;
  }

  /** Put a tile on whole pixels of the screen, so that no seam shows. */
  put(ink, sight, [column, row], tile) {
    const whole = px => Math.round(px * this.dense) / this.dense;
    const left = whole(column * TILE_PX - sight.west * sight.scale);
    const top = whole(row * TILE_PX + sight.north * sight.scale);
    ink.drawImage(tile, left, top, TILE_PX, TILE_PX);
  }

  /** Let go of the tiles that were drawn longest ago. */
  forget() {
    for (const key of this.tiles.keys()) {
      if (this.tiles.size <= this.most) break;
      this.tiles.delete(key);
    }
  }

  /** Draw the view onto paper, finer than the screen. */
  onPaper(sheet) {
    const fine = 3, { sight } = this;
    sheet.width = Math.round(this.wide * fine);
    sheet.height = Math.round(this.tall * fine);
    const ink = sheet.getContext("2d");
    ink.dense = fine;
    ink.scale(fine, fine);
    this.painter.region(ink, sight);
    for (const draw of this.over) draw(ink, sight);
  }
}

/** Draw a scale bar of a round length at the lower left. */
function drawScaleBar(ink, sight) {
  const length = roundLength(70, sight.scale), wide = length * 100 * sight.scale;
  const x = 14, y = sight.tall - 16;
  ink.fillStyle = "rgba(255, 255, 255, 0.85)";
  ink.fillRect(x - 8, y - 22, wide + 16, 32);
  ink.fillStyle = INK;
  ink.fillRect(x, y, wide, 4);
  ink.fillStyle = PAPER;
  ink.fillRect(x + wide / 2, y + 1, wide / 2 - 1, 2);
  ink.font = `12px ${FACE}`;
  ink.textAlign = "left";
  ink.textBaseline = "alphabetic";
  ink.fillStyle = INK;
  ink.fillText(`${plainNumber(length)} m`, x, y - 5);
}

/** Return a number with so many digits at most, none of them an idle nought. */
function plainNumber(value, digits = 6) {
  return String(Number(value.toPrecision(digits))).replace(".", words.decimal);
}

/** Draw an arrow to true north at the upper right; grid north is up. */
function drawNorth(ink, sight, turnDeg, label) {
  ink.save();
  ink.translate(sight.wide - 28, 34);
  ink.fillStyle = "rgba(255, 255, 255, 0.85)";
  ink.fillRect(-22, -30, 44, 66);
  ink.save();
  ink.rotate(-turnDeg * Math.PI / 180);
  ink.beginPath();
  ink.moveTo(0, -26); ink.lineTo(8, 16); ink.lineTo(0, 9); ink.lineTo(-8, 16);
  ink.closePath();
  ink.fillStyle = INK;
  ink.fill();
  ink.restore();
  ink.fillStyle = INK;
  ink.font = `11px ${FACE}`;
  ink.textAlign = "center";
  ink.textBaseline = "alphabetic";
  ink.fillText(label, 0, 31);
  ink.restore();
}

/** Draw a picked thing so that it stands out in grey too: a light rim around a dark line. */
function drawPicked(ink, sight, kind, id) {
  const { shapes } = kind;
  ink.beginPath();
  if (shapes.kinds[id] === POINT) {
    const at = 2 * shapes.corners(id)[0];
    ink.arc(sight.x(shapes.xy[at]), sight.y(shapes.xy[at + 1]), 9, 0, 7);
  } else {
    traceThing(ink, sight, shapes, id);
  }
  ink.lineJoin = "round";
  strokeWith(ink, PAPER, 9);
  strokeWith(ink, "#ffc400", 6);
  strokeWith(ink, INK, 2);
}

/** Draw the legs measured, each corner with a ring. */
function drawLegs(ink, sight, places) {
  const trace = () => {
    ink.beginPath();
    places.forEach(([x, y], k) => {
      if (k) ink.lineTo(sight.x(x), sight.y(y)); else ink.moveTo(sight.x(x), sight.y(y));
    });
  };
  trace();
  strokeWith(ink, PAPER, 5);
  strokeWith(ink, "#a3006f", 2.4, [9, 4]);
  for (const [x, y] of places) {
    ink.beginPath();
    ink.arc(sight.x(x), sight.y(y), 4, 0, 7);
    ink.fillStyle = PAPER;
    ink.fill();
    strokeWith(ink, "#a3006f", 2);
  }
}

/** Draw the cross under which the keyboard moves the plan. */
function drawCross(ink, sight) {
  const x = Math.round(sight.wide / 2), y = Math.round(sight.tall / 2);
  ink.beginPath();
  for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
    ink.moveTo(x + 4 * dx, y + 4 * dy); ink.lineTo(x + 14 * dx, y + 14 * dy);
  }
  strokeWith(ink, PAPER, 5);
  strokeWith(ink, INK, 2);
}

/** Write the grid's eastings and northings along the upper and the left edge. */
function drawGridFigures(ink, sight, model, painter) {
  if (!model.on.has("grid")) return;
  const [west, south, east, north] = sight.box(0), [zeroEast, zeroNorth] = model.zero;
  ink.font = `10px ${FACE}`;
  ink.textBaseline = "middle";
  ink.textAlign = "center";
  for (const x of painter.gridLines(west, east, zeroEast, sight.scale)) {
    if (sight.x(x) > 40 && sight.x(x) < sight.wide - 60) {
      haloed(ink, `${plainNumberOf(x + zeroEast)} ${words.east_sign}`, sight.x(x), 8);
    }
  }
  ink.textAlign = "left";
  for (const y of painter.gridLines(south, north, zeroNorth, sight.scale)) {
    if (sight.y(y) > 24 && sight.y(y) < sight.tall - 60) {
      haloed(ink, `${plainNumberOf(y + zeroNorth)} ${words.north_sign}`, 4, sight.y(y));
    }
  }
}

/** Return centimetres as metres, digits no more than needed. */
function plainNumberOf(cm) {
  return String(Math.round(cm) / 100).replace(".", words.decimal);
}
