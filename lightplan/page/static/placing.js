// Where a spot of the sheet lies in a photograph, and the other way round.
// The sheet: from its far left corner, shares of its width and height. The photograph: shares of its own.

const AROUND = [[0, 0], [1, 0], [1, 1], [0, 1]]; // far left, far right, near right, near left

// The projective map that takes the unit square to four corners (P. Heckbert, 1989).
function squareTo(corners) {
  const [[x0, y0], [x1, y1], [x2, y2], [x3, y3]] = corners;
  const [sx, sy] = [x0 - x1 + x2 - x3, y0 - y1 + y2 - y3];
  const [ax, ay, bx, by] = [x1 - x2, y1 - y2, x3 - x2, y3 - y2];
  const whole = ax * by - bx * ay;
  const g = (sx * by - bx * sy) / whole;
  const k = (ax * sy - sx * ay) / whole;
  return [x1 - x0 + g * x1, x3 - x0 + k * x3, x0, y1 - y0 + g * y1, y3 - y0 + k * y3, y0, g, k, 1];
}

function inverse([a, b, c, d, e, f, g, k, i]) {
  return [e * i - f * k, c * k - b * i, b * f - c * e, f * g - d * i, a * i - c * g, c * d - a * f, d * k - e * g, b * g - a * k, a * e - b * d];
}

function through([a, b, c, d, e, f, g, k, i], [x, y]) {
  const w = g * x + k * y + i;
  return [(a * x + b * y + c) / w, (d * x + e * y + f) / w];
}

const corners = (placed) => placed.corners.map(([row, col]) => [col / placed.cols, row / placed.rows]);

export const toPhoto = (placed, spot) => through(squareTo(corners(placed)), spot);
export const toSheet = (placed, spot) => through(inverse(squareTo(corners(placed))), spot);
export const outline = (placed) => AROUND.map((corner) => toPhoto(placed, corner));

// Where a fault lies on the sheet, as the measures tell it: from the middle, away from you and to the right.
export const spotOf = ([x, y], sheet) => [x / sheet.width_mm + 0.5, 0.5 - y / sheet.height_mm];

// The same spot of the sheet in another photograph; of the picture where no sheet was found in one.
export function sameSpot(from, to, spot) {
  if (!from || !to) return spot;
  return toPhoto(to, toSheet(from, spot)).map((share) => Math.min(1, Math.max(0, share)));
}
