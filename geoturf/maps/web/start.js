// Puts the map and the panel together.
"use strict";

geoturf.start = function (map) {
  const scene = (geoturf.scene = geoturf.makeScene());
  const state = (geoturf.state = {
    site: -1, area: -1, piece: -1, colouring: 0, baseMap: false,
    layers: { areas: true, pieces: true, seams: true, edges: true, arrows: true, names: true, context: true },
  });
  const drawing = (geoturf.drawing = new geoturf.Drawing(scene, state));
  const whole = geoturf.bounds(map, geoturf.boxAround(scene.borders, [...Array(scene.count).keys()]));

  function pick({ site = -1, area = -1, piece = -1 }, go = false) {
    Object.assign(state, { site, area, piece });
    geoturf.fillPicked(scene, state, pick);
    if (go) map.fitBounds(geoturf.bounds(map, scene.siteBoxes[site]), { padding: [40, 40], maxZoom: 21, animate: false });
    drawing.redraw();
  }

  geoturf.fillBid(scene, pick);
  geoturf.fillLayers(state, geoturf.missing(scene), () => drawing.redraw());
  geoturf.setUpColourings(scene, state, drawing);
  geoturf.setUpFind(scene, pick);
  map.fitBounds(whole, { padding: [24, 24], maxZoom: 21, animate: false });
  geoturf.setUpControls(map, scene, whole);
  geoturf.setUpBaseMap(map, scene.bid, state, drawing);
  drawing.addTo(map);
  geoturf.setUpPointer(map, scene, pick);
  geoturf.setUpPrint(map, whole);
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") pick({});
  });
  geoturf.openAsAsked(scene, pick);
};

// map.html#site=Lot%207&colour=waste opens at a site, in a colouring.
geoturf.openAsAsked = function (scene, pick) {
  const asked = new URLSearchParams(location.hash.slice(1)), select = geoturf.byId("colouring");
  const colouring = scene.colourings.findIndex(({ key }) => key === asked.get("colour"));
  if (colouring >= 0) {
    select.value = String(colouring);
    select.dispatchEvent(new Event("change"));
  }
  const site = scene.siteNames.indexOf(asked.get("site"));
  if (site >= 0) pick({ site }, true);
};

geoturf.missing = function ({ pieces, context }) {
  const said = "Too many for this page; they are in layout.gpkg.";
  return {
    ...(pieces.tooMany ? { pieces: said, seams: said } : {}),
    ...(context.tooMany ? { context: "Too many for this page; they are in your own files." } : {}),
  };
};

geoturf.bounds = function (map, [left, top, right, bottom]) {
  if (!(right >= left)) return L.latLngBounds([[-60, -170], [70, 170]]);
  return L.latLngBounds(map.unproject([left, bottom], 0), map.unproject([right, top], 0));
};

geoturf.setUpColourings = function (scene, state, drawing) {
  const select = geoturf.byId("colouring");
  scene.colourings.forEach(({ label }, k) => select.append(geoturf.element("option", label, { value: k })));
  select.addEventListener("change", () => {
    state.colouring = Number(select.value);
    geoturf.fillLegend(scene.colourings[state.colouring]);
    drawing.redraw();
  });
  geoturf.fillLegend(scene.colourings[0]);
};

geoturf.setUpControls = function (map, scene, whole) {
  const us = scene.bid.units === "us";
  map.getContainer().setAttribute("aria-label", "Map of the areas of this bid");
  L.control.zoom({ position: "topright" }).addTo(map);
  L.control.scale({ position: "bottomleft", imperial: us, metric: !us, maxWidth: 160 }).addTo(map);
  const north = L.control({ position: "topright" });
  north.onAdd = () => {
    const box = geoturf.element("div", undefined, { class: "north", role: "img", "aria-label": "North is up" });
    box.append(geoturf.element("span", "▲"), geoturf.element("span", "N"));
    return box;
  };
  north.addTo(map);
  const all = L.control({ position: "topright" });
  all.onAdd = () => {
    const button = geoturf.element("button", "Whole bid", { type: "button", class: "whole" });
    L.DomEvent.disableClickPropagation(button);
    button.addEventListener("click", () => map.fitBounds(whole, { padding: [24, 24], maxZoom: 21 }));
    return button;
  };
  all.addTo(map);
};

geoturf.setUpBaseMap = function (map, bid, state, drawing) {
  const note = geoturf.byId("base-map-note");
  if (bid.baseMapRefused) note.textContent = "The bid's base map is no tile URL with {z}, {x} and {y}; it is left out.";
  if (!bid.baseMap) return;
  const tiles = L.tileLayer(bid.baseMap.url, { maxZoom: 24, maxNativeZoom: 19 });
  const credit = geoturf.element("p", bid.baseMap.credit, { class: "credit", dir: "auto" });
  let failed = 0, came = 0;
  const takeOff = () => {
    map.removeLayer(tiles);
    credit.remove();
    state.baseMap = false;
    note.textContent = "The base map did not load and was taken off. Nothing else depends on it.";
    drawing.redraw();
  };
  tiles.on("tileload", () => (came += 1));
  tiles.on("tileerror", () => {
    failed += 1;
    if (failed === 4) takeOff();
  });
  tiles.on("load", () => { // all are through: zoomed in there may be fewer than four
    if (came === 0 && failed > 0 && state.baseMap) takeOff();
  });
  state.baseMap = true;
  map.getContainer().append(credit);
  tiles.addTo(map);
};

geoturf.setUpPointer = function (map, scene, pick) {
  const hover = geoturf.byId("hover"), frame = map.getContainer();
  const under = (latlng) => {
    const { x, y } = map.project(latlng, 0);
    return { x, y, area: geoturf.areaAt(scene, x, y) };
  };
  map.on("click", ({ latlng }) => {
    const { x, y, area } = under(latlng);
    if (area < 0) return pick({});
    const detailed = geoturf.state.layers.pieces && geoturf.drawing.drawn.pieces > 0;
    return pick({ site: scene.siteOf[area], area, piece: detailed ? geoturf.pieceAt(scene, area, x, y) : -1 });
  });
  map.on("mousemove", ({ latlng, originalEvent }) => {
    const { area } = under(latlng);
    frame.classList.toggle("on-area", area >= 0);
    hover.hidden = area < 0;
    if (area < 0) return;
    hover.textContent = scene.siteNames[scene.siteOf[area]] + ", area " + scene.areaName(area);
    hover.style.left = Math.min(originalEvent.clientX + 14, window.innerWidth - hover.offsetWidth - 8) + "px";
    hover.style.top = originalEvent.clientY + 14 + "px";
  });
  map.on("mouseout movestart", () => (hover.hidden = true));
};

// On paper: the map in the sheet's width, everything else below it, lists unfolded.
geoturf.setUpPrint = function (map, whole) {
  let before = null;
  window.addEventListener("beforeprint", () => {
    before = { centre: map.getCenter(), zoom: map.getZoom(), bounds: map.getBounds(), open: [] };
    for (const details of document.querySelectorAll("details")) {
      before.open.push([details, details.open]);
      details.open = true;
    }
    document.body.classList.add("printing");
    map.invalidateSize({ animate: false });
    map.fitBounds(geoturf.common(before.bounds, whole), { padding: [12, 12], animate: false });
    geoturf.drawing.redraw();
  });
  window.addEventListener("afterprint", () => {
    document.body.classList.remove("printing");
    map.invalidateSize({ animate: false });
    map.setView(before.centre, before.zoom, { animate: false });
    for (const [details, open] of before.open) details.open = open;
  });
};

// What two bounds share; the first where they share nothing.
geoturf.common = function (one, other) {
  if (!one.intersects(other)) return one;
  return L.latLngBounds(
    [Math.max(one.getSouth(), other.getSouth()), Math.max(one.getWest(), other.getWest())],
    [Math.min(one.getNorth(), other.getNorth()), Math.min(one.getEast(), other.getEast())],
  );
};

geoturf.start(map_geoturf);
