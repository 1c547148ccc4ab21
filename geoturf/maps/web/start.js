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

// map.html#site=Lot%207&colour=phase opens at a site, in a colouring.
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

geoturf.missing = function ({ pieces, edges, context }) {
  const said = "Too many for this page; they are in layout.gpkg.";
  return {
    ...(pieces.withheld ? { pieces: "", seams: "" } : {}),
    ...(pieces.tooMany ? { pieces: said, seams: said } : {}),
    ...(edges.tooMany ? { edges: said } : {}),
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

geoturf.start(map_geoturf);
