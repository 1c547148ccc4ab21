// Pile arrows and names on the canvas. Names are drawn as text, where there is room, and never over one another.
"use strict";

geoturf.drawArrows = function (scene, view, seen) {
  const { pen, scale, left, top } = view;
  for (const { k, size } of seen) {
    if (size < geoturf.ROOM.arrow || !geoturf.isLaid(scene, k)) continue;
    const pile = geoturf.pixelPile(scene, view, k), norm = Math.hypot(pile.ux, pile.uy);
    if (!(norm > 0)) continue;
    const x = scene.inner.x[k] * scale - left, y = scene.inner.y[k] * scale - top;
    const half = Math.min(18, Math.max(8, size / 10));
    const dx = (half * pile.ux) / norm, dy = (half * pile.uy) / norm;
    pen.beginPath();
    pen.moveTo(x - dx, y - dy);
    pen.lineTo(x + dx, y + dy);
    pen.moveTo(x + 0.3 * dx - 0.4 * dy, y + 0.3 * dy + 0.4 * dx);
    pen.lineTo(x + dx, y + dy);
    pen.lineTo(x + 0.3 * dx + 0.4 * dy, y + 0.3 * dy - 0.4 * dx);
    pen.lineJoin = pen.lineCap = "round";
    geoturf.stroke(pen, { colour: geoturf.STYLE.halo, width: 5, dash: [] });
    geoturf.stroke(pen, { colour: geoturf.STYLE.ink, width: 2, dash: [] });
    pen.lineCap = "butt";
    view.taken.push([x - half, y - half, x + half, y + half]);
  }
};

// Whether turf is laid there.
geoturf.isLaid = function ({ pieces }, area) {
  return pieces.laid[area] > 0;
};

// Whether the box is free; if so it is taken.
geoturf.take = function (view, box) {
  for (const [x0, y0, x1, y1] of view.taken) {
    if (box[0] < x1 && box[2] > x0 && box[1] < y1 && box[3] > y0) return false;
  }
  view.taken.push(box);
  return true;
};

geoturf.shorten = function (text, most) {
  const letters = Array.from(text); // whole code points
  return letters.length > most ? letters.slice(0, most - 1).join("") + "…" : text;
};

// Sites in view with their boxes in pixels, the picked one first, so that it has its place.
geoturf.sitesSeen = function (scene, view, state) {
  const seen = [];
  scene.siteBoxes.forEach((box, site) => {
    const [x0, x1] = [box[0], box[2]].map((x) => x * view.scale - view.left);
    const [y0, y1] = [box[1], box[3]].map((y) => y * view.scale - view.top);
    if (!(x1 > 0 && y1 > 0 && x0 < view.width && y0 < view.height)) return;
    const named = { site, x: (x0 + x1) / 2, y0, y1, size: Math.max(x1 - x0, y1 - y0) };
    if (site === state.site) seen.unshift(named);
    else seen.push(named);
  });
  return seen;
};

// In the middle of a large site, under or over a small one. Where there are many sites small ones go without.
geoturf.drawSiteNames = function (scene, view, state) {
  const { pen } = view, seen = geoturf.sitesSeen(scene, view, state);
  pen.font = "600 12px system-ui, 'Segoe UI', Helvetica, Arial, sans-serif";
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  const least = seen.length > geoturf.MOST.namedAtAnySize ? geoturf.ROOM.name : 0;
  let drawn = 0;
  for (const { site, x, y0, y1, size } of seen) {
    if (drawn >= geoturf.MOST.names) break;
    if (size < least && site !== state.site) continue;
    const text = geoturf.shorten(scene.siteNames[site], 30), half = pen.measureText(text).width / 2 + 4;
    const middle = (y0 + y1) / 2;
    const places = y1 - y0 < 90 ? [y1 + 11, y0 - 11, middle] : [middle, middle - 26, middle + 26];
    const y = places.find((at) => geoturf.take(view, [x - half, at - 9, x + half, at + 9]));
    if (y === undefined) continue;
    geoturf.haloed(pen, text, x, y);
    drawn += 1;
  }
};

geoturf.haloed = function (pen, text, x, y) {
  pen.lineJoin = "round";
  pen.setLineDash([]);
  pen.lineWidth = 3;
  pen.strokeStyle = geoturf.STYLE.halo;
  pen.strokeText(text, x, y);
  pen.fillStyle = geoturf.STYLE.ink;
  pen.fillText(text, x, y);
};

// The roll's id along each piece that has the room for it, on turf: at the middle, or else nearer to an end.
geoturf.drawRollNames = function (scene, view, seen) {
  const { pen } = view, { roll, start } = scene.pieces;
  pen.font = "11px system-ui, 'Segoe UI', Helvetica, Arial, sans-serif";
  for (const { k, detailed } of seen) {
    if (!detailed) continue;
    const pile = geoturf.pixelPile(scene, view, k);
    for (let p = start[k]; p < start[k + 1]; p++) {
      const text = geoturf.shorten(roll.words[roll.codes[p]], 24);
      const at = geoturf.placeInPiece(scene, view, k, p, pile, pen.measureText(text).width / 2 + 2);
      if (!at) continue;
      pen.save();
      pen.translate(at.x, at.y);
      pen.rotate(at.angle);
      geoturf.haloed(pen, text, 0, 0);
      pen.restore();
    }
  }
};

// A free place for a text of a half width in a piece, and its angle; null where there is none.
geoturf.placeInPiece = function (scene, view, area, piece, pile, half) {
  const [u, length, v, width] = scene.pieces.box.subarray(4 * piece, 4 * piece + 4);
  const cm = Math.hypot(pile.ux, pile.uy), along = length >= width;
  if (Math.min(length, width) * cm < 13 || Math.max(length, width) * cm < 2 * half + 4) return null;
  let angle = along ? Math.atan2(pile.uy, pile.ux) : Math.atan2(pile.vy, pile.vx);
  if (Math.cos(angle) < -1e-9) angle += Math.PI; // never upside down
  const w = half * Math.abs(Math.cos(angle)) + 7 * Math.abs(Math.sin(angle));
  const h = half * Math.abs(Math.sin(angle)) + 7 * Math.abs(Math.cos(angle));
  for (const share of [0.5, 0.27, 0.73, 0.14, 0.86]) {
    const a = u + length * (along ? share : 0.5), b = v + width * (along ? 0.5 : share);
    const x = pile.x + a * pile.ux + b * pile.vx, y = pile.y + a * pile.uy + b * pile.vy;
    const onTurf = geoturf.inside(scene.borders, area, (x + view.left) / view.scale, (y + view.top) / view.scale);
    if (onTurf && geoturf.take(view, [x - w, y - h, x + w, y + h])) return { x, y, angle };
  }
  return null;
};
