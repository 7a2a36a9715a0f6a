// What is told of a picked thing, and the parts beside the plan. Every text becomes a text node.

/** Return an element with attributes, and inside it texts and elements. */
function make(name, attributes = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key === "onclick") made.addEventListener("click", value);
    else if (value !== null && value !== undefined) made.setAttribute(key, value);
  }
  made.append(...inside);
  return made;
}

function button(text, act, attributes = {}) {
  return make("button", { type: "button", onclick: act, ...attributes }, text);
}

/** Fill names in braces into a sentence. */
function filled(sentence, values) {
  return sentence.replace(/\{(\w+)\}/g, (_, name) => values[name]);
}

function fixed(value, digits) {
  return value.toFixed(digits).replace(".", words.decimal);
}

function kindName(kind, number) {
  return filled(words.picked, { kind: data.kind_words[kind.name][0], number });
}

/** Return a text in which every number of another thing leads to it. */
function linked(text, app, own) {
  const parts = [];
  let last = 0;
  for (const { 0: word, index } of text.matchAll(/[^\s,;:→()]+/g)) {
    const thing = word === own ? undefined : app.numbered(word);
    if (!thing) continue;
    const way = button(word, () => app.pickRow(...thing), { class: "link" });
    parts.push(text.slice(last, index), way);
    last = index + word.length;
  }
  return [...parts, text.slice(last)];
}

/** Return names and what is said of them as a list; `parts` turns a text into what is shown. */
function factList(facts, parts = text => [text]) {
  const list = make("dl");
  for (const [name, text] of facts) {
    const said = make("dd", { dir: "auto" }, ...parts(text));
    list.append(make("div", {}, make("dt", {}, name), said));
  }
  return list;
}

/** Return a heading and the lines under it; nothing where there is no line. */
function told(heading, lines, parts) {
  if (!lines.length) return [];
  const items = lines.map(line => make("li", { dir: "auto" }, ...parts(line)));
  return [make("h3", {}, heading), make("ul", {}, ...items)];
}

/** Return the surveys that a thing rests on: technique, dates, file, and which of their lines. */
function sourceList(kind, id) {
  const rows = kind.surveys[id].map(place => data.surveys[place]);
  if (!rows.length) return [];
  const facts = rows.map(row => [row.name, [row.technique, row.dates, row.file].join("\n")]);
  if (kind.lines.at(id)) facts.push([words.lines, kind.lines.at(id)]);
  return [make("h3", {}, words.sources), factList(facts)];
}

function historyLines(kind, id) {
  const first = data.seasons[kind.first[id]], last = data.seasons[kind.last[id]];
  const since = first && last ? [filled(words.since, { first, last })] : [];
  const others = kind.others.at(id) ? [`${words.others}: ${kind.others.at(id)}`] : [];
  return [...since, ...others, ...kind.history.at(id).split("\n").filter(Boolean)];
}

/** Show what is known of a thing, and what else lies at the place that was picked. */
function showFigures(place, picked, beside, app) {
  place.replaceChildren();
  if (!picked) {
    place.append(make("p", {}, words.nothing_picked), make("p", { class: "small" }, words.keys));
    return;
  }
  const [kind, id] = picked, number = kind.numbers[id];
  const all = kind.facts.map(([name, column]) => [name, column.at(id)]);
  const facts = all.filter(([, text]) => text), parts = text => linked(text, app, number);
  place.append(make("h2", { id: "picked", tabindex: -1 }, kindName(kind, number)));
  if (!app.isDrawn(kind, id)) place.append(make("p", { class: "note" }, words.hidden_now));
  place.append(factList(facts, parts));
  const readings = kind.readings.at(id).split("\n").filter(Boolean);
  place.append(...told(words.read_as, readings, text => [text]));
  place.append(...sourceList(kind, id));
  place.append(...told(words.history, historyLines(kind, id), parts));
  place.append(make("p", { class: "screen" }, button(words.show, () => app.goTo(kind, id))));
  if (beside.length) {
    const here = [...beside, picked];
    const others = beside.map(([other, at]) =>
      button(kindName(other, other.numbers[at]), () => app.pick(other, at, here)));
    place.append(
      make("h3", { class: "screen" }, words.also_here),
      make("p", { class: "others screen" }, ...others));
  }
  place.append(make("p", { class: "small screen" }, words.figures_note));
}

/** Show the statement: what stands beside every figure, and where the site lies. */
function showAbout(place) {
  const topics = data.place
    ? [...data.place.about.slice(0, 1), [words.grid_name, data.place.crs_name],
      ...data.place.about.slice(1), ...data.about]
    : data.about;
  place.replaceChildren(
    make("h2", {}, data.site),
    factList(topics),
    make("p", {}, data.place ? words.upright : `${words.upright_bare} ${words.no_place}`),
    make("p", { class: "small" }, words.figures_note),
    make("p", { class: "small screen" }, words.keys));
}

/** Return a check box with its label. */
function tick(text, on, change, sample) {
  const box = make("input", { type: "checkbox" });
  box.checked = on;
  box.addEventListener("change", () => change(box.checked));
  return make("label", {}, box, ...(sample ? [sample] : []), make("span", {}, text));
}

/** Return a sample of a sign, drawn as the plan draws it. */
function sample(layer, tone) {
  const size = { width: 68, height: 32 };
  const sheet = make("canvas", { class: "sample", "aria-hidden": "true", ...size });
  const ink = sheet.getContext("2d"), sign = (SIGNS[layer] || {})[tone];
  ink.dense = 2;
  ink.scale(2, 2);
  if (sign) signSample(ink, sign);
  else if (OTHER_SAMPLES[layer]) OTHER_SAMPLES[layer](ink);
  return sheet;
}

function signSample(ink, sign) {
  if (sign.mark === "level") { mark(ink, sign, 17, 13, 1); return; }
  const line = on => { on.moveTo(1, 8); on.lineTo(33, 8); };
  const area = on => on.rect(2, 2, 30, 12);
  paint(ink, sign, sign.fill || sign.hatch ? area : line, sign.mark ? [[17, 8]] : []);
}

const OTHER_SAMPLES = {
  relief: ink => {
    const tones = ink.createLinearGradient(2, 2, 32, 14);
    tones.addColorStop(0, "#5a5a5a");
    tones.addColorStop(0.5, "#ffffff");
    tones.addColorStop(1, "#8a8a8a");
    ink.fillStyle = tones;
    ink.fillRect(2, 2, 30, 12);
  },
  grid: ink => {
    ink.beginPath();
    ink.moveTo(12, 0); ink.lineTo(12, 16); ink.moveTo(0, 8); ink.lineTo(34, 8);
    strokeWith(ink, "#b9b9b9", 1);
  },
  numbers: ink => {
    ink.font = `11px ${FACE}`;
    ink.fillText("R1", 9, 12);
  },
};

/** Return what a layer is called; of named levels also their names, since all look alike. */
function layerName(layer) {
  const { texts = [] } = (layer === "waterlines" && data.lines[layer]) || {};
  const names = [...new Set(texts.map(([, , , text]) => text))];
  return names.length ? `${data.layers[layer]}: ${names.join(", ")}` : data.layers[layer];
}

/** Return a layer's row: whether it is drawn, with a sample of each of its signs. */
function layerRow(layer, tones, app) {
  const row = make("li", { "data-layer": layer }), alone = tones.length < 2;
  const on = app.model.on.has(layer), mark = alone ? sample(layer, tones[0] || "") : null;
  const change = drawn => {
    app.turnLayer(layer, drawn);
    row.classList.toggle("off", !drawn);
  };
  row.append(tick(layerName(layer), on, change, mark));
  row.classList.toggle("off", !on);
  if (!alone) {
    const parts = tones.map(tone =>
      make("li", {}, sample(layer, tone), make("span", {}, data.tones[tone] || tone)));
    row.append(make("ul", { class: "tones" }, ...parts));
  }
  return row;
}

/** Return check boxes for values of which any number may be ticked. */
function choices(heading, values, chosen, change) {
  const boxes = values.map(value => tick(value, true, on => {
    if (on) chosen.add(value); else chosen.delete(value);
    change();
  }));
  const all = on => {
    chosen.clear();
    if (on) values.forEach(value => chosen.add(value));
    boxes.forEach(box => { box.querySelector("input").checked = on; });
    change();
  };
  const both = [button(words.all, () => all(true)), button(words.none, () => all(false))];
  return make("fieldset", {},
    make("legend", {}, heading), make("p", { class: "others" }, ...both), ...boxes);
}

/** Return the list of seasons; the plan is shown as far as it was known after the chosen one. */
function seasonList(app) {
  const options = data.seasons.map(name => make("option", { value: name }, name));
  const list = make("select", { id: "after" }, ...options);
  list.value = data.seasons[app.choice.after] || "";
  list.addEventListener("change", () => {
    app.choice.after = data.seasons.indexOf(list.value);
    app.choose();
  });
  return list;
}

/** Show layers with their signs, and the choice of seasons and techniques. */
function showLayers(place, app) {
  const { seasons, techniques } = app.choice, change = () => app.choose();
  const rows = app.layersThere().map(([layer, tones]) => layerRow(layer, tones, app));
  place.replaceChildren(
    make("div", { class: "choice" },
      make("p", {}, make("label", { for: "after" }, words.seasons), " ", seasonList(app)),
      make("p", { class: "small" }, words.seasons_note)),
    make("h2", {}, words.layers),
    make("ul", { class: "layers" }, ...rows),
    make("div", { class: "choice" },
      make("h3", {}, words.surveys),
      make("p", { class: "small" }, words.surveys_note),
      choices(words.by_season, [...seasons], seasons, change),
      choices(words.by_technique, [...techniques].sort(), techniques, change)));
}
