// SHA-256 of a photograph, on the tablet, at once. Where the page was not loaded over HTTPS the browser keeps its own
// digests to itself; then these forty lines of FIPS 180-4 do it.

const K = [];
{
  const fraction = (x) => ((x - Math.floor(x)) * 2 ** 32) >>> 0;
  const primes = [];
  for (let n = 2; primes.length < 64; n += 1) if (primes.every((p) => n % p)) primes.push(n);
  K.start = primes.slice(0, 8).map((p) => fraction(Math.sqrt(p)));
  K.round = primes.map((p) => fraction(Math.cbrt(p)));
}

const turn = (x, n) => (x >>> n) | (x << (32 - n));

export function plainDigest(bytes) {
  const length = bytes.length;
  const blocks = new Uint8Array(((length + 8) >> 6 << 6) + 64);
  blocks.set(bytes);
  blocks[length] = 0x80;
  const view = new DataView(blocks.buffer);
  view.setUint32(blocks.length - 8, Math.floor(length / 2 ** 29));
  view.setUint32(blocks.length - 4, (length << 3) >>> 0);
  const h = [...K.start];
  const w = new Uint32Array(64);
  for (let at = 0; at < blocks.length; at += 64) {
    for (let i = 0; i < 16; i += 1) w[i] = view.getUint32(at + 4 * i);
    for (let i = 16; i < 64; i += 1) {
      const a = w[i - 15], b = w[i - 2];
      w[i] = w[i - 16] + w[i - 7] + (turn(a, 7) ^ turn(a, 18) ^ (a >>> 3)) + (turn(b, 17) ^ turn(b, 19) ^ (b >>> 10));
    }
    let [a, b, c, d, e, f, g, j] = h;
    for (let i = 0; i < 64; i += 1) {
      const first = (j + (turn(e, 6) ^ turn(e, 11) ^ turn(e, 25)) + ((e & f) ^ (~e & g)) + K.round[i] + w[i]) | 0;
      const second = ((turn(a, 2) ^ turn(a, 13) ^ turn(a, 22)) + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      j = g; g = f; f = e; e = (d + first) | 0; d = c; c = b; b = a; a = (first + second) | 0;
    }
    [a, b, c, d, e, f, g, j].forEach((x, i) => { h[i] = (h[i] + x) >>> 0; });
  }
  return h.map((x) => x.toString(16).padStart(8, "0")).join("");
}

export async function digest(blob) {
  const buffer = await blob.arrayBuffer();
  if (globalThis.crypto?.subtle) {
    const found = new Uint8Array(await crypto.subtle.digest("SHA-256", buffer));
    return [...found].map((b) => b.toString(16).padStart(2, "0")).join("");
  }
  return plainDigest(new Uint8Array(buffer));
}
