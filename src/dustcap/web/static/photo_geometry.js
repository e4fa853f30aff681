// Millimetres to pixels and back by the matrix that the server worked out; null as long as there is none.

export function forth(matrix, [x, y]) {
  if (!matrix) return null;
  const [u, v, w] = matrix.map((row) => row[0] * x + row[1] * y + row[2]);
  return [u / w, v / w];
}

export function back(matrix, point) {
  return matrix ? forth(inverse(matrix), point) : null;
}

// Points as they stand in a form: "30 12; 52 12".
export function pairs(points, digits) {
  return points.map(([x, y]) => `${x.toFixed(digits)} ${y.toFixed(digits)}`).join("; ");
}

// The adjugate: a homography is known up to a factor.
function inverse([[a, b, c], [d, e, f], [g, h, i]]) {
  return [
    [e * i - f * h, c * h - b * i, b * f - c * e],
    [f * g - d * i, a * i - c * g, c * d - a * f],
    [d * h - e * g, b * g - a * h, a * e - b * d],
  ];
}
