// What the canvas shows, from the bottom up: surroundings, what is picked, areas, pieces, seams, edges.
"use strict";

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
    let rollWidth = Infinity; // of some 4.5 m, in pixels: lines are finer where rolls are narrow on the screen
    pen.beginPath();
    for (const { k, detailed } of seen) {
      if (!detailed) continue;
      const pile = geoturf.pixelPile(scene, view, k);
      rollWidth = 450 * Math.hypot(pile.vx, pile.vy);
      for (let s = seamStart[k]; s < seamStart[k + 1]; s++) {
        if (seamCross[s] !== cross) continue;
        const [u, v, length] = seamRuns.subarray(3 * s, 3 * s + 3);
        const x = pile.x + u * pile.ux + v * pile.vx, y = pile.y + u * pile.uy + v * pile.vy;
        pen.moveTo(x, y);
        pen.lineTo(x + length * (cross ? pile.vx : pile.ux), y + length * (cross ? pile.vy : pile.uy));
      }
    }
    const style = cross ? geoturf.STYLE.cross : geoturf.STYLE.seam;
    geoturf.stroke(pen, { ...style, width: Math.min(style.width, Math.max(0.7, rollWidth / 14)) });
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
