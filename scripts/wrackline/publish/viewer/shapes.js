// Shapes as they come out of the page's data, and what lies where.
// Places are whole centimetres east and north of the viewer's zero.

const by = id => document.getElementById(id);
const POINT = 0, AREA = 2;
const CELLS_ACROSS = 64;

/** Return differences as running sums, east and north in turn. */
function summed(steps) {
  const sums = new Int32Array(steps.length);
  let x = 0, y = 0;
  for (let k = 0; k < steps.length; k += 2) {
    sums[k] = x += steps[k];
    sums[k + 1] = y += steps[k + 1];
  }
  return sums;
}

/** Return where each group begins, counts of groups given; one more at the end. */
function starts(counts) {
  const at = new Int32Array(counts.length + 1);
  for (let k = 0; k < counts.length; k += 1) at[k + 1] = at[k] + counts[k];
  return at;
}

/** A layer's shapes: corners `xy`, where each part and each thing begins, and their boxes. */
class Shapes {
  constructor(packed) {
    this.xy = summed(packed.xy);
    this.partAt = starts(packed.corners);
    this.thingAt = starts(packed.parts);
    this.kinds = packed.kinds;
    this.count = packed.kinds.length;
    this.boxes = new Float64Array(4 * this.count);
    for (let id = 0; id < this.count; id += 1) this.boxes.set(this.boxOf(id), 4 * id);
  }

  /** Return the first corner of a thing, and the one behind its last. */
  corners(id) {
    return [this.partAt[this.thingAt[id]], this.partAt[this.thingAt[id + 1]]];
  }

  boxOf(id) {
    const [from, to] = this.corners(id);
    const box = [Infinity, Infinity, -Infinity, -Infinity];
    for (let k = from; k < to; k += 1) {
      const x = this.xy[2 * k], y = this.xy[2 * k + 1];
      box[0] = Math.min(box[0], x); box[1] = Math.min(box[1], y);
      box[2] = Math.max(box[2], x); box[3] = Math.max(box[3], y);
    }
    return box;
  }

  /** Return the ground that a thing's box covers. */
  size(id) {
    const [west, south, east, north] = this.boxOf(id);
    return (east - west) * (north - south);
  }

  /** Return how far a place lies from a thing's lines or corners [cm]. */
  distance(id, x, y) {
    let least = Infinity;
    for (let part = this.thingAt[id]; part < this.thingAt[id + 1]; part += 1) {
      const from = this.partAt[part], to = this.partAt[part + 1];
      for (let k = from; k < to; k += 1) {
        const next = Math.min(k + 1, to - 1);
        least = Math.min(least, this.toSegment(k, next, x, y));
      }
    }
    return least;
  }

  toSegment(a, b, x, y) {
    const ax = this.xy[2 * a], ay = this.xy[2 * a + 1];
    const dx = this.xy[2 * b] - ax, dy = this.xy[2 * b + 1] - ay;
    const long = dx * dx + dy * dy;
    const along = long ? Math.max(0, Math.min(1, ((x - ax) * dx + (y - ay) * dy) / long)) : 0;
    return Math.hypot(x - ax - along * dx, y - ay - along * dy);
  }

  /** Tell whether a place lies within an area: a ray from it meets its rings oddly often. */
  holds(id, x, y) {
    if (this.kinds[id] !== AREA) return false;
    let within = false;
    for (let part = this.thingAt[id]; part < this.thingAt[id + 1]; part += 1) {
      for (let k = this.partAt[part] + 1; k < this.partAt[part + 1]; k += 1) {
        const ax = this.xy[2 * k - 2], ay = this.xy[2 * k - 1];
        const bx = this.xy[2 * k], by = this.xy[2 * k + 1];
        if (ay > y !== by > y && x < ax + (bx - ax) * (y - ay) / (by - ay)) within = !within;
      }
    }
    return within;
  }
}

/** Which boxes meet a window: a net of square cells over all of them. */
class Net {
  constructor(boxes, bounds) {
    this.boxes = boxes;
    this.west = bounds[0]; this.south = bounds[1];
    this.side = Math.max(bounds[2] - bounds[0], bounds[3] - bounds[1], 1) / CELLS_ACROSS;
    this.cells = new Map();
    this.seen = new Uint32Array(boxes.length / 4);
    this.asked = 0;
    for (let id = 0; id < this.seen.length; id += 1) {
      this.eachCell(boxes.subarray(4 * id, 4 * id + 4), key => {
        if (this.cells.has(key)) this.cells.get(key).push(id); else this.cells.set(key, [id]);
      });
    }
  }

  cell(value, least) {
    return Math.max(0, Math.min(CELLS_ACROSS, Math.floor((value - least) / this.side)));
  }

  eachCell(box, use) {
    if (!(box[0] <= box[2])) return;
    const right = this.cell(box[2], this.west), top = this.cell(box[3], this.south);
    for (let y = this.cell(box[1], this.south); y <= top; y += 1) {
      for (let x = this.cell(box[0], this.west); x <= right; x += 1) use(y * 1000 + x);
    }
  }

  /** Return the things whose boxes meet a window, in their order. */
  within(box) {
    const found = [];
    this.asked += 1;
    this.eachCell(box, key => {
      for (const id of this.cells.get(key) || []) {
        if (this.seen[id] !== this.asked && this.meets(id, box)) found.push(id);
        this.seen[id] = this.asked;
      }
    });
    return found.sort((a, b) => a - b);
  }

  meets(id, box) {
    const at = 4 * id;
    return this.boxes[at] <= box[2] && this.boxes[at + 2] >= box[0]
      && this.boxes[at + 1] <= box[3] && this.boxes[at + 3] >= box[1];
  }
}

/** A column of texts that repeat. */
class Column {
  constructor(coded) { this.text = coded.text; this.codes = coded.at; }

  at(id) { return this.text[this.codes ? this.codes[id] : id]; }
}

/** Things or lines that are drawn: shapes, the layer and tone of each, and whether it is shown. */
class Drawn {
  constructor(packed, bounds, layerOf, toneOf) {
    this.shapes = new Shapes(packed);
    this.net = new Net(this.shapes.boxes, bounds);
    this.layerOf = layerOf;
    this.toneOf = toneOf || (() => "");
    this.shown = new Uint8Array(this.shapes.count).fill(1);
  }
}

/** Things of one kind, with all that is known of each. */
class Kind extends Drawn {
  constructor(data, bounds) {
    const layer = new Column(data.layer), tone = new Column(data.tone);
    super(data.shapes, bounds, id => layer.at(id), id => tone.at(id));
    this.name = data.name;
    this.numbers = data.numbers;
    this.first = data.first; this.last = data.last; this.surveys = data.surveys;
    this.labels = data.labels;
    this.apart = data.apart;
    this.facts = Object.entries(data.facts).map(([name, coded]) => [name, new Column(coded)]);
    this.columns = data.columns.map(({ head, sort, ...coded }) =>
      ({ head, sort, text: new Column(coded) }));
    for (const name of ["lines", "history", "readings", "others"]) {
      this[name] = new Column(data[name]);
    }
  }

  /** Return all words by which a row is found, in small letters; made when first asked for. */
  searched(id) {
    if (!this.searches) this.searches = new Array(this.numbers.length);
    if (this.searches[id] === undefined) {
      const parts = this.columns.map(one => one.text.at(id));
      parts.push(this.numbers[id], this.others.at(id), this.history.at(id), this.readings.at(id));
      this.searches[id] = parts.join("\n").toLowerCase();
    }
    return this.searches[id];
  }
}
