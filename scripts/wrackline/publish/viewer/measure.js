// Measuring along several legs: corners of the plan are taken where one lies near.

const SNAP_PX = 9;

class Measuring {
  constructor(place, app) {
    this.place = place;
    this.app = app;
    this.corners = null;
  }

  get isOn() { return this.corners !== null; }

  turn(on) {
    this.corners = on ? [] : null;
    this.place.hidden = !on;
    this.show();
    if (on) this.app.say(words.measuring);
  }

  /** Take a place of the ground as the next corner, or a corner of the plan that lies near. */
  add(x, y) {
    this.corners.push(this.cornerNear(x, y) || [x, y]);
    this.show();
  }

  takeBack() {
    this.corners.pop();
    this.show();
  }

  cornerNear(x, y) {
    let least = SNAP_PX / this.app.plan.view.scale, found = null;
    const box = [x - least, y - least, x + least, y + least];
    for (const kind of this.app.model.kinds) {
      for (const id of kind.net.within(box)) {
        if (!this.app.isDrawn(kind, id)) continue;
        const [from, to] = kind.shapes.corners(id);
        for (let k = from; k < to; k += 1) {
          const corner = [kind.shapes.xy[2 * k], kind.shapes.xy[2 * k + 1]];
          const off = Math.hypot(corner[0] - x, corner[1] - y);
          if (off < least) [least, found] = [off, corner];
        }
      }
    }
    return found;
  }

  /** Return the legs: lengths in the grid and on the ground [m], azimuths from true north [°]. */
  legs() {
    return this.corners.slice(1).map(([x, y], k) => {
      const [fromX, fromY] = this.corners[k];
      const grid = Math.hypot(x - fromX, y - fromY) / 100;
      const azimuth = Math.atan2(x - fromX, y - fromY) * 180 / Math.PI + this.app.turn;
      return { grid, ground: grid / this.app.groundScale, azimuth: (azimuth + 360) % 360 };
    });
  }

  show() {
    this.app.plan.ask();
    if (!this.isOn) { this.place.replaceChildren(); return; }
    const legs = this.legs(), sum = key => legs.reduce((total, leg) => total + leg[key], 0);
    const total = { grid: sum("grid"), ground: sum("ground") };
    this.place.replaceChildren(
      this.table(legs, total),
      make("p", { class: "small screen" }, words.measuring),
      make("p", { class: "small" }, this.note()));
    if (legs.length) this.app.say(`${words.total} ${fixed(total.ground, 2)} m`);
  }

  table(legs, total) {
    const heads = ["leg", "in_grid", "on_ground", "azimuth"];
    const row = (name, cells) => make("tr", {}, make("th", { scope: "row" }, name),
      ...cells.map(cell => make("td", { class: "num" }, cell)));
    const lengths = leg => [fixed(leg.grid, 2), fixed(leg.ground, 2)];
    return make("table", { "aria-label": words.measure },
      make("thead", {}, make("tr", {},
        ...heads.map(key => make("th", { scope: "col" }, words[key])))),
      make("tbody", {},
        ...legs.map((leg, k) => row(k + 1, [...lengths(leg), fixed(leg.azimuth, 1)]))),
      make("tfoot", {}, row(words.total, [...lengths(total), ""])));
  }

  note() {
    const { turn, groundScale, plan } = this.app;
    return filled(data.place ? words.measure_note : words.measure_note_bare, {
      scale: fixed(groundScale, 6),
      turn: fixed(Math.abs(turn), 2),
      side: turn > 0 ? words.west : words.east,
      pixel: plainNumber(0.01 / plan.view.scale, 2),
    });
  }
}
