// A lane's line as columns of pixels: each from the least to the greatest that it holds.
// Must never lose a peak nor bridge a gap. Used by plot.js, which has uPlot for all the rest: filling
// such a path as a shape takes a browser that draws in software ten times as long.

const THICK_PX = 1.3;
const POINT_PX = 4;

const scratch = document.createElement("canvas");
let tops = new Float32Array(0); // of each column, the greatest; downwards as on the screen
let bottoms = new Float32Array(0);

function begin(width) {
  if (tops.length < width) {
    tops = new Float32Array(width);
    bottoms = new Float32Array(width);
  }
  tops.fill(Infinity);
  bottoms.fill(-Infinity);
}

function widen(column, top, bottom) {
  if (top < tops[column]) tops[column] = top;
  if (bottom > bottoms[column]) bottoms[column] = bottom;
}

// What is between two points, over every column that it crosses.
function join(width, a, b) {
  const first = Math.max(Math.floor(a.x), 0);
  const last = Math.min(Math.floor(b.x), width - 1);
  const wide = b.x - a.x || 1;
  for (let column = first; column <= last; column += 1) {
    const from = Math.max((column - a.x) / wide, 0);
    const to = Math.min((column + 1 - a.x) / wide, 1);
    const topFrom = a.top + (b.top - a.top) * from;
    const topTo = a.top + (b.top - a.top) * to;
    const bottomFrom = a.bottom + (b.bottom - a.bottom) * from;
    const bottomTo = a.bottom + (b.bottom - a.bottom) * to;
    widen(column, Math.min(topFrom, topTo), Math.max(bottomFrom, bottomTo));
  }
}

function step(width, a, b) {
  join(width, a, { ...a, x: b.x });
  join(width, { ...a, x: b.x }, b);
}

// Fills the columns; `shape` has width, height, stepped and the scales x and y.
function fill([x, low, high], shape) {
  const perX = shape.width / (shape.x.max - shape.x.min);
  const perY = shape.height / (shape.y.max - shape.y.min);
  let before = null;
  for (let i = 0; i < x.length; i += 1) {
    if (low[i] === null) {
      before = shape.stepped ? before : null;
      continue;
    }
    const point = { x: (x[i] - shape.x.min) * perX, top: (shape.y.max - high[i]) * perY,
      bottom: (shape.y.max - low[i]) * perY };
    if (before && shape.stepped) step(shape.width, before, point);
    else if (before) join(shape.width, before, point);
    else join(shape.width, point, point);
    before = point;
  }
}

// The same as wide as the line is thick, where a pixel of the screen is less than that.
function thicken(width, by) {
  for (let round = 0; round < by; round += 1) {
    let top = Infinity;
    let bottom = -Infinity;
    for (let column = 0; column < width; column += 1) {
      const [ownTop, ownBottom] = [tops[column], bottoms[column]];
      const next = column + 1 < width ? column + 1 : column;
      widen(column, Math.min(top, tops[next]), Math.max(bottom, bottoms[next]));
      [top, bottom] = [ownTop, ownBottom];
    }
  }
}

// One column: its edge in full, its inside (where both neighbours are inside too) lighter.
function paintColumn(pixels, shape, column, paint) {
  const { width, height } = shape;
  const half = paint.thick / 2;
  const top = Math.max(tops[column] - half, 0);
  const bottom = Math.min(bottoms[column] + half, height);
  const left = Math.max(column - 1, 0);
  const right = Math.min(column + 1, width - 1);
  const insideTop = Math.max(tops[left], tops[column], tops[right]) + half;
  const insideBottom = Math.min(bottoms[left], bottoms[column], bottoms[right]) - half;
  for (let row = Math.floor(top); row < bottom; row += 1) {
    const covered = Math.min(row + 1, bottom) - Math.max(row, top);
    const part = row >= insideTop && row + 1 <= insideBottom ? paint.inside : covered;
    pixels[row * width + column] = paint.rgb | (Math.round(part * 255) << 24);
  }
}

function paintPoints(pixels, [x, low], shape, paint) {
  const { width, height } = shape;
  const size = Math.round(POINT_PX * paint.ratio);
  for (let i = 0; i < x.length; i += 1) {
    if (low[i] === null) continue;
    const left = Math.round(((x[i] - shape.x.min) / (shape.x.max - shape.x.min)) * width - size / 2);
    const top = Math.round(((shape.y.max - low[i]) / (shape.y.max - shape.y.min)) * height - size / 2);
    for (let row = Math.max(top, 0); row < Math.min(top + size, height); row += 1) {
      const to = Math.min(left + size, width);
      if (to > 0) pixels.fill(paint.rgb | (255 << 24), row * width + Math.max(left, 0), row * width + to);
    }
  }
}

// "#rrggbb" as the pixels have it: red lowest.
function rgbOf(colour) {
  const [red, green, blue] = [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16));
  return red | (green << 8) | (blue << 16);
}

// Draws data [x, low, high] into the plot's box. `look`: colour, inside (how dense), stepped, points.
export function drawColumns(plot, data, look) {
  const { left, top, width, height } = plot.bbox;
  const ratio = devicePixelRatio;
  const shape = { width, height, stepped: look.stepped, x: plot.scales.x, y: plot.scales.y };
  const paint = { rgb: rgbOf(look.colour), inside: look.inside, thick: THICK_PX * ratio, ratio };
  if (width < 1 || height < 1 || !(shape.x.max > shape.x.min) || !(shape.y.max > shape.y.min)) return;
  begin(width);
  fill(data, shape);
  thicken(width, Math.round((paint.thick - 1) / 2));
  const image = new ImageData(width, height);
  const pixels = new Int32Array(image.data.buffer);
  for (let column = 0; column < width; column += 1) {
    if (bottoms[column] >= tops[column]) paintColumn(pixels, shape, column, paint);
  }
  if (look.points) paintPoints(pixels, data, shape, paint);
  scratch.width = width;
  scratch.height = height;
  scratch.getContext("2d").putImageData(image, 0, 0);
  plot.ctx.drawImage(scratch, left, top);
}
