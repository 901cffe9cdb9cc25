// Pitch as colour: a straight line in CIELAB from light yellow (level) to middle blue (60°), as in the report.

const LEVEL = [95, -3, 24];
const STEEP = [62.5, 0, -30];

export function linearRgb(pitchDeg: number): [number, number, number] {
  const share = Math.min(Math.max(pitchDeg / 60, 0), 1);
  const [l, a, b] = LEVEL.map((from, i) => from + share * (STEEP[i] - from));
  const y = (l + 16) / 116;
  const cube = (root: number) => (root > 6 / 29 ? root ** 3 : 3 * (6 / 29) ** 2 * (root - 4 / 29));
  const [X, Y, Z] = [0.95047 * cube(y + a / 500), cube(y), 1.08883 * cube(y - b / 200)];
  const rgb = [
    3.2404542 * X - 1.5371385 * Y - 0.4985314 * Z,
    -0.969266 * X + 1.8760108 * Y + 0.041556 * Z,
    0.0556434 * X - 0.2040259 * Y + 1.0572252 * Z,
  ];
  return rgb.map((c) => Math.min(Math.max(c, 0), 1)) as [number, number, number];
}

export function cssColour(pitchDeg: number): string {
  const encoded = linearRgb(pitchDeg).map((c) => (c <= 0.0031308 ? 12.92 * c : 1.055 * c ** (1 / 2.4) - 0.055));
  return "#" + encoded.map((c) => Math.round(255 * c).toString(16).padStart(2, "0")).join("");
}
