// That caution cards were shown or read is noted like everything else. It permits nothing and unlocks nothing.

import { newKey } from "./bench-queue.js";

export class Cautions {
  constructor({ cell, cards, queue, people }) { Object.assign(this, { cell, cards, queue, people, noted: new Set() }); }

  async note(read) {
    const { step } = this.cards.card.querySelector(".bench-cautions")?.dataset ?? {}, mark = `${step}|${read}`;
    if (!step || this.noted.has(mark)) return;
    this.noted.add(mark);
    const said = { step, read, at: new Date().toISOString() };
    await this.queue.add({ key: newKey(), kind: "caution", cell: this.cell, said, words: read ? "cautions read" : "cautions shown", ...this.people.credential() }, 0);
  }

  read(form) {
    form.closest("details").open = false;
    return this.note(true);
  }
}
