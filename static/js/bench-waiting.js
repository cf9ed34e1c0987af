// What waits on this tablet and what the server has: counted in the head, listed in the tray, handed over as a file.

import { dialog, part, tell } from "./bench-page.js";

export class Waiting {
  // `known` is how much the page that came from the server knew of already.
  constructor({ queue, cards, known }) {
    Object.assign(this, { queue, cards, known, waits: 0 });
    document.getElementById("bench-file-in").addEventListener("change", async (event) => {
      try { tell(`${await queue.fromFile(event.target.files[0])} taken in.`); } catch (error) { tell(error.message, true); }
    });
  }

  // What this tablet holds lies over what the page from the server (perhaps an old one) knows.
  async overlay({ cell, loaded, opened }) {
    const done = [], { answers } = this.cards;
    for (const row of await this.queue.all()) {
      if (row.state === "sending") { row.state = "waiting"; await this.queue.put(row); }
      if (row.state === "kept" && row.kept_at < loaded) { done.push(row.key); continue; }
      if (row.cell !== cell) continue;
      for (const id of row.ids ?? []) answers.set(id, { said: row.words, key: row.target ?? row.key, value: row.value, sent: row.state === "kept" });
      if (row.said?.term === "opening.opened") opened({ at: Date.parse(row.said.observed_at), ms: row.said.device_ms, clock: row.said.clock });
    }
    if (done.length) await this.queue.forget(done);
  }

  async count() {
    const { waiting, refused, kept } = await this.queue.counts();
    const again = this.queue.trouble?.startsWith("Sign in") && waiting ? ", sign in again" : "";
    this.waits = waiting + refused;
    part("here").textContent = `${waiting} kept here${refused ? `, ${refused} to look at` : ""}${again}`;
    part("here").classList.toggle("waits", waiting + refused > 0);
    part("server").textContent = `${this.known + kept} kept on the server`;
  }

  async flush(now = false) {
    await this.queue.send({ now });
    for (const row of await this.queue.all()) for (const id of row.state === "kept" ? row.ids ?? [] : []) {
      const answer = this.cards.answers.get(id);
      if (answer?.key === row.key) answer.sent = true;
    }
  }

  async show() {
    await this.list();
    dialog("tray").showModal();
  }

  async list() {
    const rows = (await this.queue.all()).filter((row) => row.state !== "kept" && row.kind !== "caution");
    part("tray-sentence").textContent = rows.length ? this.queue.trouble || "These go to the server by themselves." : "Nothing waits here.";
    if (!isSecureContext) part("tray-sentence").append(" This address is not HTTPS: all of it is kept here just the same, but the page itself cannot start without the network.");
    part("tray").replaceChildren(...rows.map((row) => this.line(row)));
  }

  line(row) {
    const item = document.createElement("li"), text = document.createElement("span");
    const of = [row.what, row.said?.place].filter(Boolean).join(", ");
    text.textContent = `${row.cell}: ${of && `${of}: `}${row.words ?? row.kind}${row.sentences ? `. ${row.sentences.join(" ")}` : ""}`;
    text.classList.toggle("refused", row.state === "refused");
    item.append(text, ...(row.state === "refused" ? [this.again(row)] : []));
    return item;
  }

  // What was refused is sent again by a person: an unusual number once it was read twice.
  again(row) {
    const unusual = row.why === "unusual", again = Object.assign(document.createElement("button"), { className: "bench-button", textContent: unusual ? "I read it twice" : "Send again" });
    again.addEventListener("click", async () => {
      if (unusual) row.said.confirmed_unusual = true;
      await this.queue.put({ ...row, state: "waiting", not_before: 0, sentences: undefined });
      await this.sendNow();
    });
    return again;
  }

  async sendNow() {
    await this.flush(true);
    await this.list(); // whoever shut the tray meanwhile is not shown it again
  }

  async file() {
    const href = URL.createObjectURL(await this.queue.toFile());
    Object.assign(document.createElement("a"), { href, download: `bench-${new Date().toISOString().slice(0, 16)}.json` }).click();
  }
}
