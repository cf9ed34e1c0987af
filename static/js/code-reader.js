// Reads a code off a label: through the camera, by the browser where it can read codes itself, else by the server, which
// is sent one frame after another; or off a still. Without network it is typed, and its last character checks it. A
// reader stands beside the field that it fills; `reads-code` is told on the field when it is filled.

import { faultOf, plainCode } from "./code-characters.js";

const LONGEST_PX = 1600, EVERY_MS = 250, SENT_EVERY_MS = 700, LOOKS_FOR_MS = 60_000;
const OFFLINE = "Without the network a photograph cannot be read here. Type the code: its last character checks it.";
const csrf = () => document.cookie.match(/(?:^|; )csrftoken=([^;]+)/)?.[1] ?? "";

// Some browsers name a detector and have none behind it.
const reads = async () => { try { return (await globalThis.BarcodeDetector?.getSupportedFormats())?.includes("qr_code") ?? false; } catch { return false; } };

class CodeReader {
  constructor(element) {
    Object.assign(this, { element, field: document.getElementById(element.dataset.reads), said: element.querySelector("[data-said]"), file: element.querySelector('input[type="file"]'), video: element.querySelector("video"), begin: element.querySelector("[data-camera]") });
    this.file.addEventListener("change", () => { const [still] = this.file.files; if (still) this.still(still); this.file.value = ""; });
    this.begin?.addEventListener("click", () => (this.stream ? this.stop() : this.camera()));
    if (this.begin) this.begin.hidden = !navigator.mediaDevices?.getUserMedia;
    element.closest("dialog")?.addEventListener("close", () => this.stop());
    this.field.addEventListener("input", () => this.tell(""));
    this.field.addEventListener("change", () => { if (this.field.dataset.sampleCode !== undefined && this.field.value) this.tell(faultOf(this.field.value)); });
  }

  tell(words) { this.said.textContent = words; }

  async camera() {
    try {
      this.detector = (await reads()) ? new BarcodeDetector({ formats: ["qr_code"] }) : null;
      this.stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment", width: { ideal: LONGEST_PX } } });
      this.video.srcObject = this.stream;
      this.video.hidden = false;
      await this.video.play();
      this.begin.textContent = "Stop the camera";
      this.tell("Hold the label before the camera.");
      this.look(performance.now());
    } catch {
      this.stop();
      this.tell("The camera cannot be used here. Take a photograph of the label, or type the code.");
    }
  }

  // Looks until something is read, somebody stops it, or a minute is over.
  async look(since) {
    while (this.stream) {
      const found = this.detector ? await this.detected() : await this.sent();
      if (!this.stream) return null;
      if (found) { this.stop(); return this.fill(found); }
      if (performance.now() - since > LOOKS_FOR_MS) { this.stop(); return this.type("Nothing was read in a minute. Take a photograph of the label, or type the code."); }
      await new Promise((later) => setTimeout(later, this.detector ? EVERY_MS : SENT_EVERY_MS));
    }
    return null;
  }

  async detected() { return (await this.detector.detect(this.video).catch(() => []))[0]?.rawValue; }

  // One frame at a time goes to the server; where it cannot be reached, the camera is of no use.
  async sent() {
    try {
      const { code } = await this.server(await frameOf(this.video));
      return code;
    } catch {
      if (this.stream) { this.stop(); this.type(OFFLINE); }
      return "";
    }
  }

  stop() {
    this.stream?.getTracks().forEach((track) => track.stop());
    this.stream = null;
    this.video.hidden = true;
    if (this.begin) this.begin.textContent = "Read with the camera";
  }

  async still(file) {
    this.tell("Reading.");
    const own = await this.own(file);
    if (own) return this.fill(own);
    try {
      const { code, error } = await this.server(await smaller(file));
      return code ? this.fill(code) : this.type(error);
    } catch {
      return this.type(OFFLINE);
    }
  }

  // Gives {code} or {error}; throws where the server gives no such answer.
  async server(picture) {
    const body = new FormData();
    body.set("file", picture, "label.jpg");
    const response = await fetch(this.element.dataset.address, { method: "POST", body, headers: { "X-CSRFToken": csrf(), Accept: "application/json" }, credentials: "same-origin", redirect: "manual" });
    if (!response.ok && response.status !== 422) throw new Error("no answer");
    return response.json();
  }

  async own(file) {
    if (!(await reads())) return "";
    try {
      const picture = await createImageBitmap(file), found = await new BarcodeDetector({ formats: ["qr_code"] }).detect(picture);
      picture.close();
      return found[0]?.rawValue ?? "";
    } catch { return ""; }
  }

  type(words) {
    this.tell(words);
    this.field.focus();
  }

  fill(text) {
    const plain = this.field.dataset.sampleCode === undefined ? text.trim() : plainCode(text);
    this.field.value = plain;
    this.tell(`Read: ${plain}.`);
    const fault = this.field.dataset.sampleCode === undefined ? "" : faultOf(plain);
    if (fault) return this.type(`Read: ${plain}. ${fault}`);
    this.field.dispatchEvent(new CustomEvent("reads-code", { bubbles: true, detail: plain }));
    return plain;
  }
}

// A label needs no twelve megapixels; a smaller picture is sooner there. What cannot be drawn goes as it is.
async function smaller(file) {
  try {
    const picture = await createImageBitmap(file), scale = Math.min(1, LONGEST_PX / Math.max(picture.width, picture.height));
    if (scale === 1) { picture.close(); return file; }
    const drawn = await jpegOf(picture, picture.width * scale, picture.height * scale);
    picture.close();
    return drawn ?? file;
  } catch { return file; }
}

function jpegOf(picture, width, height) {
  const canvas = Object.assign(document.createElement("canvas"), { width: Math.round(width), height: Math.round(height) });
  const pen = canvas.getContext("2d");
  pen.imageSmoothingQuality = "high";
  pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
  return new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.9));
}

async function frameOf(video) {
  const { videoWidth, videoHeight } = video, scale = Math.min(1, LONGEST_PX / Math.max(videoWidth, videoHeight));
  const frame = await jpegOf(video, videoWidth * scale, videoHeight * scale);
  if (!frame) throw new Error("no frame");
  return frame;
}

for (const element of document.querySelectorAll("[data-reads]")) new CodeReader(element);
