// The screen of this tablet: how large 19 mm is on it, by a ruler laid on once; and wiping it without saying anything.

import { part } from "./bench-page.js";

const HELD = "bench-px-per-mm", LINE_MM = 50, KEY_MM = 19, LEAST_PX = 72, FITS_PX = 128, WIPE_S = 20;

export class Screen {
  constructor() {
    const scale = Number(localStorage.getItem(HELD));
    if (scale) this.sized(scale);
  }

  sized(scale) { document.documentElement.style.setProperty("--target", `${Math.max(LEAST_PX, Math.round(KEY_MM * scale))}px`); }

  ruler(by) {
    this.length = Math.max(80, (this.length ?? LINE_MM * (Number(localStorage.getItem(HELD)) || 96 / 25.4)) + by);
    part("ruler").style.width = `${this.length}px`;
    part("ruler-said").textContent = (KEY_MM * this.length) / LINE_MM > FITS_PX ? "On a screen as small as this some cards will need scrolling." : "";
  }

  ruled() {
    localStorage.setItem(HELD, String(this.length / LINE_MM));
    this.sized(this.length / LINE_MM);
  }

  wipe(left = WIPE_S) {
    part("wipe").hidden = left === 0;
    part("wipe-left").textContent = left;
    if (left) setTimeout(() => this.wipe(left - 1), 1000);
  }
}
