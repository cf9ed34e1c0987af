// The number pad of the bench: keys that a glove can hit, a draft that survives an interruption.

const KEYS = ["7", "8", "9", "back", "4", "5", "6", "minus", "1", "2", "3", ".", "0", "clear", "keep"];
const WORDS = { back: "←", minus: "−", clear: "Clear", keep: "Keep" };
const NAMES = { back: "take the last digit away", minus: "minus sign", ".": "decimal point" };

export class Pad {
  constructor(ask, { draftKey, keep }) {
    this.field = ask.querySelector(".bench-display");
    this.draftKey = draftKey;
    this.field.readOnly = matchMedia("(pointer: coarse)").matches;
    this.field.form?.querySelector('[name="twice"]')?.setAttribute("tabindex", "-1");
    const pad = document.createElement("div");
    pad.className = "bench-pad";
    for (const key of KEYS) {
      const button = Object.assign(document.createElement("button"), { type: "button", textContent: WORDS[key] ?? key, className: "bench-button" });
      if (NAMES[key]) button.setAttribute("aria-label", NAMES[key]);
      if (key === "keep") button.classList.add("strong", "keep");
      button.dataset.key = key;
      pad.append(button);
    }
    pad.addEventListener("click", (event) => {
      const key = event.target.closest("[data-key]")?.dataset.key;
      if (key === "keep") keep(this.field.value);
      else if (key) this.press(key);
    });
    this.field.addEventListener("input", () => this.save());
    this.field.closest(".bench-number").append(pad);
  }

  press(key) {
    const text = this.field.value;
    if (key === "back") this.field.value = text.slice(0, -1);
    else if (key === "clear") this.field.value = "";
    else if (key === "minus") this.field.value = text.startsWith("-") ? text.slice(1) : `-${text}`;
    else if (key !== "." || !/[.,]/.test(text)) this.field.value = text + key;
    this.save();
  }

  save() {
    if (this.field.value) localStorage.setItem(this.draftKey(), this.field.value);
    else localStorage.removeItem(this.draftKey());
  }

  recall() { this.field.value = localStorage.getItem(this.draftKey()) ?? ""; }

  empty() { this.field.value = ""; localStorage.removeItem(this.draftKey()); }
}

// One number with point or comma, as the server reads it; NaN for anything else.
export const numberOf = (text) => (/^-?(\d+([.,]\d*)?|[.,]\d+)$/.test(text.trim()) ? Number(text.trim().replace(",", ".")) : NaN);
