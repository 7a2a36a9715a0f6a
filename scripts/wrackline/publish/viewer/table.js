// The table beside the plan: one kind of things, filtered and sorted. Only rows in sight are there.

const ROW_PX = 28, SPARE_ROWS = 6, WIDEST_CH = 30;

class ThingTable {
  constructor(place, app) {
    this.place = place;
    this.app = app;
    this.kind = app.model.kinds[0];
    this.sorted = null;
    this.up = true;
    this.active = 0;
    this.rows = [];
    this.build();
    if (this.kind) this.show(this.kind);
  }

  build() {
    const { kinds } = this.app.model;
    const options = kinds.map((kind, k) =>
      make("option", { value: k }, data.kind_words[kind.name][1]));
    this.kinds = make("select", { id: "things" }, ...options);
    this.kinds.addEventListener("change", () => this.show(kinds[this.kinds.value]));
    const asks = { "aria-label": words.filter_label, placeholder: words.filter };
    this.filter = make("input", { type: "search", id: "filter", ...asks });
    this.filter.addEventListener("input", () => this.renew());
    this.count = make("span", { id: "count", role: "status" });
    this.scroller = make("div", { class: "scroller" });
    this.scroller.addEventListener("scroll", () => this.fill());
    const label = make("label", { for: "things" }, words.things);
    const bar = make("div", { class: "bar" }, label, this.kinds, this.filter, this.count);
    this.place.append(bar, this.scroller);
    new ResizeObserver(() => this.fill()).observe(this.scroller);
  }

  /** Show another kind of things, in the order of their numbers. */
  show(kind) {
    this.kind = kind;
    this.kinds.value = this.app.model.kinds.indexOf(kind);
    this.sorted = null;
    this.up = true;
    this.table = this.frame();
    this.scroller.replaceChildren(this.table);
    this.renew();
  }

  /** Return the columns: the number first. */
  get columns() {
    const number = { head: words.number, sort: null, text: { at: id => this.kind.numbers[id] } };
    return [number, ...this.kind.columns];
  }

  frame() {
    const { columns } = this, [, kinds] = data.kind_words[this.kind.name];
    const widths = columns.map(column => this.widest(column));
    const cols = widths.map(wide => make("col"));
    cols.forEach((col, k) => { col.style.width = `${widths[k]}ch`; });
    this.heads = columns.map((column, k) => this.head(column, k));
    this.body = make("tbody");
    this.body.addEventListener("keydown", event => this.key(event));
    this.body.addEventListener("click", event => this.click(event));
    const label = filled(words.table_label, { kinds });
    const table = make("table", { role: "grid", "aria-label": label },
      make("colgroup", {}, ...cols),
      make("thead", {}, make("tr", { "aria-rowindex": 1 }, ...this.heads)),
      this.body);
    table.style.width = `${widths.reduce((sum, wide) => sum + wide + 1, 0)}ch`;
    return table;
  }

  head(column, k) {
    const label = filled(words.sort_by, { column: column.head });
    const sorter = button(column.head, () => this.sortBy(k), { "aria-label": label });
    return make("th", { scope: "col", role: "columnheader" }, sorter);
  }

  widest(column) {
    let most = column.head.length + 2;
    for (let id = 0; id < this.kind.numbers.length; id += 1) {
      most = Math.max(most, column.text.at(id).length);
    }
    return Math.min(most, WIDEST_CH) + 2;
  }

  /** Choose and order the rows anew. */
  renew() {
    if (!this.kind) return;
    const { kind } = this, wanted = this.filter.value.trim().toLowerCase();
    this.rows = [];
    for (let id = 0; id < kind.numbers.length; id += 1) {
      if (kind.shown[id] && (!wanted || kind.searched(id).includes(wanted))) this.rows.push(id);
    }
    if (this.sorted !== null) this.order();
    this.active = 0;
    const counts = { shown: this.rows.length, all: kind.numbers.length };
    this.count.textContent = filled(words.count, counts);
    this.table.setAttribute("aria-rowcount", this.rows.length + 1);
    this.scroller.scrollTop = 0;
    this.fill(true);
  }

  sortBy(k) {
    this.up = this.sorted === k ? !this.up : true;
    this.sorted = k;
    this.heads.forEach((head, at) => {
      if (at === k) head.setAttribute("aria-sort", this.up ? "ascending" : "descending");
      else head.removeAttribute("aria-sort");
    });
    this.app.say(this.up ? words.sorted_up : words.sorted_down);
    this.renew();
  }

  /** Sort numbers as numbers and texts as texts; what is not known comes last both ways. */
  order() {
    const { sort, text } = this.columns[this.sorted], way = this.up ? 1 : -1;
    const key = id => (sort ? sort[id] : text.at(id) || null);
    this.rows.sort((a, b) => {
      const x = key(a), y = key(b);
      if (x === null || y === null) return (x === null) - (y === null) || a - b;
      return way * ((x > y) - (x < y)) || a - b;
    });
  }

  /** Put the rows in sight into the page, space above and below standing for the others. */
  fill(anew = false) {
    if (!this.body) return;
    const tall = this.scroller.clientHeight || 300;
    const first = Math.max(0, Math.floor(this.scroller.scrollTop / ROW_PX) - SPARE_ROWS);
    const last = Math.min(this.rows.length, first + Math.ceil(tall / ROW_PX) + 2 * SPARE_ROWS);
    if (!anew && first === this.first && last === this.last) return;
    [this.first, this.last] = [first, last];
    const held = this.body.contains(document.activeElement);
    const rows = [];
    for (let at = first; at < last; at += 1) rows.push(this.row(at));
    this.body.replaceChildren(this.space(first), ...rows, this.space(this.rows.length - last));
    if (held) this.focus();
  }

  space(count) {
    const cell = make("td", { colspan: this.columns.length });
    const row = make("tr", { class: "space", "aria-hidden": "true" }, cell);
    row.style.height = `${count * ROW_PX}px`;
    row.hidden = count === 0;
    return row;
  }

  row(at) {
    const id = this.rows[at], picked = this.app.isPicked(this.kind, id);
    const cells = this.columns.map((column, k) => this.cell(column, k, id));
    return make("tr", {
      role: "row", "aria-rowindex": at + 2, "data-at": at, "aria-selected": picked,
      tabindex: at === this.active ? 0 : -1, class: picked ? "picked" : null,
    }, ...cells);
  }

  cell(column, k, id) {
    const text = column.text.at(id), role = k ? "gridcell" : "rowheader";
    const look = { class: column.sort ? "num" : null, dir: "auto", title: text };
    return make(k ? "td" : "th", { role, ...look }, text);
  }

  click(event) {
    const row = event.target.closest("tr[data-at]");
    if (!row) return;
    this.active = Number(row.dataset.at);
    this.app.pickRow(this.kind, this.rows[this.active]);
    this.focus();
  }

  key(event) {
    const page = Math.max(1, Math.floor(this.scroller.clientHeight / ROW_PX) - 2);
    const steps = {
      ...{ ArrowDown: 1, ArrowUp: -1, PageDown: page, PageUp: -page },
      ...{ Home: -Infinity, End: Infinity },
    };
    if (event.key in steps) {
      this.active = Math.max(0, Math.min(this.rows.length - 1, this.active + steps[event.key]));
      this.reveal(this.active);
      this.focus();
    } else if (event.key === "Enter" || event.key === " ") {
      this.app.pickRow(this.kind, this.rows[this.active]);
      this.focus();
    } else {
      return;
    }
    event.preventDefault();
  }

  /** Scroll so that a row is in sight, below the heads. */
  reveal(at) {
    const head = this.table.tHead.offsetHeight, tall = this.scroller.clientHeight - head - ROW_PX;
    const top = at * ROW_PX;
    if (top < this.scroller.scrollTop) this.scroller.scrollTop = top;
    if (top > this.scroller.scrollTop + tall) this.scroller.scrollTop = top - tall;
    this.fill(true);
  }

  focus() {
    this.body.querySelectorAll("tr[data-at]").forEach(row => {
      const mine = Number(row.dataset.at) === this.active;
      row.tabIndex = mine ? 0 : -1;
      if (mine) row.focus({ preventScroll: true });
    });
  }

  /** Show the row of a thing that was picked on the plan. */
  follow(kind, id) {
    if (kind !== this.kind) this.show(kind);
    if (!this.rows.includes(id) && this.filter.value) { this.filter.value = ""; this.renew(); }
    const at = this.rows.indexOf(id);
    if (at < 0) { this.fill(true); return; }
    this.active = at;
    this.reveal(at);
  }
}
