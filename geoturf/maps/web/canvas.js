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
    map.on("moveend resize viewreset", this.redraw, this);
    map.on("zoomanim", this._zooming, this);
    this.redraw();
  },

  // While Leaflet animates a zoom the old picture is stretched; it is drawn anew when the zoom ends.
  _zooming(event) {
    const map = this._map;
    const scale = map.getZoomScale(event.zoom, this._zoom);
    L.DomUtil.setTransform(this._canvas, map._latLngToNewLayerPoint(this._corner, event.zoom, event.center), scale);
  },

  redraw() {
    const map = this._map, size = map.getSize();
    const pad = size.multiplyBy(0.15).round(); // drawn beyond the frame, for a short drag
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

geoturf.drawContext = function (scene, view) {
  const { shapes, role } = scene.context, { pen, scale, left, top, width, height } = view;
  for (const kind of [1, 2, 0]) { // paving below, buildings on top
    pen.beginPath();
    for (let k = 0; k < shapes.count; k++) {
      if (role[k] !== kind) continue;
      const at = 4 * k;
      const x0 = shapes.box[at] * scale - left, x1 = shapes.box[at + 2] * scale - left;
      const y0 = shapes.box[at + 1] * scale - top, y1 = shapes.box[at + 3] * scale - top;
      if (x1 < 0 || y1 < 0 || x0 > width || y0 > height || x1 - x0 + y1 - y0 < 3) continue;
      geoturf.trace(view, shapes, k, true);
    }
    pen.fillStyle = geoturf.STYLE.context[kind];
    pen.fill();
    geoturf.stroke(pen, { colour: geoturf.STYLE.contextLine, width: 0.6, dash: [] });
  }
};

geoturf.drawAreas = function (scene, view, state, seen) {
  const { pen } = view, { codes, entries } = scene.colourings[state.colouring];
  pen.globalAlpha = state.baseMap ? 0.72 : 1;
  for (const { k, size, x, y } of seen) {
    pen.fillStyle = entries[codes[k]].colour;
    if (size < 4) { // a dot that can be seen, however small the area is
      pen.fillRect(x + size / 2 - 1.5, y + size / 2 - 1.5, 3, 3);
      continue;
    }
    pen.beginPath();
    geoturf.trace(view, scene.borders, k, true);
    pen.fill("evenodd");
    if (size >= geoturf.ROOM.outline) geoturf.stroke(pen, { colour: "#5c6b62", width: 0.7, dash: [] });
  }
  pen.globalAlpha = 1;
};

// Pieces inside the border, and their overhang, which is trimmed off, faintly.
geoturf.drawPieces = function (scene, view, state, seen) {
  const { pen } = view;
  for (const { k, detailed } of seen) {
    if (!detailed) continue;
    pen.beginPath();
    geoturf.tracePieces(scene, view, k);
    pen.globalAlpha = 0.35;
    geoturf.stroke(pen, { colour: geoturf.STYLE.piece.colour, width: 0.7, dash: [2, 3] });
    pen.globalAlpha = 1;
    pen.save();
    pen.beginPath();
    geoturf.trace(view, scene.borders, k, true);
    pen.clip("evenodd");
    pen.beginPath();
    geoturf.tracePieces(scene, view, k);
    geoturf.stroke(pen, geoturf.STYLE.piece);
    if (state.piece >= scene.pieces.start[k] && state.piece < scene.pieces.start[k + 1]) {
      pen.beginPath();
      geoturf.tracePieces(scene, view, k, state.piece);
      pen.fillStyle = "rgba(255,253,247,0.55)";
      pen.fill();
    }
    pen.restore();
  }
};

geoturf.pixelPile = function (scene, view, area) {
  const pile = geoturf.pileOf(scene, area), s = view.scale;
  return {
    x: pile.x * s - view.left, y: pile.y * s - view.top,
    ux: pile.ux * s, uy: pile.uy * s, vx: pile.vx * s, vy: pile.vy * s,
  };
};

geoturf.tracePieces = function (scene, view, area, only = -1) {
  const { pen } = view, box = scene.pieces.box, pile = geoturf.pixelPile(scene, view, area);
  const from = only < 0 ? scene.pieces.start[area] : only, to = only < 0 ? scene.pieces.start[area + 1] : only + 1;
  for (let p = from; p < to; p++) {
    const [u, length, v, width] = box.subarray(4 * p, 4 * p + 4);
    const x = pile.x + u * pile.ux + v * pile.vx, y = pile.y + u * pile.uy + v * pile.vy;
    const ax = length * pile.ux, ay = length * pile.uy, bx = width * pile.vx, by = width * pile.vy;
    pen.moveTo(x, y);
    pen.lineTo(x + ax, y + ay);
    pen.lineTo(x + ax + bx, y + ay + by);
    pen.lineTo(x + bx, y + by);
    pen.closePath();
  }
};

geoturf.drawSeams = function (scene, view, seen) {
  const { pen } = view, { seamStart, seamCross, seamRuns } = scene.pieces;
  for (const cross of [0, 1]) {
    pen.beginPath();
    for (const { k, detailed } of seen) {
      if (!detailed) continue;
      const pile = geoturf.pixelPile(scene, view, k);
      for (let s = seamStart[k]; s < seamStart[k + 1]; s++) {
        if (seamCross[s] !== cross) continue;
        const [u, v, length] = seamRuns.subarray(3 * s, 3 * s + 3);
        const x = pile.x + u * pile.ux + v * pile.vx, y = pile.y + u * pile.uy + v * pile.vy;
        pen.moveTo(x, y);
        pen.lineTo(x + length * (cross ? pile.vx : pile.ux), y + length * (cross ? pile.vy : pile.uy));
      }
    }
    geoturf.stroke(pen, cross ? geoturf.STYLE.cross : geoturf.STYLE.seam);
  }
};

// One stroke an area: a path of thousands of runs would be joined before it is drawn, which takes seconds.
geoturf.drawEdges = function (scene, view, seen) {
  const { pen } = view, { whole, start, kind, runs } = scene.edges;
  geoturf.STYLE.edges.forEach((style, wanted) => {
    for (const { k, size } of seen) {
      if (size < geoturf.ROOM.edges || (whole[k] !== wanted && whole[k] !== -1)) continue;
      pen.beginPath();
      if (whole[k] === wanted) geoturf.trace(view, scene.borders, k, true);
      for (let r = start[k]; r < start[k + 1]; r++) {
        if (kind[r] === wanted) geoturf.trace(view, runs, r, false);
      }
      geoturf.stroke(pen, size < 140 ? { ...style, width: 0.6 * style.width } : style);
    }
  });
};

// A broad dark band around what is picked, under the areas, so that it hides no edge.
geoturf.drawPicked = function (scene, view, state) {
  if (state.site < 0) return;
  const { pen } = view;
  const band = (list, width) => {
    pen.beginPath();
    for (const k of list) geoturf.trace(view, scene.borders, k, true);
    pen.lineJoin = "round";
    geoturf.stroke(pen, { colour: geoturf.STYLE.ink, width, dash: [] });
  };
  band(scene.areasOf[state.site], 6);
  if (state.area >= 0) band([state.area], 11);
};
