// Photographs of the step: kept here with their digest and their times, labelled later. They come from the camera of
// the tablet, from a file, or from the live view that stays open over the card.

import { digest } from "./bench-digest.js";
import { all, button, dialog, part, tell } from "./bench-page.js";
import { newKey } from "./bench-queue.js";
import { BLURRED, sharpnessOf } from "./bench-sharp.js";

const WIDEST = 4096, QUALITY = 0.95;

export class Pictures {
  constructor({ cell, cards, saying, opened }) {
    Object.assign(this, { cell, cards, saying, opened, frame: "", input: document.getElementById("shutter"), stream: null });
    this.input.addEventListener("change", async () => {
      const files = [...this.input.files], { frame } = this;
      this.frame = "";
      await this.keep(files, frame);
      this.input.value = "";
    });
    dialog("live").addEventListener("close", () => this.shut());
  }

  // Opens the camera of the tablet, or the choice of a file, for a named frame or for none.
  ask(frame = "") {
    this.frame = frame;
    this.input.click();
  }

  async keep(files, frame = "") {
    for (const file of files) {
      const times = this.opened.taken(), key = newKey();
      const form = { cell: this.cell, name: file.name, sha256: await digest(file), step: this.cards.step, ...times, ...(frame ? { frame } : {}) };
      const measured = await sharpnessOf(file);
      if (frame) this.cards.answers.set(`frame|${frame}`, { said: "taken" });
      await this.saying.add({ key, kind: "photograph", cell: this.cell, blob: file, form, words: frame || "photograph" }, [], frame || "Photograph");
      if (measured !== null && measured < BLURRED) this.blurred(frame);
    }
    this.cards.mark();
  }

  // It is kept in any case: whether another is worth it is for who stands there.
  blurred(frame) {
    tell("It looks blurred: take another? This one is kept.");
    button("another").hidden = false;
    button("another").dataset.again = frame;
  }

  // --- the live view -----------------------------------------------------------------------------------------------

  async live() {
    const video = part("live"), say = (words) => { part("live-said").textContent = words; };
    dialog("live").showModal();
    button("snap").disabled = true;
    say("Opening the camera.");
    try {
      const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment", width: { ideal: WIDEST } } });
      if (!dialog("live").open) { stream.getTracks().forEach((track) => track.stop()); return; }
      this.stream = stream;
      video.srcObject = stream;
      video.hidden = false;
      await video.play();
      button("snap").disabled = false;
      say(`${video.videoWidth} × ${video.videoHeight} px. Label and scale in the frame, square on.`);
    } catch {
      this.shut();
      say("There is no live view here: it needs HTTPS, a camera, and leave to use it. “Photograph” takes pictures all the same.");
    }
  }

  async snap() {
    const video = part("live"), canvas = Object.assign(document.createElement("canvas"), { width: video.videoWidth, height: video.videoHeight });
    canvas.getContext("2d").drawImage(video, 0, 0);
    const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));
    await this.keep([new File([blob], "live.jpg", { type: blob.type })]);
    part("live-said").textContent = part("said-words").textContent;
  }

  shut() {
    this.stream?.getTracks().forEach((track) => track.stop());
    this.stream = null;
    all("video", dialog("live")).forEach((video) => { video.srcObject = null; video.hidden = true; });
  }
}
