// The page of one dissection and its named pieces; what it says at its foot.

export const TOLD_MS = 8000;

export const root = document.querySelector(".bench");
export const all = (selector, within = root) => [...within.querySelectorAll(selector)];
export const part = (name) => root.querySelector(`[data-part="${CSS.escape(name)}"]`);
export const dialog = (name) => root.querySelector(`[data-dialog="${name}"]`);
export const button = (deed) => root.querySelector(`[data-deed="${deed}"]`);

let telling;

export function tell(words, refused = false) {
  const said = part("said");
  part("said-words").textContent = words;
  button("another").hidden = true;
  said.classList.toggle("refused", refused);
  said.hidden = false;
  clearTimeout(telling);
  telling = setTimeout(() => { said.hidden = true; }, TOLD_MS);
}

export function untold() {
  clearTimeout(telling);
  part("said").hidden = true;
}
