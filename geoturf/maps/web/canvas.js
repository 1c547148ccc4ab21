// The map's own layer: one canvas that draws what is in view, in as much detail as there is room for.
"use strict";

geoturf.STYLE = {
  ink: "#1e2a28",
  paper: "#f6f3eb",
  halo: "rgba(255,253,247,0.92)",
  context: ["#ded8ca", "#ebe7dc", "#e4dccd"], // building, paving, exclude
  contextLine: "#bdb5a4",
  piece: { colour: "#52605c", width: 0.8, dash: [] },
  seam: { colour: "#23408e", width: 1.8, dash: [] },
  cross: { colour: "#9c2f5f", width: 2.4, dash: [4, 3] },
  edges: [
    { name: "along paving", colour: "#6d6a63", width: 3.2, dash: [] },
    { name: "along a building", colour: "#7b3f1d", width: 3.2, dash: [7, 2] },
    { name: "shared with other turf", colour: "#23408e", width: 2.4, dash: [1.5, 3.5] },
    { name: "open", colour: "#175c3a", width: 2, dash: [] },
  ],
};

// From how many pixels of an area's larger side on a detail is drawn.
geoturf.ROOM = { outline: 6, edges: 48, arrow: 48, pieces: 90, name: 40 };
geoturf.MOST = { pieces: 15000, names: 400, namedAtAnySize: 80 };

geoturf.Drawing = L.Layer.extend({
  initialize(scene, state) {
    this._scene = scene;
    this._state = state;
  },

  onAdd(map) {
    this._canvas = L.DomUtil.create("canvas", "leaflet-zoom-animated", map.getPane("overlayPane"));
    this._canvas.setAttribute("aria-hidden", "true");
    map.on("moveend resize viewreset zoom", this.redraw, this); // two fingers send many a zoom before the end of the move
    map.on("move", this._moving, this);
    map.on("zoomanim", this._zooming, this);
    this.redraw();
  },

  // A drag draws anew as soon as it comes past what is drawn beyond the frame.
  _moving() {
    const map = this._map;
    const seen = map.containerPointToLayerPoint([0, 0]).subtract(L.DomUtil.getPosition(this._canvas));
    const within = seen.x >= 0 && seen.y >= 0 && seen.x <= 2 * this._pad.x && seen.y <= 2 * this._pad.y;
    if (!within) this.redraw();
  },

  // While Leaflet animates a zoom the old picture is stretched; it is drawn anew when the zoom ends.
  _zooming(event) {
    const map = this._map;
    const scale = map.getZoomScale(event.zoom, this._zoom);
    L.DomUtil.setTransform(this._canvas, map._latLngToNewLayerPoint(this._corner, event.zoom, event.center), scale);
  },

  redraw() {
    const map = this._map, size = map.getSize();
    const pad = (this._pad = size.multiplyBy(0.15).round()); // drawn beyond the frame, for a short drag
    const topLeft = map.containerPointToLayerPoint(pad.multiplyBy(-1)).round();
    const width = size.x + 2 * pad.x, height = size.y + 2 * pad.y;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    this._zoom = map.getZoom();
    this._corner = map.layerPointToLatLng(topLeft);
    const canvas = this._canvas;
    canvas.width = width * ratio;
    canvas.height = height * ratio;
    canvas.style.width = width + "px";
    canvas.style.height = height + "px";
    L.DomUtil.setPosition(canvas, topLeft);
    const pen = canvas.getContext("2d");
    pen.scale(ratio, ratio);
    const origin = map.getPixelOrigin().add(topLeft);
    this._draw({ pen, width, height, scale: Math.pow(2, this._zoom), left: origin.x, top: origin.y, taken: [] });
  },

  _draw(view) {
    const { _scene: scene, _state: state } = this;
    const seen = geoturf.seen(scene, view, state);
    if (state.layers.context) geoturf.drawContext(scene, view);
    geoturf.drawPicked(scene, view, state);
    if (state.layers.areas) geoturf.drawAreas(scene, view, state, seen);
    if (state.layers.pieces) geoturf.drawPieces(scene, view, state, seen);
    if (state.layers.seams) geoturf.drawSeams(scene, view, seen);
    if (state.layers.edges) geoturf.drawEdges(scene, view, seen);
    if (state.layers.arrows) geoturf.drawArrows(scene, view, seen);
    if (state.layers.names) geoturf.drawSiteNames(scene, view, state);
    if (state.layers.pieces) geoturf.drawRollNames(scene, view, seen);
    this.drawn = { areas: seen.length, pieces: seen.pieces, names: view.taken.length };
  },
});

// Areas in view with their size in pixels, and whether there is room for their pieces.
geoturf.seen = function (scene, view, state) {
  const box = scene.borders.box, { scale, left, top, width, height } = view;
  const seen = [];
  seen.pieces = 0;
  for (let k = 0; k < scene.count; k++) {
    const at = 4 * k;
    const x0 = box[at] * scale - left, x1 = box[at + 2] * scale - left;
    const y0 = box[at + 1] * scale - top, y1 = box[at + 3] * scale - top;
    if (!(x1 > 0 && y1 > 0 && x0 < width && y0 < height)) continue;
    const size = Math.max(x1 - x0, y1 - y0);
    const asked = size >= geoturf.ROOM.pieces || (scene.siteOf[k] === state.site && size >= geoturf.ROOM.outline);
    const number = scene.pieces.start[k + 1] - scene.pieces.start[k];
    const detailed = asked && seen.pieces + number <= geoturf.MOST.pieces;
    if (detailed) seen.pieces += number;
    seen.push({ k, size, detailed, x: x0, y: y0 });
  }
  return seen;
};

// Puts an item's rings on the path, leaving out points nearer than half a pixel to the last.
geoturf.trace = function (view, shapes, item, close) {
  const { pen, scale, left, top } = view;
  for (let r = shapes.ring[item]; r < shapes.ring[item + 1]; r++) {
    let lastX = Infinity, lastY = Infinity;
    const to = shapes.point[r + 1];
    for (let p = shapes.point[r]; p < to; p++) {
      const x = shapes.x[p] * scale - left, y = shapes.y[p] * scale - top;
      if (lastX === Infinity) pen.moveTo(x, y);
      else if (p < to - 1 && Math.abs(x - lastX) + Math.abs(y - lastY) < 0.5) continue;
      else pen.lineTo(x, y);
      lastX = x;
      lastY = y;
    }
    if (close) pen.closePath();
  }
};

geoturf.stroke = function (pen, style) {
  pen.strokeStyle = style.colour;
  pen.lineWidth = style.width;
  pen.setLineDash(style.dash);
  pen.stroke();
};
