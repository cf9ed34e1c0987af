// How sharp a photograph is, worked out on the tablet from a small copy of it, so that another can be taken while the
// piece still lies there. The server works it out again from the original; its number is the one that is kept.

export const LONG_SIDE_PX = 1024, TILES = 8, FLAT = 36, BLURRED = 0.05;

// `grey` holds 0 to 255, row by row. Gives Laplacian over grey variance, the 90th percentile of its tiles, or null.
export function sharpness(grey, columns, rows) {
  const found = [];
  for (let r = 0; r < TILES; r += 1) for (let c = 0; c < TILES; c += 1) {
    const edge = (n, size) => Math.floor((n * size) / TILES), tile = [edge(r, rows), edge(r + 1, rows), edge(c, columns), edge(c + 1, columns)];
    const one = ofTile(grey, columns, tile);
    if (one !== null) found.push(one);
  }
  if (!found.length) return null;
  found.sort((a, b) => a - b);
  const at = 0.9 * (found.length - 1), low = Math.floor(at);
  return found[low] + (at - low) * ((found[low + 1] ?? found[low]) - found[low]);
}

function ofTile(grey, columns, [top, bottom, left, right]) {
  if (bottom - top < 3 || right - left < 3) return null;
  const spread = new Spread(), fine = new Spread();
  for (let y = top; y < bottom; y += 1) for (let x = left; x < right; x += 1) {
    const at = y * columns + x;
    spread.take(grey[at]);
    if (y > top && y < bottom - 1 && x > left && x < right - 1) fine.take(grey[at - columns] + grey[at + columns] + grey[at - 1] + grey[at + 1] - 4 * grey[at]);
  }
  return spread.variance > FLAT ? fine.variance / spread.variance : null;
}

class Spread {
  n = 0; mean = 0; squares = 0;

  take(value) { this.n += 1; const off = value - this.mean; this.mean += off / this.n; this.squares += off * (value - this.mean); }

  get variance() { return this.squares / this.n; }
}

// Gives null where this browser cannot draw the file (a TIFF): then only the server can tell.
export async function sharpnessOf(file) {
  try {
    const picture = await createImageBitmap(file), scale = Math.min(1, LONG_SIDE_PX / Math.max(picture.width, picture.height));
    const width = Math.max(1, Math.round(picture.width * scale)), height = Math.max(1, Math.round(picture.height * scale));
    const canvas = Object.assign(document.createElement("canvas"), { width, height }), pen = canvas.getContext("2d", { willReadFrequently: true });
    pen.imageSmoothingQuality = "high";
    pen.drawImage(picture, 0, 0, width, height);
    picture.close();
    const { data } = pen.getImageData(0, 0, width, height), grey = new Float32Array(width * height);
    for (let at = 0; at < grey.length; at += 1) grey[at] = 0.299 * data[4 * at] + 0.587 * data[4 * at + 1] + 0.114 * data[4 * at + 2];
    return sharpness(grey, width, height);
  } catch { return null; }
}
