// From the page's data blocks back to numbers and shapes. The other half of encode.py.
"use strict";

const geoturf = {};

geoturf.read = (id) => JSON.parse(document.getElementById(id).textContent);

// Base64 of zigzag varints -> Float64Array of whole numbers (beyond 32 bits, so no shifts).
geoturf.ints = function (text) {
  const bytes = atob(text);
  const out = new Float64Array(bytes.length);
  let n = 0, value = 0, weight = 1;
  for (let k = 0; k < bytes.length; k++) {
    const byte = bytes.charCodeAt(k);
    value += (byte & 127) * weight;
    if (byte > 127) {
      weight *= 128;
    } else {
      out[n++] = value % 2 ? -(value + 1) / 2 : value / 2;
      value = 0;
      weight = 1;
    }
  }
  return out.slice(0, n);
};

// Counts -> where each one's run starts; one more entry than counts.
geoturf.starts = function (counts) {
  const out = new Int32Array(counts.length + 1);
  for (let k = 0; k < counts.length; k++) out[k + 1] = out[k] + counts[k];
  return out;
};

// Delta-coded 1e-7 degrees (longitude, latitude in turn) -> pixels of Web Mercator at zoom 0.
geoturf.points = function (text) {
  const deltas = geoturf.ints(text);
  const x = new Float64Array(deltas.length / 2), y = new Float64Array(deltas.length / 2);
  let lon = 0, lat = 0;
  for (let k = 0; k < x.length; k++) {
    lon += deltas[2 * k];
    lat += deltas[2 * k + 1];
    const sine = Math.sin((lat * 1e-7 * Math.PI) / 180);
    x[k] = 256 * ((lon * 1e-7) / 360 + 0.5);
    y[k] = 256 * (0.5 - Math.log((1 + sine) / (1 - sine)) / (4 * Math.PI));
  }
  return { x, y };
};

// Shapes: item -> rings (or parts) -> points, and the box of each item (left, top, right, bottom).
geoturf.shapes = function (columns) {
  const shapes = geoturf.points(columns.at);
  shapes.ring = geoturf.starts(geoturf.ints(columns.rings));
  shapes.point = geoturf.starts(geoturf.ints(columns.points));
  shapes.count = shapes.ring.length - 1;
  shapes.box = new Float64Array(4 * shapes.count);
  for (let k = 0; k < shapes.count; k++) {
    const from = shapes.point[shapes.ring[k]], to = shapes.point[shapes.ring[k + 1]];
    let left = Infinity, top = Infinity, right = -Infinity, bottom = -Infinity;
    for (let p = from; p < to; p++) {
      const x = shapes.x[p], y = shapes.y[p];
      if (x < left) left = x;
      if (x > right) right = x;
      if (y < top) top = y;
      if (y > bottom) bottom = y;
    }
    shapes.box.set([left, top, right, bottom], 4 * k);
  }
  return shapes;
};

geoturf.words = (column) => ({ words: column.words, codes: geoturf.ints(column.codes) });

// Ids: a stem and a number with its leading zeros. A function of the row, since most are never asked for.
geoturf.ids = function ({ stems, codes, numbers }) {
  const stem = geoturf.ints(codes), number = geoturf.ints(numbers);
  for (let k = 1; k < number.length; k++) number[k] += number[k - 1];
  return (k) => {
    const [word, digits] = stems[stem[k] || 0];
    return digits ? word + String(number[k]).padStart(digits, "0") : word;
  };
};
