// The part of the panel that tells the figures of what is picked.
"use strict";

// The figures of what is picked: a piece if one was clicked, its area, or a site with a button for each of its areas.
geoturf.fillPicked = function (scene, state, pick) {
  const box = geoturf.byId("picked");
  box.replaceChildren();
  box.hidden = state.site < 0;
  if (state.site < 0) return;
  const close = geoturf.element("button", "Close", { type: "button", class: "close" });
  close.addEventListener("click", () => pick({}));
  box.append(close, geoturf.element("h2", scene.siteNames[state.site], { dir: "auto" }));
  if (state.area >= 0) geoturf.fillArea(box, scene, state, pick);
  else geoturf.fillSite(box, scene, state, pick);
  geoturf.intoView(box);
};

geoturf.FIGURES_ROOM = 300; // pixels of the panel's height in which some ten figures can be read

// Scrolls the panel to what is picked where too little of it would be seen: on a small screen, or far down the panel.
geoturf.intoView = function (box) {
  const panel = geoturf.byId("panel").getBoundingClientRect(), { top } = box.getBoundingClientRect();
  if (top < panel.top || panel.bottom - top < geoturf.FIGURES_ROOM) box.scrollIntoView({ block: "start" });
};

geoturf.fillArea = function (box, scene, state, pick) {
  const back = geoturf.element("button", "The whole site", { type: "button" });
  back.addEventListener("click", () => pick({ site: state.site }));
  box.append(geoturf.element("h3", "Area " + scene.areaName(state.area), { dir: "auto" }));
  if (state.piece >= 0) {
    const list = geoturf.fillList(geoturf.element("dl", undefined, { class: "piece" }), geoturf.pieceRows(scene, state.piece));
    box.append(geoturf.element("h4", "The piece you clicked"), list, geoturf.element("h4", "The area"));
  }
  box.append(geoturf.fillList(geoturf.element("dl"), geoturf.rows(scene.figures, state.area)));
  if (scene.water) geoturf.fillWater(box, scene.water, state.area);
  box.append(back);
};

// The conversions on offer to an area, the chosen one unfolded.
geoturf.fillWater = function (box, water, area) {
  const from = water.start[area], to = water.start[area + 1];
  box.append(geoturf.element("h4", from < to ? "Water: conversions compared" : "Water: this area is not compared"));
  for (let k = from; k < to; k++) {
    const offer = geoturf.element("details"), title = water.title.words[water.title.codes[k]];
    offer.open = water.chosen[k] === 1;
    offer.append(geoturf.element("summary", title + (offer.open ? " (chosen)" : ""), { dir: "auto" }));
    offer.append(geoturf.fillList(geoturf.element("dl"), geoturf.rows(water.figures, k)));
    box.append(offer);
  }
};

geoturf.fillSite = function (box, scene, state, pick) {
  box.append(geoturf.fillList(geoturf.element("dl"), geoturf.rows(scene.siteFigures, state.site)));
  const list = geoturf.element("ul", undefined, { class: "areas", "aria-label": "Areas of this site" });
  for (const k of scene.areasOf[state.site]) {
    const item = geoturf.element("li");
    const button = geoturf.element("button", "Area " + scene.areaName(k), { type: "button", dir: "auto" });
    button.addEventListener("click", () => pick({ site: state.site, area: k }));
    item.append(button);
    list.append(item);
  }
  box.append(list);
};

geoturf.pieceRows = function (scene, p) {
  const { pieces } = scene;
  const measure = (name) => geoturf.number(pieces[name][p] / 100, 2) + "\u00a0" + pieces.unit;
  return [
    ["piece", pieces.name(p)],
    ["roll", pieces.roll.words[pieces.roll.codes[p]]],
    ["along the roll", measure("along")],
    ["across the roll", measure("across")],
    ["length as cut", measure("length")],
    ["width as cut", measure("width")],
  ];
};
