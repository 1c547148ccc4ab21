// The side panel. Whatever comes from the data is put in as a text node.
"use strict";

geoturf.element = function (tag, text, attributes = {}) {
  const out = document.createElement(tag);
  if (text !== undefined) out.textContent = text;
  for (const [name, value] of Object.entries(attributes)) out.setAttribute(name, value);
  return out;
};

geoturf.byId = (id) => document.getElementById(id);

geoturf.number = (value, digits) =>
  value.toLocaleString("en-US", { minimumFractionDigits: digits, maximumFractionDigits: digits });

// A column's value in row k as text with its unit; "" where it is not known.
geoturf.shown = function (column, k) {
  if (column.texts) return column.texts.words[column.texts.codes[k]];
  const written = column.numbers[k]; // 0: not known; those from 0 on are written one higher
  if (written === 0) return "";
  const value = (written > 0 ? written - 1 : written) / 10 ** column.digits;
  const gap = column.unit === "°" ? "" : "\u00a0";
  return geoturf.number(value, column.digits) + (column.unit ? gap + column.unit : "");
};

geoturf.fillList = function (list, rows) {
  list.replaceChildren();
  for (const [word, text] of rows) {
    if (text === "") continue;
    const row = geoturf.element("div");
    row.append(geoturf.element("dt", word, { dir: "auto" }), geoturf.element("dd", text, { dir: "auto" }));
    list.append(row);
  }
  return list;
};

geoturf.rows = (columns, k) => columns.map((c) => [c.label, geoturf.shown(c, k)]);

// A swatch of a line or a fill, drawn by attributes (the page's policy lets no inline style in).
geoturf.swatch = function (style) {
  const space = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(space, "svg");
  for (const [name, value] of [["width", 30], ["height", 16], ["viewBox", "0 0 30 16"], ["aria-hidden", "true"]]) {
    svg.setAttribute(name, value);
  }
  const add = (tag, attributes) => {
    const shape = document.createElementNS(space, tag);
    for (const [name, value] of Object.entries(attributes)) shape.setAttribute(name, value);
    svg.append(shape);
  };
  if (style.fill) add("rect", { x: 1, y: 1, width: 28, height: 14, rx: 2, fill: style.fill, stroke: "#5c6b62" });
  if (style.arrow) add("path", { d: "M5 8H25M19 3.5L25 8L19 12.5", fill: "none", stroke: "#1e2a28", "stroke-width": 2 });
  if (style.colour) {
    add("line", {
      x1: 1, x2: 29, y1: 8, y2: 8, stroke: style.colour,
      "stroke-width": style.width, "stroke-dasharray": style.dash.join(" "),
    });
  }
  return svg;
};

geoturf.fillBid = function (scene, pick) {
  const { bid } = scene;
  document.title = bid.title;
  geoturf.byId("bid-name").textContent = bid.name;
  geoturf.byId("audience").textContent = bid.note;
  geoturf.byId("audience").hidden = bid.note === "";
  geoturf.fillList(geoturf.byId("totals"), bid.totals);
  const banner = geoturf.byId("banner"), n = bid.leftOut;
  if (n > 0) {
    banner.textContent =
      (n === 1 ? "1 area is NOT PRICED" : geoturf.number(n, 0) + " areas are NOT PRICED") +
      ": left out of this bid and of this map." + (bid.findings ? " The findings say which and why." : "");
    banner.hidden = false;
  }
  geoturf.fillFindings(scene, pick);
  geoturf.byId("cautions-title").textContent = "Cautions: " + bid.cautions.length;
  geoturf.byId("cautions").hidden = bid.cautions.length === 0;
  const cautions = geoturf.byId("cautions-list");
  for (const text of bid.cautions) cautions.append(geoturf.element("li", text, { dir: "auto" }));
  geoturf.byId("credits").textContent = "Made by geoturf " + bid.version + ". Drawn with Leaflet " + L.version + ".";
};

geoturf.fillFindings = function ({ bid, siteNames }, pick) {
  geoturf.byId("findings").hidden = !bid.findings;
  if (!bid.findings) return;
  const counts = ["error", "warning", "note"]
    .filter((s) => bid.counts[s])
    .map((s) => geoturf.number(bid.counts[s], 0) + " " + s + (bid.counts[s] === 1 ? "" : "s"));
  geoturf.byId("findings-title").textContent = "Findings: " + (counts.join(", ") || "none");
  const list = geoturf.byId("findings-list"), siteOf = new Map(siteNames.map((name, k) => [name, k]));
  for (const { severity, site, text } of bid.findings) {
    const item = geoturf.element("li", undefined, { class: severity });
    item.append(geoturf.element("p", text, { dir: "auto" }));
    if (siteOf.has(site)) {
      const button = geoturf.element("button", "Show the site", { type: "button" });
      button.addEventListener("click", () => pick({ site: siteOf.get(site) }, true));
      item.append(button);
    }
    list.append(item);
  }
  const all = Object.values(bid.counts).reduce((a, b) => a + b, 0);
  if (all > bid.findings.length) {
    list.append(geoturf.element("li", geoturf.number(all - bid.findings.length, 0) + " more are in findings.csv"));
  }
};

geoturf.fillLegend = function (colouring) {
  const list = geoturf.byId("legend");
  list.replaceChildren();
  for (const { label, colour, count } of colouring.entries) {
    const item = geoturf.element("li");
    const areas = geoturf.number(count, 0) + (count === 1 ? " area" : " areas");
    item.append(geoturf.swatch({ fill: colour }), geoturf.element("span", label, { dir: "auto" }));
    item.append(geoturf.element("span", areas, { class: "quiet" }));
    list.append(item);
  }
};

geoturf.LAYERS = [
  ["areas", "areas", [{ fill: "#7aaa78" }]],
  ["pieces", "pieces, with their roll (when zoomed in)", [geoturf.STYLE.piece]],
  ["seams", "seams (line) and cross seams (dashes)", [geoturf.STYLE.seam, geoturf.STYLE.cross]],
  ["edges", "edges", geoturf.STYLE.edges],
  ["arrows", "pile direction", [{ arrow: true }]],
  ["names", "names of sites", []],
  ["context", "buildings and paving", [{ fill: "#ded8ca" }]],
];

// ``missing``: layers left out of the page because they would swell it, and where they are to be found; "" for those that
// this page is not to have.
geoturf.fillLayers = function (state, missing, changed) {
  const list = geoturf.byId("layers");
  for (const [key, words, styles] of geoturf.LAYERS) {
    if (missing[key] === "") continue;
    const item = geoturf.element("li"), label = geoturf.element("label");
    const box = geoturf.element("input", undefined, { type: "checkbox", id: "show-" + key });
    box.checked = state.layers[key];
    box.addEventListener("change", () => {
      state.layers[key] = box.checked;
      changed();
    });
    label.append(box, geoturf.element("span", words));
    if (styles.length <= 2) label.append(...styles.map(geoturf.swatch));
    item.append(label);
    if (styles.length > 2) item.append(geoturf.kinds(styles));
    if (missing[key]) {
      box.checked = state.layers[key] = false;
      box.disabled = true;
      item.append(geoturf.element("p", missing[key], { class: "quiet" }));
    }
    list.append(item);
  }
};

geoturf.kinds = function (styles) {
  const list = geoturf.element("ul", undefined, { class: "kinds" });
  for (const style of styles) {
    const item = geoturf.element("li");
    item.append(geoturf.swatch(style), geoturf.element("span", style.name));
    list.append(item);
  }
  return list;
};
