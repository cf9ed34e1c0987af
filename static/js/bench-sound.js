// A spoken note: recorded on the tablet, at most a minute, kept there at once like a photograph. No machine listens to
// it; one line of what it says may be typed.

const LONGEST_S = 60;
const KINDS = ["audio/webm;codecs=opus", "audio/mp4", "audio/ogg;codecs=opus"];

export class Recorder {
  // `words(text)` shows how it goes; `done(blob, seconds)` is called once the note is whole.
  constructor({ words, done, changed }) { Object.assign(this, { words, done, changed, recorder: null }); }

  get runs() { return this.recorder !== null; }

  static get can() { return Boolean(globalThis.MediaRecorder && navigator.mediaDevices?.getUserMedia); }

  async begin() {
    if (this.runs) return;
    try {
      this.stream = await navigator.mediaDevices.getUserMedia({ audio: true });
    } catch {
      this.words("The microphone cannot be used here: allow it for this page, or write a note in words.");
      return;
    }
    const mimeType = KINDS.find((kind) => MediaRecorder.isTypeSupported(kind)), pieces = [];
    this.recorder = new MediaRecorder(this.stream, { ...(mimeType ? { mimeType } : {}), audioBitsPerSecond: 32000 });
    this.began = performance.now();
    this.recorder.addEventListener("dataavailable", (event) => { if (event.data.size) pieces.push(event.data); });
    this.recorder.addEventListener("stop", () => {
      const seconds = (performance.now() - this.began) / 1000, type = (this.recorder.mimeType || "audio/webm").split(";")[0];
      this.release();
      if (!this.dropped) this.done(new Blob(pieces, { type }), Math.round(seconds * 10) / 10);
    });
    this.dropped = false;
    this.recorder.start(1000);
    this.changed();
    this.clock = setInterval(() => this.tick(), 250);
    this.tick();
  }

  tick() {
    const ran = (performance.now() - this.began) / 1000;
    this.words(`${Math.floor(ran)} s spoken, ${Math.max(0, Math.ceil(LONGEST_S - ran))} s left`);
    if (ran >= LONGEST_S) this.end();
  }

  end() { if (this.recorder?.state === "recording") this.recorder.stop(); }

  drop() { this.dropped = true; this.end(); }

  release() {
    clearInterval(this.clock);
    this.stream.getTracks().forEach((track) => track.stop());
    this.recorder = null;
    this.changed();
  }
}
