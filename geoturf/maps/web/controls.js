// What stands on the map beside the drawing: controls, base map, pointer, and its way to paper.
"use strict";

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
