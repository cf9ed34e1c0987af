// Notes beside what is asked: in words, or spoken and kept like a photograph, with a line that is typed of it.

import { digest } from "./bench-digest.js";
import { button, dialog, part, root } from "./bench-page.js";
import { newKey } from "./bench-queue.js";
import { Recorder } from "./bench-sound.js";

export class Notes {
  constructor({ cell, cards, saying, opened }) {
    Object.assign(this, { cell, cards, saying, opened });
    this.recorder = new Recorder({ words: (text) => { part("sound").textContent = text; }, done: (blob, seconds) => this.spoken(blob, seconds), changed: () => this.recording() });
    dialog("sound").addEventListener("cancel", (event) => { if (this.recorder.runs) event.preventDefault(); });
  }

  async written(form) {
    const text = form.note.value.trim();
    if (!text) return;
    await this.saying.add({ key: newKey(), kind: "entry", cell: this.cell, said: { ...this.saying.frame("note.words"), value: text }, words: text }, [], "Note");
    form.note.value = "";
    dialog("words").close();
  }

  show() {
    part("sound").textContent = Recorder.can ? "not recording" : "This browser cannot record here: it needs HTTPS and a microphone. Write a note in words.";
    button("speak").disabled = !Recorder.can;
    root.querySelector("[data-gist-form]").hidden = true;
    dialog("sound").showModal();
  }

  speak() {
    if (this.recorder.runs) return this.recorder.end();
    this.times = this.opened.moment();
    return this.recorder.begin();
  }

  drop() {
    this.recorder.drop();
    part("sound").textContent = "dropped, nothing is kept";
  }

  async spoken(blob, seconds) {
    const { times } = this, key = newKey(), name = `note.${blob.type.split("/")[1] ?? "webm"}`;
    const form = { cell: this.cell, name, sha256: await digest(blob), step: this.cards.step, ...this.opened.taken(times), seconds: String(seconds) };
    await this.saying.add({ key, kind: "audio", cell: this.cell, blob, form, words: `spoken note, ${Math.round(seconds)} s` }, [], "Spoken note");
    this.note = { key, times };
    part("sound").textContent = `${Math.round(seconds)} s kept here`;
    root.querySelector("[data-gist-form]").hidden = false;
  }

  // The line that is typed of a spoken note is an entry that names it, of the time when it was spoken.
  async gist(form) {
    const words = form.gist.value.trim();
    if (!words || !this.note) return;
    const said = { ...this.saying.frame("note.audio", this.note.times), value: words, audio: this.note.key };
    await this.saying.add({ key: newKey(), kind: "entry", cell: this.cell, said, words }, [], "The note says");
    this.note = null;
    form.gist.value = "";
    form.hidden = true;
    dialog("sound").close();
  }

  recording() {
    const { runs } = this.recorder;
    button("speak").textContent = runs ? "End" : "Begin";
    button("unspeak").disabled = !runs;
    button("quiet").disabled = runs;
  }
}
