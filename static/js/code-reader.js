// Reads a code off a label: through the camera where the browser can read codes itself, else off a still that the
// server reads; without network it is typed, and its last character checks it. A reader stands beside the field that it
// fills; `reads-code` is told on the field when it is filled.

import { faultOf, plainCode } from "./code-characters.js";

const LONGEST_PX = 1600, EVERY_MS = 250;
const csrf = () => document.cookie.match(/(?:^|; )csrftoken=([^;]+)/)?.[1] ?? "";

// Some browsers name a detector and have none behind it.
const reads = async () => { try { return (await globalThis.BarcodeDetector?.getSupportedFormats())?.includes("qr_code") ?? false; } catch { return false; } };

class CodeReader {
  constructor(element) {
    Object.assign(this, { element, field: document.getElementById(element.dataset.reads), said: element.querySelector("[data-said]"), file: element.querySelector('input[type="file"]'), video: element.querySelector("video"), begin: element.querySelector("[data-camera]") });
    this.file.addEventListener("change", () => { const [still] = this.file.files; if (still) this.still(still); this.file.value = ""; });
    this.begin?.addEventListener("click", () => (this.stream ? this.stop() : this.camera()));
    reads().then((able) => { if (this.begin) this.begin.hidden = !(able && navigator.mediaDevices?.getUserMedia); });
    element.closest("dialog")?.addEventListener("close", () => this.stop());
    this.field.addEventListener("input", () => this.tell(""));
    this.field.addEventListener("change", () => { if (this.field.dataset.sampleCode !== undefined && this.field.value) this.tell(faultOf(this.field.value)); });
  }

  tell(words) { this.said.textContent = words; }

  async camera() {
    try {
      this.detector = new BarcodeDetector({ formats: ["qr_code"] });
      this.stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
      this.video.srcObject = this.stream;
      this.video.hidden = false;
      await this.video.play();
      this.begin.textContent = "stop the camera";
      this.tell("Hold the label before the camera.");
      this.look();
    } catch {
      this.stop();
      this.tell("The camera cannot be used here. Take a photograph of the label, or type the code.");
    }
  }

  async look() {
    while (this.stream) {
      const found = await this.detector.detect(this.video).catch(() => []);
      if (found.length && this.stream) { this.stop(); return this.fill(found[0].rawValue); }
      await new Promise((later) => setTimeout(later, EVERY_MS));
    }
    return null;
  }

  stop() {
    this.stream?.getTracks().forEach((track) => track.stop());
    this.stream = null;
    this.video.hidden = true;
    if (this.begin) this.begin.textContent = "read with the camera";
  }

  async still(file) {
    this.tell("Reading.");
    const own = await this.own(file);
    if (own) return this.fill(own);
    const body = new FormData();
    body.set("file", await smaller(file), "label.jpg");
    try {
      const response = await fetch(this.element.dataset.address, { method: "POST", body, headers: { "X-CSRFToken": csrf(), Accept: "application/json" }, credentials: "same-origin", redirect: "manual" });
      if (!response.ok && response.status !== 422) throw new Error("no answer");
      const { code, error } = await response.json();
      return code ? this.fill(code) : this.type(error);
    } catch {
      return this.type("Without the network a photograph cannot be read here. Type the code: its last character checks it.");
    }
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
    const canvas = Object.assign(document.createElement("canvas"), { width: Math.round(picture.width * scale), height: Math.round(picture.height * scale) });
    const pen = canvas.getContext("2d");
    pen.imageSmoothingQuality = "high";
    pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    return await new Promise((done) => canvas.toBlob((blob) => done(blob ?? file), "image/jpeg", 0.9));
  } catch { return file; }
}

for (const element of document.querySelectorAll("[data-reads]")) new CodeReader(element);
