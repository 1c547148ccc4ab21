// What there is to draw and to ask, read once. Places are Web Mercator pixels at zoom 0.
"use strict";

geoturf.makeScene = function () {
  const areas = geoturf.read("geoturf-areas");
  const site = geoturf.words(areas.site);
  const scene = {
    bid: geoturf.read("geoturf-bid"),
    count: areas.count,
    siteNames: site.words,
    siteOf: site.codes,
    areaName: geoturf.ids(areas.area),
    borders: geoturf.shapes(areas.borders),
    inner: geoturf.points(areas.inner),
    figures: areas.figures.map(geoturf.makeColumn),
    siteFigures: areas.sites.map(geoturf.makeColumn),
    colourings: areas.colourings.map((c) => ({ ...c, codes: geoturf.ints(c.codes) })),
    pieces: geoturf.makePieces(geoturf.read("geoturf-pieces")),
    edges: geoturf.makeEdges(geoturf.read("geoturf-edges")),
    context: geoturf.makeContext(geoturf.read("geoturf-context")),
    water: geoturf.makeWater(geoturf.read("geoturf-water")),
  };
  scene.areasOf = scene.siteNames.map(() => []);
  for (let k = 0; k < scene.count; k++) scene.areasOf[scene.siteOf[k]].push(k);
  scene.siteBoxes = scene.areasOf.map((list) => geoturf.boxAround(scene.borders, list));
  return scene;
};

geoturf.makeColumn = (c) =>
  c.texts ? { ...c, texts: geoturf.words(c.texts) } : { ...c, numbers: geoturf.ints(c.numbers) };

geoturf.makePieces = function (data) {
  const pieces = {
    withheld: data.withheld,
    tooMany: data.tooMany,
    corner: geoturf.points(data.corners), // three an area: corner, 100 m along the pile, 100 m to its right
    laid: geoturf.ints(data.laid), // 1 where an area has turf
    start: geoturf.starts(geoturf.ints(data.counts)),
    box: geoturf.ints(data.boxes), // u, length, v, width in cm
    roll: geoturf.words(data.roll),
    name: geoturf.ids(data.piece),
    unit: data.cut.unit,
    seamStart: geoturf.starts(geoturf.ints(data.seams.counts)),
    seamCross: geoturf.ints(data.seams.cross),
    seamRuns: geoturf.ints(data.seams.runs), // u, v, length in cm; a seam runs along the pile, a cross seam across it
  };
  for (const name of ["along", "across", "length", "width"]) pieces[name] = geoturf.ints(data.cut[name]);
  return pieces;
};

geoturf.makeEdges = (data) => ({
  tooMany: data.tooMany,
  whole: geoturf.ints(data.whole),
  start: geoturf.starts(geoturf.ints(data.counts)),
  kind: geoturf.ints(data.kind),
  runs: geoturf.shapes(data.runs),
});

geoturf.makeContext = (data) => ({
  tooMany: data.tooMany,
  role: geoturf.ints(data.role),
  shapes: geoturf.shapes(data.shapes),
});

// Null where the bid compares no water.
geoturf.makeWater = (data) =>
  data.counts === undefined ? null : {
    start: geoturf.starts(geoturf.ints(data.counts)),
    title: geoturf.words(data.title),
    chosen: geoturf.ints(data.chosen),
    figures: data.figures.map(geoturf.makeColumn),
  };

geoturf.boxAround = function (shapes, list) {
  const out = [Infinity, Infinity, -Infinity, -Infinity];
  for (const k of list) {
    const at = 4 * k;
    out[0] = Math.min(out[0], shapes.box[at]);
    out[1] = Math.min(out[1], shapes.box[at + 1]);
    out[2] = Math.max(out[2], shapes.box[at + 2]);
    out[3] = Math.max(out[3], shapes.box[at + 3]);
  }
  return out;
};

// Corner and the two directions of an area's pieces, per centimetre.
geoturf.pileOf = function (scene, area) {
  const { x, y } = scene.pieces.corner, at = 3 * area;
  return {
    x: x[at], y: y[at],
    ux: (x[at + 1] - x[at]) / 1e4, uy: (y[at + 1] - y[at]) / 1e4,
    vx: (x[at + 2] - x[at]) / 1e4, vy: (y[at + 2] - y[at]) / 1e4,
  };
};

// The topmost area under a place, or -1.
geoturf.areaAt = function (scene, x, y) {
  const box = scene.borders.box;
  for (let k = scene.count - 1; k >= 0; k--) {
    const at = 4 * k;
    if (x < box[at] || y < box[at + 1] || x > box[at + 2] || y > box[at + 3]) continue;
    if (geoturf.inside(scene.borders, k, x, y)) return k;
  }
  return -1;
};

// Even-odd rule over all rings of an item: a hole is outside.
geoturf.inside = function (shapes, item, x, y) {
  let odd = false;
  for (let r = shapes.ring[item]; r < shapes.ring[item + 1]; r++) {
    const from = shapes.point[r], to = shapes.point[r + 1];
    for (let p = from, q = to - 1; p < to; q = p++) {
      if (shapes.y[p] > y !== shapes.y[q] > y) {
        const share = (y - shapes.y[p]) / (shapes.y[q] - shapes.y[p]);
        if (x < shapes.x[p] + share * (shapes.x[q] - shapes.x[p])) odd = !odd;
      }
    }
  }
  return odd;
};

// The piece of an area under a place, or -1.
geoturf.pieceAt = function (scene, area, x, y) {
  const pile = geoturf.pileOf(scene, area), box = scene.pieces.box;
  const turn = pile.ux * pile.vy - pile.uy * pile.vx;
  const dx = x - pile.x, dy = y - pile.y;
  const u = (dx * pile.vy - dy * pile.vx) / turn, v = (dy * pile.ux - dx * pile.uy) / turn;
  for (let p = scene.pieces.start[area]; p < scene.pieces.start[area + 1]; p++) {
    const at = 4 * p;
    if (u >= box[at] && u <= box[at] + box[at + 1] && v >= box[at + 2] && v <= box[at + 2] + box[at + 3]) return p;
  }
  return -1;
};
