// Which cell lies there: asked after ten idle minutes; the tray of another cell is noticed, and its entries can move.

import { button, dialog, part, root } from "./bench-page.js";
import { newKey } from "./bench-queue.js";

const IDLE_MS = 600_000, TOUCHED = "bench-last-touch";

export class WhichCell {
  constructor({ cell, saying, queue, waiting, cards, go }) { Object.assign(this, { cell, saying, queue, waiting, cards, go }); }

  get idle() {
    const last = Number(localStorage.getItem(TOUCHED));
    return Boolean(last) && Date.now() - last > IDLE_MS;
  }

  touched() { localStorage.setItem(TOUCHED, Date.now()); }

  ask() {
    part("scan-said").textContent = "";
    part("scan-other").hidden = true;
    dialog("scan").showModal();
  }

  answered(text) {
    const code = text.trim().toUpperCase();
    if (code && this.cell.toUpperCase().endsWith(code)) {
      this.saying.recent = [];
      return this.stay();
    }
    return this.another(code.length > 4 ? code : this.cell.slice(0, -4) + code);
  }

  another(cell) {
    this.other = cell;
    part("scan-said").textContent = `This is ${cell.slice(-4)}, you were on ${this.cell.slice(-4)}`;
    part("switch").href = root.dataset.keep.replace("keep/", `${encodeURIComponent(cell)}/`) + `?card=${this.cards.card.dataset.card}`;
    const { recent } = this.saying;
    button("move").textContent = `Switch, and move ${recent.length} ${recent.length === 1 ? "entry" : "entries"}`;
    button("move").disabled = !recent.length;
    part("scan-other").hidden = false;
  }

  stay() {
    this.touched();
    dialog("scan").close();
  }

  // What still waits here is renamed; what was sent is withdrawn there as said of the wrong cell, and copied.
  async move() {
    const sent = [], waiting = new Map((await this.queue.all()).map((row) => [row.key, row]));
    for (const key of this.saying.recent) {
      const row = waiting.get(key);
      if (row?.state === "waiting" && await this.queue.takeBack(key)) await this.queue.add({ ...row, cell: this.other, key: newKey() }, 0);
      else sent.push(key);
    }
    if (sent.length) await this.queue.add({ key: newKey(), kind: "move", cell: this.other, targets: sent, words: `${sent.length} moved` }, 0);
    await this.waiting.flush(true);
    this.touched();
    this.go(part("switch").href);
  }
}
