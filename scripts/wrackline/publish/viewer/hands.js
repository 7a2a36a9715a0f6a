// Mouse, fingers and keys on the plan.

const CLICK_PX = 4, TOUCH_PX = 10, STEP_PX = 80, FINE_PX = 8, CLOSER = 1.5;

/** One pointer moves the plan and picks, two bring it closer. */
class Pointers {
  constructor(canvas, app) {
    this.canvas = canvas;
    this.app = app;
    this.down = new Map();
    this.moved = 0;
    for (const name of ["pointerdown", "pointermove", "pointerup", "pointercancel"]) {
      canvas.addEventListener(name, event => this[name](event));
    }
    canvas.addEventListener("wheel", event => this.wheel(event), { passive: false });
  }

  at(event) {
    const box = this.canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  /** Return how far two fingers are apart, and the place between them. */
  pinch() {
    const [a, b] = [...this.down.values()];
    const between = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
    return [Math.hypot(a[0] - b[0], a[1] - b[1]), between];
  }

  reach(event) { return event.pointerType === "touch" ? TOUCH_PX : CLICK_PX; }

  pointerdown(event) {
    if (event.pointerType === "mouse" && event.button !== 0) return;
    if (!this.down.size) this.moved = 0;
    this.down.set(event.pointerId, this.at(event));
    this.canvas.setPointerCapture(event.pointerId);
  }

  pointermove(event) {
    const now = this.at(event), before = this.down.get(event.pointerId);
    if (!before) { this.app.tellPlace(...now); return; }
    const two = this.down.size === 2, apart = two ? this.pinch()[0] : 0;
    this.down.set(event.pointerId, now);
    this.moved += Math.hypot(now[0] - before[0], now[1] - before[1]);
    if (this.moved < this.reach(event)) return;
    const { size } = this.down;
    this.app.plan.move((now[0] - before[0]) / size, (now[1] - before[1]) / size);
    if (two && apart) {
      const [wider, between] = this.pinch();
      this.app.plan.zoom(wider / apart, ...between);
    }
  }

  pointerup(event) {
    if (!this.down.delete(event.pointerId) || this.down.size) return;
    if (this.moved < this.reach(event)) this.app.takePlace(...this.at(event), this.reach(event));
  }

  pointercancel(event) {
    this.down.delete(event.pointerId);
  }

  wheel(event) {
    event.preventDefault();
    const turned = event.deltaY * (event.deltaMode === 1 ? 20 : 1);
    const kept = Math.max(-200, Math.min(200, turned));
    this.app.plan.zoom(Math.exp(-kept / 350), ...this.at(event));
  }
}

/** Keys on the plan: the cross in its middle stands for the pointer. */
function useKeys(canvas, app) {
  const { plan, measuring } = app, middle = () => [plan.wide / 2, plan.tall / 2];
  const moves = { ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  const acts = {
    "+": () => plan.zoom(CLOSER),
    "=": () => plan.zoom(CLOSER),
    "-": () => plan.zoom(1 / CLOSER),
    0: () => plan.whole(),
    Enter: () => app.takePlace(...middle(), CLICK_PX),
    Backspace: () => measuring.isOn && measuring.takeBack(),
    Escape: () => (measuring.isOn ? app.measure(false) : app.letGo()),
    m: () => app.measure(!measuring.isOn),
    M: () => app.measure(!measuring.isOn),
  };
  canvas.addEventListener("keydown", event => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const step = event.shiftKey ? FINE_PX : STEP_PX;
    if (moves[event.key]) plan.move(...moves[event.key].map(way => way * step));
    else if (acts[event.key]) acts[event.key]();
    else return;
    event.preventDefault();
    app.tellPlace(...middle());
  });
  for (const name of ["focus", "blur"]) canvas.addEventListener(name, () => plan.ask());
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
  const open = tab => openTab(tab.id.replace("tab-", ""));
  tabs.forEach((tab, k) => {
    tab.addEventListener("click", () => open(tab));
    tab.addEventListener("keydown", event => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!step) return;
      const next = tabs[(k + step + tabs.length) % tabs.length];
      open(next);
      next.focus();
      event.preventDefault();
    });
  });
  open(tabs[0]);
}

/** Pick the thing that the page's address names, such as viewer.html#R051-038. */
function useAddress(app) {
  const wanted = decodeURIComponent(location.hash.slice(1));
  const thing = app.numbered(wanted);
  if (thing) app.pickRow(...thing);
}
